"""Invented histories of a unit: several devices read, change, mend, take back and meet, with clocks that err."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from hypothesis import strategies as st

from loopworthy.judgement.standing import View
from loopworthy.unit.events import EpisodeKind
from tests.unit.judgement.builder import CONFIGURATION, SENSORS, Device, Scene

DEVICES = ("pad", "phone", "tablet")
AHEAD = {"tablet": 90}
"""Minutes by which the clock of a device is ahead."""
OXYGEN = "cylinder-oxygen"
CONFIGURATIONS = (CONFIGURATION, "electronic-two-controllers-five-sensors")

READINGS: dict[str, tuple[dict[str, str], ...]] = {
    "check": ({"off": "0.2"}, {"off": "0.2"}, {"off": "3"}),
    "gas": ({"percent": "98"}, {"percent": "90.5"}, {"percent": "80"}),
    "stamp": ({"until": "2027-01-01"}, {"until": "2026-05-14"}),
    "barometer": (
        {"ambient": "1013", "warmth": "20"},
        {"ambient": "985", "warmth": "20"},
        {"ambient": "1013", "warmth": "32"},
    ),
    "air": ({"mv": "10.1"}, {"mv": "10.1"}, {"mv": "8.6"}, {"mv": "7"}),
    "factor": ({"factor": "49"}, {"factor": "49"}, {"factor": "70"}),
    "known": ({"po2": "0.21"}, {"po2": "0.21"}, {"po2": "0.24"}, {"po2": "0.4"}),
    "place": ({"done": "yes"},),
    "tight": ({"loss": "2"}, {"loss": "2"}, {"loss": "9.5"}, {"loss": "14"}),
    "service": ({"bar": "9"},),
    "valve": ({"done": "yes"},),
    "look": ({"done": "yes"},),
    "weight": ({"done": "yes"}, {"done": "no"}),
    "stored": ({"done": "yes"},),
    "again": ({"po2": "0.21"}, {"po2": "0.4"}),
}  # fmt: skip
"""Step to what may be read: good, near its limit, outside it."""

CHANGES = (
    "loop-opened", "oxygen-changed", "analysis-wrong", "analyser-bad", "meter-bad", "dive-made", "moved",
    "temperature-changed", "regulator-opened", "valve-touched", "fault", "list-revised", "reason-gone",
    "sensor-replaced", "part-added", "never-heard-of",
)  # fmt: skip

ACTS = (
    *["read"] * 8, *["change"] * 3, "meet", "meet", "withdraw", "repair", "release", "waive", "limit", "confirm",
    "episode", "fill", "swap", "morning", "untold", "remove", "end", "same", "twin", "reconfigure",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One thing that happens: what, on which device, so many minutes after the last, claimed so much earlier."""

    what: str
    device: int
    other: int
    pick: int
    minutes: int
    earlier: int


HISTORIES = st.lists(
    st.builds(
        Act,
        what=st.sampled_from(ACTS),
        device=st.integers(0, len(DEVICES) - 1),
        other=st.integers(0, len(DEVICES) - 1),
        pick=st.integers(0, 10_000),
        minutes=st.sampled_from((0, 0, 1, 1, 5, 30, 300, 2000, 40_000)),
        earlier=st.sampled_from((0, 0, 0, 0, 3, 40, -20)),
    ),
    min_size=1,
    max_size=22,
)


@cache
def _beginning(after_morning: bool) -> Scene:
    scene = Scene()
    if after_morning:
        scene.pad.morning()
    return scene


@dataclass
class Story:
    """A scene that was lived through, its devices, and the minute at which it ended."""

    scene: Scene
    devices: tuple[Device, ...]
    end: float


def beginning(*, after_morning: bool = True) -> tuple[Scene, tuple[Device, ...], float]:
    """A scene, its devices, which all have the whole record, and the minute that it is."""
    scene = _beginning(after_morning).copy()
    return scene, (scene.pad, *(scene.device(name) for name in DEVICES[1:])), 31.0


def live(acts: list[Act], *, after_morning: bool = True) -> Story:
    """Let the acts happen."""
    scene, devices, at = beginning(after_morning=after_morning)
    for act in acts:
        at += act.minutes
        perform(scene, devices, act, at)
    return Story(scene=scene, devices=devices, end=at)


def perform(scene: Scene, devices: tuple[Device, ...], act: Act, at: float) -> None:
    """Let one act happen at a minute."""
    device, pick = devices[act.device], act.pick
    at += AHEAD.get(device.name, 0)
    occurred = at - act.earlier
    match act.what:
        case "read":
            step = list(READINGS)[pick % len(READINGS)]
            read = READINGS[step][(pick // 16) % len(READINGS[step])]
            position = _position(step, pick)
            if position and scene.book().world.at(scene.unit, position) is None:
                return
            device.do(step, at=at, occurred=occurred, position=position, readings_of=read, single_handed=pick % 7 == 0)
        case "change":
            change(scene, device, pick, at, occurred)
        case "meet":
            device.meet(devices[act.other])
        case "withdraw":
            device.withdraw(scene.events[-1 - pick % min(len(scene.events), 40)].id, at=at)
        case "repair":
            readings = [one.id for one in scene.events if one.envelope.kind == "judgement.evidence-recorded"]
            if readings:
                device.repair(readings[-1 - pick % min(len(readings), 12)], at=at, occurred=occurred)
        case "release":
            for one in scene.events:
                if getattr(one.payload, "change", "") == "fault":
                    device.release(one.id, at=at, by=("bo", "ada")[pick % 2])
        case "waive":
            step = ("weight", "stamp", "place", "service")[pick % 4]
            device.waive(step, at=at, position=_position(step, pick))
        case "limit":
            limit, value = (("tight.loss", "1"), ("tight.loss", "20"), ("known.high", "0.5"), ("air.low", "9"))[
                pick % 4
            ]
            device.set_limit(limit, value, at=at, reason="as the manual has it")
        case "confirm":
            device.confirm("tight.loss", "10", at=at)
        case "episode":
            kinds: tuple[EpisodeKind, ...] = ("dive-day", "dive-day", "assembly")
            device.begin(kinds[pick % 3], at=at)
        case "fill":
            cylinder = scene.book().world.at(scene.unit, OXYGEN)
            if cylinder is not None:
                device.fill(cylinder, at=at)
        case "swap":
            position = SENSORS[pick % 3]
            sensor = device.create("oxygen-sensor", at=at) if pick % 2 else scene.book().world.at(scene.unit, position)
            if sensor is not None:
                device.fit(position, sensor, at=at)
        case "morning":
            device.morning(at=at)
        case "untold":
            step = ("tight", "known", "air")[pick % 3]
            position = _position(step, pick)
            if position and scene.book().world.at(scene.unit, position) is None:
                return
            read = READINGS[step][(pick // 16) % len(READINGS[step])]
            device.do(step, at=at, occurred=occurred, position=position, readings_of=read, by="")
        case "remove":
            position = (*SENSORS, OXYGEN)[pick % 4]
            thing = scene.book().world.at(scene.unit, position)
            if thing is not None:
                device.remove(position, thing, at=at)
        case "end":
            ending: tuple[EpisodeKind, ...] = ("dive-day", "assembly")
            device.end(ending[pick % 2], at=at)
        case "same":
            if pick % 2:
                device.same(device.create("instrument", at=at), scene.analyser, at=at)
            else:
                device.same(scene.people["ada"], scene.people["bo"], at=at)
        case "twin":
            copied = device.copied()
            copied.change("valve-touched", at=at)
            copied.do("valve", at=at)
            devices[act.other].meet(copied)
        case "reconfigure":
            device.configure(CONFIGURATIONS[pick % 2], at=at)


def change(scene: Scene, device: Device, pick: int, at: float, occurred: float) -> str:
    """Say that something changed."""
    name = CHANGES[pick % len(CHANGES)]
    things = (scene.analyser,) if name in ("analyser-bad", "meter-bad") else ()
    position = {
        "oxygen-changed": OXYGEN,
        "analysis-wrong": OXYGEN,
        "regulator-opened": "regulator-oxygen",
        "sensor-replaced": SENSORS[(pick // 16) % 3],
    }.get(name, "")
    answers = {"loop-opened": {"what": "drain only"}, "sensor-replaced": {"head": "no"}}.get(name, {})
    return device.change(
        name, *things, at=at, occurred=occurred, position=position, answers=answers if pick % 3 else {}
    )


def _position(step: str, pick: int) -> str:
    if step in ("air", "factor", "known", "again"):
        return SENSORS[(pick // 5) % 3]
    return {"gas": OXYGEN, "stamp": OXYGEN, "service": "regulator-oxygen"}.get(step, "")


Key = tuple[str, str, str]


def counting(scene: Scene, at: float, view: View = View.LIVE) -> set[Key]:
    """Kind, step and subject of everything that counts at a minute, whether a hold asks for it or not."""
    bench = scene.bench(at, view=view)
    found: set[Key] = set()
    for step in scene.catalogue.steps.values():
        for subject in bench.subjects_of(scene.unit, step):
            for kind in step.makes:
                if bench.standing(scene.unit, step, kind, subject).state.value in ("current", "waived"):
                    found.add((kind, step.id, subject.key or subject.position))
    return found
