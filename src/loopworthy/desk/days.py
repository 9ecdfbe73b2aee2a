"""Dive days and assemblies: stretches of time that people declare, for midnight means nothing on a boat."""

from __future__ import annotations

from loopworthy.desk.late import check_moment
from loopworthy.desk.workplace import Workplace
from loopworthy.unit.events import EpisodeBegan, EpisodeEnded, EpisodeKind
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment


def begin(
    workplace: Workplace,
    units: tuple[ThingId, ...],
    episode: EpisodeKind,
    *,
    title: str = "",
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> EventId:
    """Declare that a dive day, preparation, assembly or dive begins; an open one of the same kind ends with it."""
    if not units:
        raise InputError("units", units, "one or more units")
    check_moment(workplace, occurred_at, units=units, confirmed=moment_confirmed)
    return (
        workplace.writer()
        .append(
            "unit.episode-began",
            EpisodeBegan(episode=episode, title=wording.line("title", title)),
            subjects=units,
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
        .id
    )


def end(
    workplace: Workplace,
    unit: ThingId,
    episode: EpisodeKind,
    *,
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> EventId:
    """Declare that it ended.

    Raises
    ------
    RefusedError
        If none is open.
    """
    if workplace.world.episode(unit, episode) is None:
        raise RefusedError(f"No {episode} is open for {workplace.name(unit)}", next_step="Begin one first")
    check_moment(workplace, occurred_at, units=(unit,), confirmed=moment_confirmed)
    return (
        workplace.writer()
        .append(
            "unit.episode-ended",
            EpisodeEnded(episode=episode),
            subjects=(unit,),
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
        .id
    )
