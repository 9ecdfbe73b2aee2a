"""The catalogue to read: every step, kind of evidence, change, hold point and ready configuration, with its origin.

Nothing here is written for this page: it is what the program judges by.
"""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages.catalogue_entries import LATE_GROUP, Block, EntryPage, Named, filled, named
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.catalogue.model import EvidenceKind, Hold
from loopworthy.unit.axes import axes
from loopworthy.unit.configuration import Configuration, ready_configurations
from loopworthy.unit.positions import positions
from loopworthy.vocabulary.errors import UnknownNameError

# --- the overview ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Entries that belong together."""

    title: str
    entries: tuple[Named, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """Everything in the catalogue.

    Attributes
    ----------
    frame : Frame
    revision, digest : str
        What is printed on sheets and recorded with every hold that is passed.
    find : str
        What was looked for.
    found : tuple of Named
        What fits it.
    sections : tuple of (str, str, tuple of Shelf)
        Anchor, title and shelves: steps by work page, evidence, changes by group, holds, configurations.
    bounds : tuple of (str, str)
        Measured conditions that act as a change: words and origin.
    action : str
    """

    frame: Frame
    revision: str
    digest: str
    find: str
    found: tuple[Named, ...]
    sections: tuple[tuple[str, str, tuple[Shelf, ...]], ...]
    bounds: tuple[tuple[str, str], ...]
    action: str


def overview(asked: Asked) -> Answer:
    """Everything in the catalogue, or what fits a search."""
    catalogue, say = asked.workplace.catalogue, asked.say
    sections = (
        ("steps", say("catalogue.steps"), _step_shelves(asked)),
        ("evidence", say("catalogue.evidence"), (_shelf(asked, "evidence", tuple(catalogue.evidence.values())),)),
        ("changes", say("catalogue.changes"), _change_shelves(asked)),
        ("holds", say("catalogue.holds"), (_shelf(asked, "holds", catalogue.holds),)),
        (
            "configurations",
            say("catalogue.configurations"),
            (
                Shelf(
                    title="",
                    entries=tuple(
                        named(asked, "configurations", name, one.title) for name, one in ready_configurations().items()
                    ),
                ),
            ),
        ),
    )
    find = asked.query.get("find")
    everything = {entry.href: entry for _, _, shelves in sections for shelf in shelves for entry in shelf.entries}
    context = Overview(
        frame=page_frame(asked, say("catalogue.title")),
        revision=catalogue.revision,
        digest=catalogue.digest[:12],
        find=find,
        found=tuple(one for one in everything.values() if find and _fits(one, find)),
        sections=sections,
        bounds=tuple(
            (
                say(
                    "catalogue.bound",
                    context=say(f"event.context_{bound.id.partition('-')[0]}"),
                    limit=f"{bound.limit} {bound.unit}",
                    change=catalogue.changes[bound.acts_as].title,
                ),
                f"{bound.origin.value} ({bound.source})",
            )
            for bound in catalogue.bounds.values()
        ),
        action=asked.links.catalogue(),
    )
    return Page(template="catalogue.html", context=context)


def _fits(entry: Named, find: str) -> bool:
    heap = f"{entry.id} {entry.title}".lower()
    return all(word in heap for word in find.lower().split())


def _shelf(asked: Asked, kind: str, entries: tuple[EvidenceKind | Hold, ...]) -> Shelf:
    return Shelf(title="", entries=tuple(named(asked, kind, one.id, one.title) for one in entries))


def _step_shelves(asked: Asked) -> tuple[Shelf, ...]:
    catalogue = asked.workplace.catalogue
    in_order = sorted(catalogue.steps.values(), key=lambda one: catalogue.order[one.id])
    return tuple(
        Shelf(
            title=page.title,
            entries=tuple(
                named(asked, "steps", one.id, one.title, never_skipped=one.never_skipped)
                for one in in_order
                if one.page == page.id
            ),
        )
        for page in catalogue.pages
    )


def _change_shelves(asked: Asked) -> tuple[Shelf, ...]:
    groups: dict[str, list[Named]] = {}
    for one in asked.workplace.catalogue.changes.values():
        groups.setdefault(one.group, []).append(named(asked, "changes", one.id, one.title))
    return tuple(
        Shelf(
            title=asked.say("catalogue.more_changes") if group == LATE_GROUP else asked.say(f"change.group_{group}"),
            entries=tuple(found),
        )
        for group, found in groups.items()
    )


# --- configurations -------------------------------------------------------------------------------------------------


def configuration(asked: Asked) -> Answer:
    """One ready configuration: every answer and the positions that follow."""
    one, say = _configuration(asked), asked.say
    answers = tuple(
        (axis.title, ", ".join(axis.option(option).title for option in one.chosen(axis.id)) or say("catalogue.none"))
        for axis in axes().values()
    )
    steps = tuple(
        f"{each.id}"
        for each in asked.workplace.catalogue.steps.values()
        if each.when.holds(one) and not each.on_request
    )
    blocks = [
        Block(title=say("catalogue.answers"), pairs=answers),
        Block(
            title=say("catalogue.positions"),
            pairs=((say("catalogue.positions"), ", ".join(place.title for place in positions(one))),),
        ),
        Block(title=say("catalogue.its_steps"), pairs=((say("catalogue.steps"), ", ".join(steps)),)),
    ]
    context = EntryPage(
        frame=page_frame(asked, one.title),
        kind=say("catalogue.a_configuration"),
        id=one.revision,
        title=one.title,
        lead=say("catalogue.configuration_means"),
        blocks=filled(blocks),
        back_href=asked.links.catalogue("configurations"),
        file_href=f"{asked.links.catalogue_entry('configurations', one.name)}.toml",
    )
    return Page(template="catalogue_entry.html", context=context)


def configuration_file(asked: Asked) -> Answer:
    """A ready configuration as a file to change and send back."""
    one = _configuration(asked)
    return Response(
        one.to_toml(),
        media_type="application/toml; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{one.name}.toml"'},
    )


def _configuration(asked: Asked) -> Configuration:
    known = ready_configurations()
    name = asked.values["configuration"]
    if name not in known:
        raise UnknownNameError("ready configuration", name, tuple(known))
    return known[name]


ROUTES = (
    Door(path="/catalogue", handler=overview),
    Door(path="/catalogue/configurations/{configuration}.toml", handler=configuration_file),
    Door(path="/catalogue/configurations/{configuration}", handler=configuration),
)
