"""A catalogue small enough to be read in one go, for tests of the rules. Its steps and numbers are invented."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue

FILE = "small.toml"

TEXT = """
[pages.gas]
title = "Gas"
hold = "H1"
[pages.loop]
title = "Loop"
hold = "H2"
[pages.water]
title = "At the water"
hold = "H3"
[pages.after]
title = "After the dive"
hold = "H8"

[holds.H1]
title = "Gas may be used"
needs = ["GAS", "STAMP", "CHECKED"]
[holds.H2]
title = "Loop ready"
needs = ["SURROUNDINGS", "AIR", "FACTOR", "AGREE", "PLACE", "TIGHT", "SERVICE"]
[holds.H3]
title = "Entry evidence complete"
needs = ["VALVE", "LOOK", "WEIGHT"]
[holds.H8]
title = "May be dived again"
needs = ["STORED"]

[bounds.ambient]
limit = "20"
unit = "hPa"
acts_as = "moved"
origin = "common practice"
[bounds.temperature]
limit = "10"
unit = "K"
acts_as = "temperature-changed"
origin = "common practice"
"""


def _kind(identifier: str, *, more: str = "") -> str:
    return f"""
[evidence.{identifier}]
title = "{identifier.capitalize()}"
produced_by = "a reading"
voided_by = "changes"
expires = "see the numbers"
origin = "common practice"
{more}
"""


def _step(identifier: str, page: str, makes: str, *, inputs: str, more: str = "") -> str:
    return f"""
[steps.{identifier}]
title = "Step {identifier}"
text = "Read it."
accept = "Inside its limit."
page = "{page}"
makes = [{makes}]
inputs = [{inputs}]
{more}
"""


def _change(identifier: str, more: str) -> str:
    return f"""
[changes.{identifier}]
title = "Change {identifier}"
group = "test"
{more}
"""


KINDS = (
    _kind("CHECKED", more="expires_after_min = 120\nmomentary = true"),
    _kind("GAS", more="expires_after_min = 43200"),
    _kind("STAMP", more="expires_after_min = 525600"),
    _kind("SURROUNDINGS", more='expires_after_min = 720\ncontext = ["ambient"]'),
    _kind("AIR", more='expires_after_min = 1440\nrecheck_by = "air"\ncontext = ["temperature"]'),
    _kind("FACTOR", more='episode = "dive-day"\nrecheck_by = "known"\ncontext = ["ambient"]'),
    _kind("AGREE", more='episode = "dive"\nrecheck_by = "known"'),
    _kind("PLACE", more='episode = "assembly"\nrecheck_by = "place"'),
    _kind("TIGHT", more='expires_after_min = 720\nepisode = "dive-day"\nrecheck_by = "tight"'),
    _kind("SERVICE", more='expires_after_min = 525600\nrecheck_by = "service"'),
    _kind("VALVE", more='expires_after_min = 10\nepisode = "dive-day"'),
    _kind("LOOK", more="expires_after_min = 10"),
    _kind("WEIGHT", more='recheck_by = "weight"'),
    _kind("STORED", more='episode = "dive"'),
    _kind("EV63", more='episode = "dive"'),
)

TICK = '{name = "done", label = "Seen", kind = "tick"}'

STEPS = (
    _step(
        "check",
        "gas",
        '"CHECKED"',
        inputs='{name = "off", label = "Off by", kind = "number", unit = "%"}',
        more='scope = {each = "instrument", places = ["analyser"]}\n'
        'limits.most = {rule = "at most", on = "off", value = "1", unit = "%", origin = "common practice"}',
    ),
    _step(
        "gas",
        "gas",
        '"GAS"',
        inputs='{name = "percent", label = "Oxygen", kind = "number", unit = "%"}',
        more='scope = {each = "cylinder", places = ["cylinder-oxygen"], binds = "content"}\n'
        'after = ["CHECKED"]\ntwo_person = true\n'
        'limits.least = {rule = "at least", on = "percent", value = "90", unit = "%", guard = "1", '
        'origin = "common practice"}',
    ),
    _step(
        "stamp",
        "gas",
        '"STAMP"',
        inputs='{name = "until", label = "In test until", kind = "date"}, '
        '{name = "opened", label = "Opened on", kind = "date", required = false}',
        more='scope = {each = "cylinder", places = ["cylinder-oxygen"]}\n'
        'limits.left = {rule = "days left at least", on = "until", value = "0", unit = "d", '
        'origin = "common practice"}\n'
        'limits.since = {rule = "days since at most", on = "opened", value = "30", unit = "d", '
        'origin = "common practice"}',
    ),
    _step(
        "barometer",
        "loop",
        '"SURROUNDINGS"',
        inputs='{name = "ambient", label = "Ambient", kind = "number", unit = "hPa", context = "ambient"}, '
        '{name = "warmth", label = "Temperature", kind = "number", unit = "C", context = "temperature"}',
    ),
    _step(
        "air",
        "loop",
        '"AIR"',
        inputs='{name = "mv", label = "In air", kind = "number", unit = "mV"}',
        more='scope = {each = "oxygen-sensor"}\nuses = ["barometer"]\n'
        'limits.low = {rule = "at least", on = "mv", value = "8.5", unit = "mV", guard = "0.3", '
        'origin = "common practice"}',
    ),
    _step(
        "factor",
        "loop",
        '"FACTOR"',
        inputs='{name = "factor", label = "Factor", kind = "number", unit = "mV/bar"}',
        more='scope = {each = "oxygen-sensor", binds = "channel", channel = ["controller-1"]}\n'
        'uses = ["air", "gas"]\n'
        'limits.high = {rule = "at most", on = "factor", value = "60", unit = "mV/bar", origin = "common practice"}',
    ),
    _step(
        "known",
        "loop",
        '"AGREE"',
        inputs='{name = "po2", label = "Known gas", kind = "number", unit = "bar"}',
        more='scope = {each = "oxygen-sensor"}\n'
        'limits.high = {rule = "at most", on = "po2", value = "0.25", unit = "bar", guard = "0.02", '
        'origin = "common practice"}',
    ),
    _step("place", "loop", '"PLACE"', inputs=TICK),
    _step(
        "tight",
        "loop",
        '"TIGHT"',
        inputs='{name = "loss", label = "Loss", kind = "number", unit = "mbar"}',
        more="never_skipped = true\ntwo_person = true\n"
        'limits.loss = {rule = "at most", on = "loss", value = "10", unit = "mbar", guard = "1", '
        'origin = "common practice"}',
    ),
    _step(
        "service",
        "loop",
        '"SERVICE"',
        inputs='{name = "bar", label = "Intermediate pressure", kind = "number", unit = "bar"}',
        more='scope = {each = "regulator", places = ["regulator-oxygen"]}\n'
        'limits.high = {rule = "at most", on = "bar", value = "12", unit = "bar", origin = "common practice"}',
    ),
    _step("valve", "water", '"VALVE"', inputs=TICK),
    _step("look", "water", '"LOOK"', inputs=TICK, more='after = ["TIGHT"]\nrenews = ["VALVE"]'),
    _step("weight", "water", '"WEIGHT"', inputs=TICK),
    _step("stored", "after", '"STORED"', inputs=TICK),
    _step("spoken", "after", '"EV63"', inputs=TICK, more="on_request = true"),
    _step(
        "again",
        "after",
        '"AGREE"',
        inputs='{name = "po2", label = "Known gas", kind = "number", unit = "bar"}',
        more='scope = {each = "oxygen-sensor"}\non_request = true\n'
        'limits.high = {rule = "at most", on = "po2", value = "0.25", unit = "bar", origin = "common practice"}',
    ),
)

CHANGES = (
    _change(
        "sensor-replaced",
        'part = "oxygen-sensor"\ndoes = "replaces part"\n'
        'questions = [{id = "head", text = "Did the head come off?", answers = ["yes", "no"], worst = "yes"}]\n'
        'void = [{evidence = ["AIR", "FACTOR", "AGREE"], scope = "subject"}, {evidence = ["TIGHT"]}]\n'
        'recheck = [{evidence = ["PLACE"], if = {head = "yes"}}]',
    ),
    _change(
        "loop-opened",
        'questions = [{id = "what", text = "Which?", answers = ["hose", "drain only"], worst = "hose"}]\n'
        'void = [{evidence = ["TIGHT", "LOOK"]}, {evidence = ["PLACE"], if = {what = "hose"}}]',
    ),
    _change(
        "oxygen-changed",
        'part = "cylinder"\nplaces = ["cylinder-oxygen"]\ndoes = "new gas"\n'
        'void = [{evidence = ["GAS"], scope = "subject"}, {evidence = ["VALVE"]}]\n'
        'recheck = [{evidence = ["SERVICE"], scope = "side"}]',
    ),
    _change(
        "analysis-wrong",
        'part = "cylinder"\nplaces = ["cylinder-oxygen"]\ndisprove = [{evidence = ["GAS"], scope = "subject"}]',
    ),
    _change(
        "analyser-bad",
        'part = "instrument"\nplaces = ["analyser"]\ndoes = "finds instrument bad"\n'
        'disprove = [{evidence = ["GAS"], scope = "instrument"}]',
    ),
    _change(
        "meter-bad",
        'part = "instrument"\ndoes = "finds instrument bad"\nvoid = [{evidence = ["AIR"], scope = "instrument"}]',
    ),
    _change(
        "dive-made",
        'does = "ends dive"\nvoid = [{evidence = ["VALVE", "LOOK", "AGREE"]}]\n'
        'recheck = [{evidence = ["FACTOR"]}, {evidence = ["TIGHT"]}]',
    ),
    _change("moved", 'void = [{evidence = ["SURROUNDINGS"]}]\nrecheck = [{evidence = ["FACTOR"]}]'),
    _change("temperature-changed", 'recheck = [{evidence = ["AIR"]}]'),
    _change("stood-unused", 'void = [{evidence = ["AIR", "TIGHT"]}]\nrecheck = [{evidence = ["WEIGHT"]}]'),
    _change("regulator-opened", 'part = "regulator"\nvoid = [{evidence = ["SERVICE"], scope = "side"}]'),
    _change(
        "valve-touched",
        'questions = [{id = "which", text = "Which?", answers = ["oxygen", "other"], worst = "oxygen"}]\n'
        'void = [{evidence = ["VALVE"], if = {which = "oxygen"}}]',
    ),
    _change("fault", 'several = true\nvoid = [{evidence = ["WEIGHT"]}]\nhold = "A fault is written down."'),
    _change("incident", 'hold = "An incident."\nfreezes = true'),
    _change("list-revised", 'void = [{evidence = ["WEIGHT"], scope = "record"}]'),
    _change("reason-gone", 'void = [{evidence = ["EV63"]}]'),
    _change("other-part-changed", 'void = [{evidence = ["WEIGHT"]}]'),
    _change("part-added", 'does = "reconfigures"\nvoid = [{evidence = ["WEIGHT"]}]'),
)


@cache
def small_catalogue() -> Catalogue:
    """The catalogue of these tests."""
    return catalogue_with()


def catalogue_with(more: str = "", owner: Mapping[str, str] | None = None) -> Catalogue:
    """The same with further entries."""
    return load_catalogue(texts={FILE: "\n".join((TEXT, *KINDS, *STEPS, *CHANGES, more))}, owner=owner)
