"""Taking a part out and leaving its place empty: what is read of the place falls as if another part had come.

It is recorded as the change that exchanges such a part, so that its questions are asked and its effects hold, and the
part's leaving with it.
"""

from __future__ import annotations

from collections.abc import Mapping

from loopworthy.desk.late import check_moment
from loopworthy.desk.rehearsals import batch_in_thought, shifts
from loopworthy.desk.steps import refuse_if_frozen
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.catalogue.model import Change
from loopworthy.judgement.exchanges import Exchange, undeclared_change
from loopworthy.judgement.merged import UnitShift
from loopworthy.record.chain import Batch, Draft
from loopworthy.unit.events import ChangeMade, PartRemoved
from loopworthy.unit.positions import Position
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment


def removable(workplace: Workplace, unit: ThingId) -> tuple[Position, ...]:
    """Positions in which something is; the diver's is left out, for a diver is exchanged."""
    fitted = workplace.world.fitted(unit)
    return tuple(one for one in workplace.world.positions(unit) if one.id in fitted and one.kind != "person")


def change_by_taking_out(workplace: Workplace, unit: ThingId, position: str) -> Change:
    """The change that taking out what is in a position is recorded as.

    Raises
    ------
    UnknownNameError
        If nothing that can be taken out is there.
    RefusedError
        If the catalogue has no change for such a part.
    """
    _there(workplace, unit, position)
    exchange = Exchange(unit=unit, position=position, things=())
    found = workplace.catalogue.changes.get(undeclared_change(workplace.catalogue, workplace.world, exchange))
    if found is None:
        raise RefusedError(
            f"The catalogue has no change for taking something out of {position}",
            next_step="Record what came in its place instead",
        )
    return found


def preview_taking_out(
    workplace: Workplace, unit: ThingId, position: str, answers: Mapping[str, str]
) -> tuple[UnitShift, ...]:
    """How units would stand without the part; questions not answered count as their worst answer."""
    batch = batch_in_thought(workplace)
    _add(workplace, batch, unit, position, answers, note="", person="", occurred_at=None)
    return shifts(workplace, batch, workplace.world.units())


def take_out(
    workplace: Workplace,
    unit: ThingId,
    position: str,
    *,
    answers: Mapping[str, str],
    note: str = "",
    person: ThingId,
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> tuple[Event, ...]:
    """Record that a part was taken out and nothing put in its place.

    Raises
    ------
    InputError
        If an answer is none, or nobody did it.
    UnknownNameError
        If nothing that can be taken out is there.
    RefusedError
        If the unit is frozen.
    LateMomentError
        If the moment has to be looked at again.
    """
    thing = _there(workplace, unit, position)
    refuse_if_frozen(workplace, unit)
    if not person:
        raise InputError("person", person, "the person who did it", next_step="Choose who you are")
    check_moment(workplace, occurred_at, units=(unit,), things=(thing,), confirmed=moment_confirmed)
    with workplace.writer().batch() as batch:
        _add(workplace, batch, unit, position, answers, note=note, person=person, occurred_at=occurred_at)
        return batch.events


def _add(
    workplace: Workplace,
    batch: Batch,
    unit: ThingId,
    position: str,
    answers: Mapping[str, str],
    *,
    note: str,
    person: ThingId,
    occurred_at: Moment | None,
) -> None:
    thing = _there(workplace, unit, position)
    change = change_by_taking_out(workplace, unit, position)
    questions = {one.id: one for one in change.questions}
    for name, answer in answers.items():
        if name not in questions:
            raise UnknownNameError("question", name, tuple(questions))
        if answer not in questions[name].answers:
            raise InputError(name, answer, f"one of {', '.join(questions[name].answers)}")
    made = ChangeMade(change=change.id, positions=(position,), answers=dict(answers), note=wording.note("note", note))
    for kind, payload in (("unit.change-made", made), ("unit.part-removed", PartRemoved(position=position))):
        batch.add(
            Draft(
                kind=kind,
                payload=payload,
                subjects=(unit, thing),
                occurred_at=occurred_at,
                read_by=person,
                typed_by=person,
            )
        )


def _there(workplace: Workplace, unit: ThingId, position: str) -> ThingId:
    if position not in {one.id for one in removable(workplace, unit)}:
        known = tuple(one.id for one in removable(workplace, unit))
        raise UnknownNameError("part in position", position, known)
    return workplace.world.fitted(unit)[position].thing
