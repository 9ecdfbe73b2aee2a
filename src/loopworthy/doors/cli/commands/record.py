"""``loopworthy record``: beginning, checking, carrying and copying the file that everything is written down in."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Exit, Group, argument, helped, option, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import fingerprint, short

if TYPE_CHECKING:
    from loopworthy.record.merge import MergeReport
    from loopworthy.record.registry import Registry
    from loopworthy.record.sqlite import SqliteStore
    from loopworthy.record.verify import ChainReport, VerifyReport
    from loopworthy.vocabulary.time import Moment

record = Group("record", help=helped("record"), no_args_is_help=True)

_FILE = click.Path(dir_okay=False, path_type=Path)
_FILE_OR_DASH = click.Path(dir_okay=False, allow_dash=True)
_SQLITE_MAGIC = b"SQLite format 3\x00"


@record.command("begin", help=helped("record_begin"))
@argument("path", "record_path", required=False, type=_FILE)
@option("--title", key="record_title", default="", metavar="TEXT")
@option("--device-name", key="record_device_name", default="this computer", show_default=True, metavar="NAME")
@option("--invented", key="record_invented", is_flag=True)
@click.pass_obj
def begin(settings: Settings, path: Path | None, title: str, device_name: str, invented: bool) -> None:
    """Begin a new record."""
    from loopworthy.bootstrap import device_keys, open_workplace

    chosen = path or settings.path
    if chosen.exists():
        raise InputError("path", str(chosen), "a file that is not there yet", next_step="Choose another path")
    workplace = open_workplace(
        chosen,
        clock=settings.now(),
        title=title,
        device_name=device_name,
        invented=invented,
        owner_files=settings.owner_texts(),
        create=True,
        keys=device_keys(),
    )
    settings.answer(
        lambda: {
            "record": workplace.record.id,
            "title": workplace.record.title,
            "path": str(chosen),
            "invented": workplace.record.invented,
            "device": workplace.record.device,
        },
        lambda: [
            say("record_begun", title=workplace.record.title, path=chosen, id=short(workplace.record.id)),
            *([say("record_is_invented")] if workplace.record.invented else []),
        ],
    )


@record.command("verify", help=helped("record_verify"))
@argument("path", "record_path_or_chosen", required=False, type=_FILE)
@option("--sheet", "sheets", key="record_sheet", multiple=True, metavar="FINGERPRINT")
@click.pass_obj
def verify(settings: Settings, path: Path | None, sheets: tuple[str, ...]) -> int:
    """Check every byte."""
    from loopworthy.bootstrap import registry
    from loopworthy.record.verify import verify as check

    known = registry()
    with _store(replace(settings, record=path) if path else settings) as store:
        report = check(store, known, sheets=sheets)
        false = _false_signatures(store, known) if not report.faults and not report.damage else ()
    settings.answer(lambda: _verified(report, false), lambda: _verify_lines(report, false))
    return Exit.DONE if report.unbroken and not false else Exit.NOT_WHOLE


@record.command("apart", help=helped("record_apart"))
@click.pass_obj
def apart(settings: Settings) -> None:
    """List every entry that lies beside the record, and why."""
    from loopworthy.doors.texts import Texts

    workplace = settings.open()
    told, duration = Texts.load().say, settings.words(workplace).duration
    found = workplace.apart()

    def lines() -> Iterator[str]:
        for one in found:
            shown, minutes = one.shown, abs(one.shown.ahead_ms) // 60_000
            device = workplace.device_name(shown.device)
            yield told("apart.one", device=device, number=shown.sequence, kind=shown.kind)
            offset = told("apart.ahead" if shown.ahead_ms >= 0 else "apart.behind", time=duration(minutes))
            yield f"  {told('apart.claims', when=shown.recorded_at.at)}; {offset}"
            yield f"  {told('apart.why_' + one.why.value.replace(' ', '_'))}"
        if not found:
            yield told("apart.none")

    settings.answer(
        lambda: {
            "apart": [
                {
                    "event": one.shown.event,
                    "why": one.why.value,
                    "device": one.shown.device,
                    "device_name": workplace.device_name(one.shown.device),
                    "sequence": one.shown.sequence,
                    "kind": one.shown.kind,
                    "claims_recorded_at": one.shown.recorded_at.at,
                    "clock_ahead_ms": one.shown.ahead_ms,
                }
                for one in found
            ]
        },
        lines,
    )


@record.command("export", help=helped("record_export"))
@argument("file", "export_file", required=False, type=_FILE_OR_DASH)
@option("--leave-out-damaged", "rescue", key="record_rescue", is_flag=True)
@click.pass_obj
def export(settings: Settings, file: str | None, rescue: bool) -> int:
    """Write the record as lines of JSON."""
    from loopworthy.bootstrap import clock_for
    from loopworthy.record.exchange import export_lines

    left_out: list[str] = []
    with _store(settings) as store:
        _sign(store)
        keep = (lambda stored: left_out.append(stored.id)) if rescue else None
        lines = export_lines(store, exported_at=clock_for(store, settings.now())(), leave_out=keep)
        if file in (None, "-"):
            for line in lines:
                sys.stdout.buffer.write(line)
            sys.stdout.buffer.flush()
            count = 0
        else:
            count = _write_whole(Path(str(file)), lines)
    for one in left_out:
        click.echo(say("left_out", event=short(one)), err=True)
    if file not in (None, "-"):
        settings.answer(
            lambda: {"file": str(file), "lines": count, "left_out": left_out},
            lambda: [say("exported", lines=count, file=file)],
        )
    return Exit.NOT_WHOLE if left_out else Exit.DONE


@record.command("merge", help=helped("record_merge"))
@argument("file", "merge_file", type=_FILE_OR_DASH)
@option("--adopt", key="record_adopt", is_flag=True)
@click.pass_obj
def merge(settings: Settings, file: str, adopt: bool) -> int:
    """Take everything from an export, or from another record file, that is not here yet."""
    from loopworthy.bootstrap import clock_for, registry
    from loopworthy.doors.exchange.keys import Verifier, at_once
    from loopworthy.record.merge import merge as take
    from loopworthy.record.receiving import check_heads
    from loopworthy.record.sqlite import SqliteStore

    target = settings.path
    made = not target.exists()
    if made and not adopt:
        raise InputError(
            "record", str(target), "the path of a record", next_step="Add --adopt to make a record file from the export"
        )
    with _lines_of(settings, file) as lines:
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            with closing(SqliteStore(target)) as store:
                sent = at_once(check_heads(lines, Verifier()))
                known, now = registry(), clock_for(store, settings.now())()
                report = take(store, known, sent.lines, now=now, vouched=sent.heads, adopt=adopt)
                _record_what_came(store, known, now)
        except BaseException:
            if made:
                for suffix in ("", "-wal", "-shm"):
                    target.with_name(target.name + suffix).unlink(missing_ok=True)
            raise
    settings.answer(lambda: _merged(report), lambda: _merge_lines(report))
    return Exit.DONE if report.whole and not report.refused else Exit.NOT_WHOLE


@record.command("backup", help=helped("record_backup"))
@argument("target", "backup_target", type=_FILE)
@click.pass_obj
def backup(settings: Settings, target: Path) -> None:
    """Write a whole, checked copy, also while the record is being written to."""
    from loopworthy.record.backup import backup as copy

    with _store(settings) as store:
        _sign(store)
        report = copy(store, target)
    _tell_copy(settings, "backed_up", report.path, report.events, report.heads)


@record.command("restore", help=helped("record_restore"))
@argument("source", "restore_source", type=_FILE)
@argument("target", "restore_target", type=_FILE)
@click.pass_obj
def restore(settings: Settings, source: Path, target: Path) -> None:
    """Make a record file from a backup."""
    from loopworthy.record.backup import restore as bring_back

    if not source.is_file():
        raise InputError("source", str(source), "a backup that is there")
    target.parent.mkdir(parents=True, exist_ok=True)
    report = bring_back(source, target)
    _tell_copy(settings, "restored", report.path, report.events, report.heads)


@record.command("heads", help=helped("record_heads"))
@click.pass_obj
def heads(settings: Settings) -> None:
    """Tell the last event of each chain, as it is printed and read aloud."""
    from loopworthy.desk.record_care import heads as heads_of

    workplace = settings.open()
    found = heads_of(workplace)
    settings.answer(
        lambda: {
            "record": workplace.record.id,
            "heads": [
                {
                    "device": one.device,
                    "device_name": one.device_name,
                    "sequence": one.sequence,
                    "event": one.event,
                    "fingerprint": one.fingerprint,
                    "own": one.own,
                }
                for one in found
            ],
        },
        lambda: [
            say(
                "head",
                fingerprint=one.fingerprint,
                sequence=one.sequence,
                name=one.device_name or say("nobody"),
                device=short(one.device),
            )
            + (say("own_chain") if one.own else "")
            for one in found
        ],
    )


@record.command("witness", help=helped("record_witness"))
@argument("text", "fingerprint", metavar="FINGERPRINT", nargs=-1, required=True)
@click.pass_obj
def witness(settings: Settings, text: tuple[str, ...]) -> None:
    """Record that a fingerprint from a sheet was compared and found here."""
    from loopworthy.desk.record_care import witness as compared

    workplace = settings.open()
    event = compared(workplace, " ".join(text), person=settings.actor(workplace))
    settings.answer(
        lambda: {"recorded": [{"event": event.id, "kind": event.envelope.kind}]},
        lambda: [say("witnessed", fingerprint=" ".join(text), event=short(getattr(event.payload, "event", "")))],
    )


@record.command("show", help=helped("record_show"))
@argument("event", "event")
@click.pass_obj
def show_one(settings: Settings, event: str) -> None:
    """Show one event as it is stored, with what rests on it."""
    import msgspec

    from loopworthy.desk.dependants import ties
    from loopworthy.desk.history import told
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.telling import Telling

    workplace = settings.open()
    found = workplace.record.get(event)
    tied = ties(workplace, found.id)
    words = settings.words(workplace)
    in_words, in_history = Telling(words).told(found), told(workplace, found)
    envelope = msgspec.json.decode(found.body)
    settings.answer(
        lambda: {
            "event": found.id,
            "told": plain.history_entry(in_history, in_words),
            "envelope": envelope,
            "used": list(tied.used),
            "rests_on_it": [one.event for one in tied.rests_on_it],
            "withdrawn": tied.withdrawal.reason if tied.withdrawal is not None else None,
        },
        lambda: [
            show.history_entry(words, in_history, in_words),
            *(f"  {name}: {_short_value(value)}" for name, value in envelope.items()),
            *(f"  {say('rests_on_it', step=one.step, event=short(one.event))}" for one in tied.rests_on_it),
        ],
    )


@contextmanager
def _store(settings: Settings) -> Iterator[SqliteStore]:
    """The store of the chosen record, whatever state it is in."""
    from loopworthy.record.sqlite import SqliteStore

    path = settings.path
    if not path.is_file():
        raise InputError(
            "record", str(path), "the path of a record", next_step="Begin one with: loopworthy record begin PATH"
        )
    with closing(SqliteStore(path)) as store:
        yield store


@contextmanager
def _lines_of(settings: Settings, file: str) -> Iterator[Iterable[bytes]]:
    """The lines of an export: of a file, of standard input, or of another record file as it would export itself."""
    from loopworthy.bootstrap import clock_for
    from loopworthy.record.exchange import export_lines
    from loopworthy.record.sqlite import SqliteStore

    if file == "-":
        yield sys.stdin.buffer
        return
    if not Path(file).is_file():
        raise InputError("file", file, "an export, or another record file, that is there")
    with Path(file).open("rb") as source:
        if source.read(len(_SQLITE_MAGIC)) != _SQLITE_MAGIC:
            source.seek(0)
            yield source
            return
    with closing(SqliteStore(Path(file), read_only=True)) as store:
        yield export_lines(store, exported_at=clock_for(store, settings.now())())


def _sign(store: SqliteStore) -> None:
    """Let this computer's device sign for what it wrote, before anything of it leaves."""
    from loopworthy.bootstrap import device_keys
    from loopworthy.doors.exchange.keys import at_once
    from loopworthy.record.receiving import sign_own_heads

    at_once(sign_own_heads(store, device_keys()))


def _false_signatures(store: SqliteStore, known: Registry) -> tuple[str, ...]:
    """What is wrong with the signatures that are kept or told of, in words."""
    import secrets

    from loopworthy.doors.exchange.keys import Verifier, at_once
    from loopworthy.record.receiving import false_signatures
    from loopworthy.record.record import Record

    if not store.record_id():
        return ()
    record = Record(store, known, device_name="this computer", token=secrets.token_bytes)
    return at_once(false_signatures(record, Verifier()))


def _record_what_came(store: SqliteStore, known: Registry, now: Moment) -> None:
    """Write down which heads others had signed; a device of its own begins here with that if there was none."""
    import secrets

    from loopworthy.bootstrap import device_keys
    from loopworthy.record.receiving import record_heads_received
    from loopworthy.record.record import Record

    record = Record(store, known, device_name="this computer", token=secrets.token_bytes, keys=device_keys())
    record_heads_received(record, now=now)


def _write_whole(file: Path, lines: Iterable[bytes]) -> int:
    """Write a file that appears only when it is whole; how many lines it has."""
    if file.exists():
        raise InputError("file", str(file), "a file that does not exist yet", next_step="Choose another name")
    part = file.with_name(file.name + ".part")
    count = 0
    try:
        with part.open("wb") as target:
            for line in lines:
                target.write(line)
                count += 1
            target.flush()
            os.fsync(target.fileno())
        os.replace(part, file)
    finally:
        part.unlink(missing_ok=True)
    return count


def _tell_copy(settings: Settings, key: str, path: Path, events: int, heads: Any) -> None:
    settings.answer(
        lambda: {
            "path": str(path),
            "events": events,
            "heads": [
                {
                    "device": device,
                    "sequence": head.sequence,
                    "event": head.event,
                    "fingerprint": fingerprint(head.event),
                }
                for device, head in sorted(heads.items())
            ],
        },
        lambda: [
            say(key, path=path, events=events),
            *(
                say("copied_head", fingerprint=fingerprint(head.event), sequence=head.sequence, device=short(device))
                for device, head in sorted(heads.items())
            ),
        ],
    )


# --- reports ----------------------------------------------------------------------------------------------------------


def _verified(report: VerifyReport, false: tuple[str, ...]) -> dict[str, Any]:
    return {
        "record": report.record,
        "unbroken": report.unbroken,
        "events": report.events,
        "chains": [_chain(one) for one in report.chains],
        "faults": [
            {
                "position": one.position,
                "event": one.event,
                "device": one.device,
                "sequence": one.sequence,
                "why": one.why,
            }
            for one in report.faults
        ],
        "damage": list(report.damage),
        "false_signatures": list(false),
        "forks": [str(one) for one in report.forks],
        "sheets": [{"fingerprint": one.fingerprint, "event": one.event} for one in report.sheets],
        "unknown_kinds": report.unknown_kinds,
        "unreadable": list(report.unreadable),
        "waiting": report.waiting,
    }


def _chain(one: ChainReport) -> dict[str, Any]:
    return {
        "device": one.device,
        "device_name": one.device_name,
        "events": one.events,
        "head": one.head,
        "fingerprint": one.fingerprint,
        "head_sequence": one.head_sequence,
        "witnessed_sequence": one.witnessed_sequence,
        "witnesses": list(one.witnesses),
        "keyed": one.keyed,
        "signed_sequence": one.signed_sequence,
    }


def _verify_lines(report: VerifyReport, false: tuple[str, ...]) -> Iterator[str]:
    whole = not report.faults and not report.damage
    yield say("unbroken" if report.unbroken else "sheet_missing" if whole else "broken", events=report.events)
    for fault in report.faults:
        yield f"  {fault}"
    for damage in report.damage:
        yield f"  {damage}"
    for problem in false:
        yield f"  {problem}"
    for fork in report.forks:
        yield f"  {fork}"
    for sheet in report.sheets:
        found = say("sheet_found", event=short(sheet.event)) if sheet.event else say("sheet_not_found")
        yield f"  {sheet.fingerprint}: {found}"
    for chain in report.chains:
        witnessed = (
            say("witnessed_to", sequence=chain.witnessed_sequence)
            if chain.witnessed_sequence
            else say("never_witnessed")
        )
        told = say(
            "chain",
            name=chain.device_name or say("nobody"),
            device=short(chain.device),
            events=chain.events,
            fingerprint=chain.fingerprint,
        )
        signed = say("signed_to", sequence=chain.signed_sequence) if chain.signed_sequence else say("not_signed")
        yield f"  {told} {witnessed}; {signed}"
    for kind, count in report.unknown_kinds.items():
        yield f"  {say('unknown_kind', kind=kind, count=count)}"
    if report.unreadable:
        yield f"  {say('unreadable', count=len(report.unreadable))}"
    if report.waiting:
        yield f"  {say('waiting', count=report.waiting)}"
    yield say("what_verify_says")


def _merged(report: MergeReport) -> dict[str, Any]:
    return {
        "record": report.record,
        "whole": report.whole,
        "taken": report.taken,
        "already_here": report.already_here,
        "waiting": list(report.waiting),
        "not_vouched": list(report.not_vouched),
        "ahead": [{"event": one.event, "device": one.device, "ahead_ms": one.ahead_ms} for one in report.ahead],
        "faulty": [{"event": one.event, "device": one.device} for one in report.faulty],
        "departed": list(report.departed),
        "refused": [{"line": one.line, "event": one.event, "why": one.why} for one in report.refused],
        "forks": [str(one) for one in report.forks],
        "fork_proofs": [str(one) for one in report.fork_proofs],
        "unknown_kinds": report.unknown_kinds,
        "texts_taken": report.texts_taken,
        "texts_erased": report.texts_erased,
        "blobs_taken": report.blobs_taken,
        "new_device": report.new_device,
    }


def _merge_lines(report: MergeReport) -> Iterator[str]:
    yield say("merged", taken=report.taken, here=report.already_here)
    counts = {
        "texts_taken": report.texts_taken,
        "texts_erased": report.texts_erased,
        "blobs_taken": report.blobs_taken,
        "waiting": len(report.waiting),
        "not_vouched": len(report.not_vouched),
        "ahead": len(report.ahead),
        "faulty": len(report.faulty),
        "departed": len(report.departed),
    }
    for key, count in counts.items():
        if count:
            yield f"  {say(key, count=count)}"
    for one in report.refused:
        yield f"  {say('refused_line', line=one.line, why=one.why)}"
    for fork in report.forks:
        yield f"  {fork}"
    for proof in report.fork_proofs:
        yield f"  {proof}"
    for kind, count in report.unknown_kinds.items():
        yield f"  {say('unknown_kind', kind=kind, count=count)}"
    if report.new_device:
        yield f"  {say('writes_as_new_device')}"
    if not report.whole:
        yield f"  {say('cut_short')}"


def _short_value(value: Any) -> str:
    import msgspec

    text = value if isinstance(value, str) else msgspec.json.encode(value).decode()
    return text if len(text) <= 400 else f"{text[:400]}…"
