"""The record by file: a copy out for another device, a file in from one, and in plain words what came of it."""

from __future__ import annotations

import gzip
import re
import zlib
from dataclasses import dataclass

from starlette.responses import Response

from loopworthy.desk import carrying
from loopworthy.desk.carrying import TakenIn
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import LARGEST_BODY, Asked
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.record.receiving import CheckedLines, check_heads, sign_own_heads
from loopworthy.record.signing import is_keyed, signed_head
from loopworthy.vocabulary.errors import InputError, LoopworthyError
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import short

FILE_TYPE = "application/jsonl"
LARGEST_FILE_MB = LARGEST_BODY // (1024 * 1024)

LARGEST_UNPACKED = 64 * 1024 * 1024
PACKED_FROM = 8 * 1024 * 1024
"""A larger file goes out packed, so that it can be sent to a page again; programs to share with want it plain."""

_NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class CameIn:
    """What came of a file.

    Attributes
    ----------
    sentence : str
        How much was new.
    whole : bool
        Whether all of it could be taken.
    notes : tuple of str
        What else was new, and what lies beside the record now.
    refused : tuple of str
        Every line that was not taken, and why.
    merge_href : str
        What it changed; '' where nothing was new.
    """

    sentence: str
    whole: bool
    notes: tuple[str, ...]
    refused: tuple[str, ...]
    merge_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Carry:
    """Taking a copy out and a file in.

    Attributes
    ----------
    frame : Frame
    events : int
        In the record.
    file_href, plain_href, file_name : str
        Where the copy is, and where it is never packed; what it is called.
    file : Field
    came_in : tuple of CameIn
        What came of the file that was sent just now.
    action, scan_href, merges_href, record_href : str
    latest_href : str
        What is new here as a code; '' where this device has written nothing.
    """

    frame: Frame
    events: int
    file_href: str
    plain_href: str
    file_name: str
    file: Field
    came_in: tuple[CameIn, ...]
    action: str
    scan_href: str
    latest_href: str
    merges_href: str
    record_href: str


def carry(asked: Asked) -> Answer:
    """Out and in."""
    came_in: tuple[CameIn, ...] = ()
    problem: LoopworthyError | None = None
    try:
        came_in = tuple(came_in_told(asked, one) for one in taken_in(asked))
    except LoopworthyError as error:
        problem = error
    wrong = told(asked, problem) if isinstance(problem, InputError) else ""
    context = Carry(
        frame=page_frame(asked, asked.say("carry.title"), problem=problem, problem_place="file" if wrong else ""),
        events=asked.workplace.book().count,
        file_href=asked.links.record_file(),
        plain_href=asked.links.record_file(plain=True),
        file_name=file_name(asked),
        file=Field(
            name="file",
            label=asked.say("carry.file"),
            kind="file",
            required=True,
            error=wrong,
            help=asked.say("carry.file_help", limit=LARGEST_FILE_MB),
        ),
        came_in=came_in,
        action=asked.links.carry(),
        scan_href=asked.links.scan(),
        latest_href=asked.links.latest_code() if carrying.not_seen_elsewhere(asked.workplace) else "",
        merges_href=asked.links.merges(),
        record_href=asked.links.record(),
    )
    return Page(template="carry.html", context=context, status=status_of(problem) if problem is not None else 200)


async def read_file(asked: Asked) -> object:
    """The lines of the file that was sent, with the signatures that are genuine, or why there are none."""
    if not asked.posts:
        return None
    try:
        return [await checked(asked, _sent(asked).splitlines(keepends=True))]
    except LoopworthyError as error:
        return error


async def sign_last(asked: Asked) -> object:
    """Sign the head of this device's chain before anything is handed on, and the entry that the address names."""
    record = asked.workplace.record
    if record.keys is None:
        return ()
    made = await sign_own_heads(record.store, record.keys)
    if "event" not in asked.values:
        return made
    last = record.get(asked.event(asked.values["event"]))
    signer = record.keys.signer(last.envelope.device) if is_keyed(last.envelope.device) else None
    if signer is None:
        return made
    place = SeenHead(sequence=last.envelope.sequence, event=last.id)
    return (*made, await signed_head(record.id, place, signer))


async def checked(asked: Asked, lines: list[bytes]) -> CheckedLines:
    """Lines with the signatures that are genuine."""
    if asked.site.verifier is None:
        return CheckedLines(lines=lines, heads=frozenset())
    return await check_heads(lines, asked.site.verifier)


def taken_in(asked: Asked) -> tuple[TakenIn, ...]:
    """What came of everything that was sent; nothing where nothing was.

    Raises
    ------
    LoopworthyError
        What was wrong with it.
    """
    if isinstance(asked.prepared, LoopworthyError):
        raise asked.prepared
    sent = asked.prepared if isinstance(asked.prepared, list) else []
    return tuple(carrying.take_in(asked.workplace, one.lines, vouched=one.heads) for one in sent)


def _sent(asked: Asked) -> bytes:
    sent = asked.form.files.get("file")
    if sent is None:
        raise InputError("file", "", asked.say("carry.a_file"), next_step=asked.say("carry.a_file_step"))
    if sent.body.startswith(b"SQLite format 3\x00"):
        raise InputError("file", sent.name, asked.say("carry.a_file"), next_step=asked.say("carry.not_sqlite_step"))
    return _unpacked(asked, sent.name, sent.body) if sent.body.startswith(b"\x1f\x8b") else sent.body


def _unpacked(asked: Asked, name: str, packed: bytes) -> bytes:
    unpacking = zlib.decompressobj(wbits=31)
    try:
        body = unpacking.decompress(packed, LARGEST_UNPACKED)
    except zlib.error as error:
        step = asked.say("carry.not_gzip_step")
        raise InputError("file", name, asked.say("carry.a_file"), next_step=step) from error
    if unpacking.unconsumed_tail:
        limit = f"at most {LARGEST_UNPACKED // (1024 * 1024)} MB when unpacked"
        raise InputError("file", name, limit, next_step=asked.say("carry.too_large_step"))
    return body


def record_file(asked: Asked) -> Answer:
    """The whole record as a file."""
    body, name = b"".join(carrying.take_out(asked.workplace)), file_name(asked)
    if len(body) > PACKED_FROM and not asked.query.ticked("plain"):
        body, name = gzip.compress(body, mtime=0), f"{name}.gz"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=FILE_TYPE if name.endswith(".jsonl") else "application/gzip", headers=headers)


def file_name(asked: Asked) -> str:
    """``loopworthy-trial-2026-06-14-0530.jsonl``: which record, and as of when."""
    title = _NOT_IN_A_NAME.sub("-", asked.workplace.record.title).strip("-").lower()[:40] or "record"
    return f"loopworthy-{title}-{asked.now.local():%Y-%m-%d-%H%M}.jsonl"


def came_in_told(asked: Asked, taken: TakenIn) -> CameIn:
    """What was new and what was refused, in words."""
    report, say = taken.report, asked.say
    counts = {
        "texts_taken": report.texts_taken,
        "texts_erased": report.texts_erased,
        "blobs_taken": report.blobs_taken,
        "waiting": len(report.waiting),
        "not_vouched": len(report.not_vouched),
        "departed": len(report.departed),
        "unknown": sum(report.unknown_kinds.values()),
        "forks": len(report.forks),
    }
    notes = [say(f"carry.{key}", count=count) for key, count in counts.items() if count]
    if report.ahead:
        hours = max(one.ahead_ms for one in report.ahead) // 3_600_000
        notes.append(say("carry.ahead", count=len(report.ahead), hours=hours))
    if report.new_device:
        notes.append(say("carry.new_device"))
    if not report.whole:
        notes.append(say("carry.cut_short"))
    refused = tuple(
        say("carry.refused_line", line=one.line, why=one.why)
        if one.line
        else say("carry.refused_waiting", event=short(one.event), why=one.why)
        for one in report.refused
    )
    key = "taken_one" if report.taken == 1 else "taken" if report.taken else "taken_none"
    values = {"here": report.already_here} | ({"taken": report.taken} if key == "taken" else {})
    return CameIn(
        sentence=say(f"carry.{key}", **values),
        whole=report.whole and not refused,
        notes=tuple(notes),
        refused=refused,
        merge_href=asked.links.merge(taken.merge) if taken.merge else "",
    )


ROUTES = (
    Door(path="/record/carry", handler=carry, methods=READ_AND_SEND, before=read_file),
    Door(path="/record/file", handler=record_file, before=sign_last),
)
