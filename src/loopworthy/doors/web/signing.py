"""Who stands behind an act that is no reading, and when it happened: two fields and how they are read back.

Readings ask more (second person, instrument); see `fields.who_fields`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import (
    MOMENT_CONFIRMED,
    Field,
    local_moment,
    moment_field,
    person_choices,
    select,
)
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Signing:
    """Who and when, as templates/parts/signing.html asks it.

    Attributes
    ----------
    person : Field or None
        None where nobody is in the record yet.
    moment : Field or None
        In a fold, for what happened earlier; None where only now makes sense.
    moment_open : bool
        Whether the fold is open.
    people_href : str
        Where to add a person.
    """

    person: Field | None
    moment: Field | None
    moment_open: bool
    people_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """Who stands behind what was sent, and when it happened if not now."""

    person: ThingId
    occurred_at: Moment | None
    moment_confirmed: bool


def signing_fields(
    asked: Asked,
    form: Form,
    *,
    label: str,
    late: bool = True,
    chosen: str | None = None,
    errors: Mapping[str, str] | None = None,
    question: str = "",
) -> Signing:
    """The questions who and when.

    Parameters
    ----------
    form : Form
        Where what was typed already stands: the form that was refused, or the query of a step before.
    label : str
        Who is asked for: "Done by".
    late : bool
        Whether it may have happened earlier.
    chosen : str, optional
        Who is proposed; whoever reads on this device where it is left out.
    question : str
        What has to be asked about the moment that was typed; see `late.question_about`.
    """
    wrong = dict(errors or {})
    known = person_choices(asked)
    proposed = asked.person if chosen is None else chosen
    person = (
        select("person", label, known, form, chosen=proposed, required=True, error=wrong.get("person", ""))
        if known
        else None
    )
    when = None
    if late:
        when = moment_field(
            asked,
            form,
            asked.say("signing.occurred_at", zone=asked.now.zone),
            error=wrong.get("occurred_at", ""),
            help=asked.say("signing.occurred_at_help"),
            question=question,
        )
    return Signing(
        person=person,
        moment=when,
        moment_open=bool(form.get("occurred_at") or wrong.get("occurred_at")),
        people_href=asked.links.people(back=asked.path),
    )


def signed_by(asked: Asked) -> Signed:
    """Who stands behind the form that was sent, and when it happened.

    Raises
    ------
    InputError
        If nobody of the record is named, or the moment cannot be read or lies ahead.
    """
    person = asked.form.get("person")
    if person not in {one for one, _ in person_choices(asked)}:
        raise InputError(
            "person", asked.workplace.name(person) or person, "one of the people in the record",
            next_step=asked.say("signing.choose_person"),
        )  # fmt: skip
    when = asked.form.get("occurred_at")
    return Signed(
        person=person,
        occurred_at=local_moment(asked, when) if when else None,
        moment_confirmed=asked.form.ticked(MOMENT_CONFIRMED),
    )
