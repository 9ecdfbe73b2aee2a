"""One module a page: what it shows as a frozen dataclass, how it is made, and its addresses in ``ROUTES``.

A module has a function from `Asked` to an `Answer`; the context that it makes can be looked at without any HTML. Add a
new module to `MODULES`, its links to `links.Links`, its words to doors/texts, its template beside the others.
"""

from __future__ import annotations

from typing import Protocol

from loopworthy.doors.web.pages import (
    apart,
    board,
    carry,
    catalogue,
    catalogue_entries,
    changes,
    configuration,
    custody,
    day,
    devices,
    event,
    evidence,
    exchange,
    history,
    holds,
    limits,
    mending,
    merges,
    new_unit,
    parts,
    past,
    people,
    person,
    places,
    read_aloud,
    record,
    recorded,
    same,
    scan,
    sensors,
    set_up,
    sheet,
    taking_out,
    unit,
    work,
)
from loopworthy.doors.web.routes import Door


class PageModule(Protocol):
    """A module with addresses."""

    @property
    def ROUTES(self) -> tuple[Door, ...]:  # noqa: N802  # a constant of each module
        """Its addresses."""


MODULES: tuple[PageModule, ...] = (
    board,
    unit,
    places,
    work,
    evidence,
    sensors,
    mending,
    people,
    changes,
    configuration,
    taking_out,
    parts,
    new_unit,
    day,
    custody,
    history,
    event,
    limits,
    holds,
    past,
    record,
    apart,
    merges,
    carry,
    scan,
    exchange,
    devices,
    recorded,
    catalogue,
    catalogue_entries,
    read_aloud,
    sheet,
    person,
    set_up,
    same,
)
"""Every page module; the order decides where two addresses would match."""
