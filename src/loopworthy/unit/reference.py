"""The reference page of configuration, `docs/reference/configuration.md`, made from the data that the program uses.

Written by ``python -m loopworthy.unit.reference > docs/reference/configuration.md``; a test compares the two.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

from loopworthy.unit import entries
from loopworthy.unit.axes import Axis, axes
from loopworthy.unit.configuration import (
    Configuration,
    Contradiction,
    contradictions,
    ready_configurations,
)
from loopworthy.unit.positions import PART_KINDS, all_positions, positions


def configuration_reference() -> str:
    """The page as Markdown."""
    sections = (_opening(), _axes(), _contradictions(), _positions(), _kinds(), _conditions(), _ready())
    return "\n\n".join(sections) + "\n"


def main() -> None:
    """Write the page to standard output."""
    sys.stdout.buffer.write(configuration_reference().encode())


def _opening() -> str:
    example = ready_configurations()["electronic-back-three-sensors"].to_toml()
    return f"""# Configuration of a unit

This page is made from the program's own data by `python -m loopworthy.unit.reference`.

A configuration answers every question (axis) about a unit. The list of steps, the positions that hold parts, and what
evidence is asked for all follow from it. It is a TOML file with a name, a title and a table of choices:

```toml
{example}```

An axis that takes one answer must be answered: nothing is assumed not to be fitted, for an unanswered question would
take steps off the list in silence. An axis that takes several answers is written as a list. Numbers may be written
without quotes. A wrong word is refused with the file, the axis, the words that are allowed and the nearest one.

Two configurations with the same choices have the same revision, whatever they are called.

What the options bring is common practice of the trade. The unit's manual and the diver's training come first."""


def _axes() -> str:
    return "## Axes\n\n" + "\n\n".join(_axis(axis) for axis in axes().values())


def _axis(axis: Axis) -> str:
    if axis.several:
        answers = "One answer or several." if axis.required else "One answer, several or none."
    else:
        answers = "One answer."
    rows = [
        (f"`{option.id}`", option.title, option.effect, ", ".join(f"`{part}`" for part in option.parts) or "–")
        for option in axis.options
    ]
    return (
        f"### `{axis.id}`: {axis.title}\n\n{axis.why} {answers}\n\n"
        f"{_table(('option', 'means', 'what it brings to the list', 'positions'), rows)}"
    )


def _contradictions() -> str:
    rows = [(f"`{one.axis}`", _described(one), one.reason, one.next_step) for one in contradictions()]
    return (
        "## What cannot be true at once\n\nA configuration that matches a row is refused with the reason.\n\n"
        f"{_table(('shown at', 'when', 'reason', 'what to change'), rows)}"
    )


def _described(one: Contradiction) -> str:
    text = "; and ".join(condition.describe() for condition in one.all_of)
    exceptions = ", or ".join(condition.describe() for condition in one.unless)
    return f"{text}, unless {exceptions}" if exceptions else text


def _positions() -> str:
    origin: dict[str, list[str]] = {}
    for axis in axes().values():
        for option in axis.options:
            for part in option.parts:
                origin.setdefault(part, []).append(f"`{axis.id}`: `{option.id}`")
    rows = [
        (f"`{one.id}`", one.title, f"`{one.kind}`", "; ".join(origin.get(one.id, ["every unit"])))
        for one in all_positions().values()
    ]
    return (
        "## Positions\n\nA position holds one thing at a time. Pressure transmitters exist only beside a cylinder of "
        f"their gas.\n\n{_table(('position', 'title', 'kind of thing', 'exists with'), rows)}"
    )


def _kinds() -> str:
    rows = [
        (
            f"`{kind.id}`",
            kind.title,
            f"`{kind.content_kind}`" if kind.content_kind else "–",
            _origin(kind.built_in, kind.has_position),
        )
        for kind in PART_KINDS.values()
    ]
    return f"## Kinds of things\n\n{_table(('kind', 'title', 'holds', 'comes into the record'), rows)}"


def _origin(built_in: bool, has_position: bool) -> str:
    if built_in:
        return "with the unit; its serial number is read later"
    return "when somebody says which one it is" + ("" if has_position else "; it has no position on a unit")


def _conditions() -> str:
    return """## Conditions

Steps, rules and requirements say for which configurations they apply. All axes of a table must match, each by any of
the options named; a list of tables matches where any of them does; `unless` takes exceptions in the same form.

```toml
when = { gas_principle = ["electronic", "hybrid"], oxygen_sensors = ["3", "4", "5"] }
unless = { use = ["solo"] }
```

Without `when` a step always applies. A question that an older configuration does not answer counts as its worst
answer: the step is asked for."""


def _ready() -> str:
    rows = [
        (f"`{one.name}`", one.title, _essence(one), str(len(positions(one))), f"`{one.revision}`")
        for one in ready_configurations().values()
    ]
    return (
        "## Ready configurations\n\nInvented, to start from; none describes a product.\n\n"
        f"{_table(('name', 'title', 'in short', 'positions', 'revision'), rows)}"
    )


def _essence(configuration: Configuration) -> str:
    known = axes()
    return "; ".join(
        f"{known[axis_id].title}: {entries.together(known[axis_id].option(one).title for one in chosen)}"
        for axis_id in ("gas_principle", "controllers", "oxygen_sensors", "mounting", "bailout")
        if (chosen := configuration.chosen(axis_id))
    )


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


if __name__ == "__main__":
    main()
