"""The list of what can happen to a unit: what is at hand, what happens often, and all by group, to be searched."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import changes as desk
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages.change_form import asks_instrument
from loopworthy.judgement.catalogue.model import Change
from loopworthy.judgement.verdict import open_holds
from loopworthy.unit.positions import part_kind
from loopworthy.vocabulary.identity import ThingId

FIRST = "dive-made"
"""The change that is at hand on top of the page."""
REST = "more"
"""The group of all that the trade's table of changes has no row for; it is told by part."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One change to choose: its words, its address, and what it does beside taking evidence away."""

    title: str
    href: str
    hold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Changes of one kind, in a fold."""

    id: str
    title: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choosing:
    """The list of changes.

    Attributes
    ----------
    frame : Frame
    quick : tuple of Choice
        At hand on top: a dive was made, the day begins or ends.
    often : tuple of Choice
        What this record holds most of.
    groups : tuple of Group
    find : str
        What was looked for; '' for everything.
    found : tuple of Choice
        What fits it.
    left_out : int
        How many changes concern parts that this unit does not have.
    action : str
        The page's own address.
    frozen : str
        Why nothing may change, '' where it may.
    release_href : str
        Where the hold that freezes the unit is released.
    """

    frame: Frame
    quick: tuple[Choice, ...]
    often: tuple[Choice, ...]
    groups: tuple[Group, ...]
    find: str
    found: tuple[Choice, ...]
    left_out: int
    action: str
    frozen: str
    release_href: str


def choosing(asked: Asked) -> Choosing:
    """The list of changes that can happen to a unit."""
    unit, links, say = asked.unit, asked.links, asked.say
    there = [one for one in asked.workplace.catalogue.changes.values() if _concerns(asked, unit, one)]
    find = asked.query.get("find")
    holds = open_holds(asked.workplace.book(), asked.workplace.catalogue, unit, asked.now)
    freezing = next((one for one in holds if one.freezes), None)
    day_open = asked.workplace.world.episode(unit, "dive-day") is not None
    day = Choice(title=say("change.end_day" if day_open else "change.begin_day"), href=links.day(unit), hold=False)
    first = tuple(_choice(asked, unit, one) for one in there if one.id == FIRST)
    return Choosing(
        frame=page_frame(asked, say("change.title"), unit=unit, place="change"),
        quick=(*first, day),
        often=tuple(
            _choice(asked, unit, one)
            for one in desk.often_used(asked.workplace)
            if one.id != FIRST and _concerns(asked, unit, one)
        ),
        groups=_groups(asked, unit, there),
        find=find,
        found=tuple(_choice(asked, unit, one) for one in there if find and _fits(one, find)),
        left_out=len(asked.workplace.catalogue.changes) - len(there),
        action=links.change(unit),
        frozen=freezing.words if freezing is not None else "",
        release_href=links.release(unit, freezing.event) if freezing is not None else "",
    )


def _concerns(asked: Asked, unit: ThingId, change: Change) -> bool:
    """Whether it can happen to this unit: it has the part, or the change needs none."""
    return not change.part or asks_instrument(change) or bool(desk.positions_for(asked.workplace, unit, change))


def _fits(change: Change, find: str) -> bool:
    heap = f"{change.title} {change.id} {change.group} {change.part}".lower()
    return all(word in heap for word in find.lower().split())


def _choice(asked: Asked, unit: ThingId, change: Change) -> Choice:
    return Choice(title=change.title, href=asked.links.change(unit, change.id), hold=bool(change.hold))


def _groups(asked: Asked, unit: ThingId, there: list[Change]) -> tuple[Group, ...]:
    groups: dict[str, list[Choice]] = {}
    titles: dict[str, str] = {}
    for change in there:
        name = change.group
        if name == REST:
            name = f"{REST}-{change.part or 'unit'}"
            part = part_kind(change.part).title if change.part else asked.say("change.whole_unit")
            titles[name] = asked.say("change.group_more", part=part)
        else:
            titles[name] = asked.say(f"change.group_{name}")
        groups.setdefault(name, []).append(_choice(asked, unit, change))
    return tuple(
        Group(id=name, title=titles[name], choices=tuple(_in_order(name, found))) for name, found in groups.items()
    )


def _in_order(group: str, found: list[Choice]) -> list[Choice]:
    """The trade's table has an order of its own; the long rest is found by its words."""
    return sorted(found, key=lambda one: one.title.lower()) if group.startswith(f"{REST}-") else found
