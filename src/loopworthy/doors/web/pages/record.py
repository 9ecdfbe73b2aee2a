"""The record itself: its heads for sheets, comparing a fingerprint from elsewhere, and checking every byte.

It can say that a chain is unaltered since it was witnessed, and no more; the page says exactly that.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import record_care
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.record.verify import VerifyReport
from loopworthy.vocabulary.errors import InputError, LoopworthyError, UnknownNameError
from loopworthy.vocabulary.identity import fingerprint, short


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadShown:
    """The last entry of one device: its name, number, fingerprint, and its event."""

    device: str
    own: bool
    sequence: int
    fingerprint: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What checking every byte found.

    Attributes
    ----------
    unbroken : bool
    sentence : str
        The result in one sentence.
    chains : tuple of (str, str)
        Device, and until where others have seen it.
    faults : tuple of str
        Every fault, damage and fork in words.
    notes : tuple of str
        What is no fault but should be known.
    """

    unbroken: bool
    sentence: str
    chains: tuple[tuple[str, str], ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPage:
    """The record itself.

    Attributes
    ----------
    frame : Frame
    title, identity : str
    events : int
    heads : tuple of HeadShown
    fingerprint : Field
        What came from elsewhere.
    compared : str
        What the last comparison found, '' where none was made just now.
    signing : Signing
    checked : Checked or None
    action, check_href, history_href : str
    """

    frame: Frame
    title: str
    identity: str
    events: int
    heads: tuple[HeadShown, ...]
    fingerprint: Field
    compared: str
    signing: Signing
    checked: Checked | None
    action: str
    check_href: str
    history_href: str


def record(asked: Asked) -> Answer:
    """Heads, comparing one, checking all."""
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            seen = record_care.witness(asked.workplace, asked.form.get("fingerprint"), person=signed.person)
            return SeeOther(address=asked.links.to("record", compared=short(seen.id)))
        except UnknownNameError:
            problem = InputError(
                "fingerprint",
                asked.form.get("fingerprint"),
                asked.say("record.not_found"),
                next_step=asked.say("record.not_found_step"),
            )
        except LoopworthyError as error:
            problem = error
    context = record_page(asked, problem)
    return Page(template="record.html", context=context, status=status_of(problem) if problem is not None else 200)


def record_page(asked: Asked, problem: LoopworthyError | None = None) -> RecordPage:
    """What the page of the record shows."""
    say, one = asked.say, asked.workplace.record
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    refused = wrong.get("fingerprint", "") or wrong.get("identity", "")
    return RecordPage(
        frame=page_frame(asked, say("record.title"), problem=problem),
        title=one.title,
        identity=short(one.id),
        events=asked.workplace.book().count,
        heads=tuple(
            HeadShown(
                device=head.device_name or short(head.device),
                own=head.own,
                sequence=head.sequence,
                fingerprint=head.fingerprint,
                href=asked.links.event(head.event),
            )
            for head in record_care.heads(asked.workplace)
        ),
        fingerprint=text_field(
            "fingerprint", say("record.fingerprint"), form, required=True, error=refused,
            help=say("record.fingerprint_help"),
        ),
        compared=_compared(asked),
        signing=signing_fields(asked, form, label=say("record.compared_by"), late=False, errors=wrong),
        checked=_checked(asked, record_care.check_record(asked.workplace)) if asked.query.ticked("check") else None,
        action=asked.links.record(),
        check_href=asked.links.to("record", check="yes") + "#checked",
        history_href=asked.links.history_of_all(family="record"),
    )  # fmt: skip


def _compared(asked: Asked) -> str:
    text = asked.query.get("compared")
    if not text:
        return ""
    seen = asked.workplace.record.get(asked.event(text)).payload
    event, sequence = getattr(seen, "event", ""), getattr(seen, "sequence", 0)
    if not event:
        raise InputError("compared", text, "an entry about a fingerprint that was compared")
    return asked.say("record.found", fingerprint=fingerprint(event), number=sequence)


def _checked(asked: Asked, report: VerifyReport) -> Checked:
    say = asked.say
    names = {one.device: one.device_name or short(one.device) for one in report.chains}
    chains = []
    for one in report.chains:
        if one.witnessed_sequence:
            by = ", ".join(names.get(device, short(device)) for device in one.witnesses)
            values = {"number": one.witnessed_sequence, "by": by, "last": one.head_sequence}
            chains.append((names[one.device], say("record.witnessed", **values)))
        else:
            chains.append((names[one.device], say("record.not_witnessed", last=one.head_sequence)))
    faults = [str(one) for one in report.faults] + list(report.damage)
    notes = [say("record.unknown_kind", kind=kind, count=count) for kind, count in report.unknown_kinds.items()]
    if report.unreadable:
        notes.append(say("record.unreadable", count=len(report.unreadable)))
    if report.forks:
        notes.append(say("record.forks", count=len(report.forks)))
    if report.waiting:
        notes.append(say("record.waiting", count=report.waiting))
    return Checked(
        unbroken=report.unbroken,
        sentence=say("record.unbroken" if report.unbroken else "record.broken", events=report.events),
        chains=tuple(chains),
        faults=tuple(faults),
        notes=tuple(notes),
    )


ROUTES = (Door(path="/record", handler=record, methods=READ_AND_SEND),)
