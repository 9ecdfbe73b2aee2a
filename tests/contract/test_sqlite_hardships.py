"""What a file has to live through: other processes, kills, full disks, permissions, damaged pages, prying eyes."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from loopworthy.record.backup import backup, restore
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.verify import VerifyReport, verify
from loopworthy.vocabulary.errors import InputError, StoreError
from loopworthy.vocabulary.event import GENESIS
from tests.contract.record_makers import (
    NOTED,
    Noted,
    at,
    begin,
    bodies,
    join,
    known_kinds,
    lines_of,
    note,
    send,
    tokens,
)

ROOT = Path(__file__).parents[2]
JOURNALS = [Journal.WRITE_AHEAD, Journal.TRUNCATE]


@pytest.fixture(params=JOURNALS)
def journal(request: pytest.FixtureRequest) -> Journal:
    return Journal(request.param)


@pytest.fixture
def path(tmp_path: Path, journal: Journal) -> Path:
    """A record file with its first event."""
    path = tmp_path / "record.lw"
    with opened(path, journal) as store:
        begin(store)
    return path


@contextmanager
def opened(path: Path, journal: Journal = Journal.WRITE_AHEAD, *, read_only: bool = False) -> Iterator[SqliteStore]:
    store = SqliteStore(path, journal=journal, read_only=read_only)
    try:
        yield store
    finally:
        store.close()


def reopened(store: SqliteStore, name: str = "laptop") -> Record:
    return Record(store, known_kinds(), device_name=name, token=tokens(f"again {name}"))


def checked(path: Path, journal: Journal) -> VerifyReport:
    with opened(path, journal) as store:
        return verify(store, known_kinds())


def start(*arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.contract.record_process", *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}", "PYTHONDONTWRITEBYTECODE": "1"},
    )


def output(process: subprocess.Popen[str]) -> list[str]:
    words, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return words.splitlines()


# --- other processes ---


def test_processes_that_race_for_one_chain_take_turns_and_never_fork_it(path: Path, journal: Journal) -> None:
    writers = [start("append-pairs", path, journal, 25, f"writer-{number}") for number in range(3)]
    acknowledged = [line.split() for writer in writers for line in output(writer)]
    with opened(path, journal) as store:
        order = [stored.id for stored in store.events()]
        report = verify(store, known_kinds())
    assert report.unbroken
    assert report.forks == ()
    assert [(chain.events, chain.head_sequence) for chain in report.chains] == [(151, 151)]
    # Each batch stands together: nobody came between its two events.
    assert {(first, second) for first, second in acknowledged} == set(zip(order[1::2], order[2::2], strict=True))


def test_processes_that_race_to_begin_a_record_begin_one(tmp_path: Path, journal: Journal) -> None:
    path = tmp_path / "new.lw"
    answers = [line for process in [start("begin", path, journal) for _ in range(4)] for line in output(process)]
    with opened(path, journal) as store:
        assert answers.count(store.record_id()) == 1
        assert sum("holds record" in answer for answer in answers) == 3
        assert store.count() == 1


def test_a_held_file_is_named_as_held(path: Path, journal: Journal) -> None:
    with opened(path, journal) as holder, holder.transaction():
        impatient = SqliteStore(path, journal=journal, wait_s=0.05)
        with pytest.raises(StoreError, match=r"another program holds the file.*Close the other program"):
            note(reopened(impatient), "too early")
        impatient.close()


# --- kills ---


def test_a_killed_writer_loses_nothing_that_was_acknowledged(path: Path, journal: Journal) -> None:
    acknowledged: list[str] = []
    for round_number in range(12):
        writer = start("append-pairs", path, journal, 100_000, f"round-{round_number}")
        assert writer.stdout is not None
        for _ in range(1 + 7 * round_number % 23):
            acknowledged += writer.stdout.readline().split()
        writer.kill()  # SIGKILL, somewhere in the middle of the next appends
        rest, _ = writer.communicate(timeout=60)
        # What was still in the pipe was acknowledged too; the last line may have been cut by the kill.
        acknowledged += [word for line in rest.splitlines() for word in line.split() if len(line) == 129]
        with opened(path, journal) as store:
            report = verify(store, known_kinds())
            here = {stored.id for stored in store.events()}
        assert report.unbroken
        assert report.forks == ()
        assert set(acknowledged) <= here
        assert len(here) % 2 == 1  # the first event and whole pairs
    assert len(acknowledged) > 100


# --- full disks ---


def test_a_disk_that_fills_up_is_reported_and_nothing_is_half_written(path: Path, journal: Journal) -> None:
    lines = output(start("fill-the-disk", path, journal))
    refused = [line for line in lines if line.startswith("refused: ")]
    acknowledged = [line for line in lines if not line.startswith("refused: ")]
    assert len(refused) == 1
    assert refused[0].startswith("refused: StoreError: Cannot write to record.lw: the disk ")
    assert len(acknowledged) > 10
    report = checked(path, journal)
    assert report.unbroken
    with opened(path, journal) as store:
        assert [stored.id for stored in store.events()][1:] == acknowledged


def test_a_full_file_system_says_so_and_gives_the_next_step(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        record = reopened(store)
        pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
        store._connection.execute(f"PRAGMA max_page_count = {pages + 3}")
        before = record.events()
        with pytest.raises(StoreError, match=r"the disk is full.*Make room"):
            record.writer(at(3)).append(NOTED, Noted(text="x" * 40_000))
        assert record.events() == before
        assert not store.in_transaction
        store._connection.execute("PRAGMA max_page_count = 100000")
        note(record, "with room again")
        assert verify(store, known_kinds()).unbroken


# --- permissions ---


def test_a_file_opened_for_reading_only_refuses_to_be_written_and_stays_as_it_was(path: Path, journal: Journal) -> None:
    before = path.read_bytes()
    with opened(path, journal, read_only=True) as store:
        record = reopened(store)
        assert record.title == "Quarry week"
        assert verify(store, known_kinds()).unbroken
        assert len(lines_of(store)) == 3
        with pytest.raises(StoreError, match=r"the file is read-only"):
            note(record, "no")
    assert path.read_bytes() == before


def test_a_write_protected_file_can_be_read_and_not_written() -> None:
    # Its own folder: the tests' one is closed to other users, and an administrator may write everywhere.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "record.lw"
        with opened(path, Journal.TRUNCATE) as store:
            begin(store)
        path.chmod(0o444)
        folder.chmod(0o555)
        lines = output(start("append-once", path, Journal.TRUNCATE))
        folder.chmod(0o755)
    assert lines[0] == "read: 1"
    assert lines[1].startswith("refused: StoreError: Cannot write to record.lw: the file is read-only")


def test_a_file_in_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"Cannot open record\.lw.*Check that the folder exists"):
        SqliteStore(tmp_path / "no" / "record.lw")
    with pytest.raises(StoreError, match=r"Cannot open absent\.lw"):
        SqliteStore(tmp_path / "absent.lw", read_only=True)
    assert list(tmp_path.iterdir()) == []


# --- files that are something else ---


def test_a_file_that_is_no_record_is_refused_and_left_alone(tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ann, the compressor is mended.\n" * 200)
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE invoices (number)")
    for path, why in ((letter, "not a record"), (other, "not a record")):
        before = path.read_bytes()
        with pytest.raises(StoreError, match=why):
            SqliteStore(path)
        assert path.read_bytes() == before


def test_a_file_of_a_newer_version_is_refused(path: Path, journal: Journal) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 3")
    with pytest.raises(StoreError, match=r"store version 3.*newer program"):
        SqliteStore(path, journal=journal)


# --- damage ---


def test_no_damaged_page_goes_unseen(tmp_path: Path) -> None:
    path = tmp_path / "record.lw"
    with opened(path, Journal.DELETE) as store:
        record = begin(store)
        for number in range(60):
            note(record, f"note {number}")
        digest = record.put_text("Ann Example")
        store.put_blob(bytes(range(256)) * 20)
        page_size = store._connection.execute("PRAGMA page_size").fetchone()[0]
        assert record.words(digest) == "Ann Example"
    sound = path.read_bytes()
    assert checked(path, Journal.DELETE).unbroken
    pages = len(sound) // page_size
    assert pages > 25
    unseen = []
    for page in range(pages):
        damaged = bytearray(sound)
        middle = page * page_size + page_size // 2
        damaged[page * page_size : middle] = bytes(255 - byte for byte in damaged[page * page_size : middle])
        path.write_bytes(damaged)
        try:
            if checked(path, Journal.DELETE).unbroken:
                unseen.append(page)
        except StoreError:
            continue
    assert unseen == []


def test_reading_stops_at_an_event_whose_bytes_have_changed(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        record = reopened(store)
        note(record, "the loop held for five minutes")
        victim = note(record, "cell 2 reads low")
        note(record, "nothing more")
    _alter(path, "UPDATE events SET body = CAST(replace(body, 'low', 'top') AS BLOB) WHERE id = ?", victim)
    with opened(path, journal) as store:
        report = verify(store, known_kinds())
        with pytest.raises(StoreError, match=rf"Event {victim[:12]} at position 3 is damaged.*Verify the record"):
            reopened(store).events()
    assert not report.unbroken
    assert report.first_fault is not None
    assert (report.first_fault.event, report.first_fault.sequence) == (victim, 3)
    assert [fault.position for fault in report.faults] == [3, 4]


def test_a_removed_event_leaves_a_gap_that_is_seen_even_at_the_end(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        last = note(reopened(store), "cell 2 reads low")
    _alter(path, "DELETE FROM events WHERE id = ?", last)
    report = checked(path, journal)
    assert report.damage == ("1 events were removed from the file",)


def test_the_file_itself_refuses_to_change_or_delete_an_event(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        for statement in ("UPDATE events SET body = 'other'", "DELETE FROM events"):
            with pytest.raises(sqlite3.IntegrityError, match="an event is never"):
                connection.execute(statement)


def _alter(path: Path, statement: str, victim: str) -> None:
    """Behind the program's back, by somebody who knows how to drop the triggers."""
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DROP TRIGGER events_are_not_edited")
        connection.execute("DROP TRIGGER events_are_not_deleted")
        assert connection.execute(statement, (victim,)).rowcount == 1


# --- erasing ---


def test_an_erased_text_and_its_salt_are_gone_from_every_byte_on_the_disk(path: Path, journal: Journal) -> None:
    words = "Ann Example, cleared by a physician. "
    with opened(path, journal) as store:
        record = reopened(store)
        digest = record.put_text(words * 500)  # longer than a page, so that it also lies in pages that become free
        text = record.text(digest)
        assert text is not None
        assert text.salt is not None
        salt = text.salt
        assert any(words.encode() in file.read_bytes() for file in path.parent.iterdir())
        record.erase_text(digest, reason="she asked for it", now=at(5))
        for file in path.parent.iterdir():
            content = file.read_bytes()
            assert words.encode() not in content
            assert salt not in content
        assert record.words(digest) == "(erased)"
        assert verify(store, known_kinds()).unbroken


# --- copies ---


def test_a_file_copied_to_another_name_writes_as_a_new_device(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        original = store.device_id()
    copy = path.with_name("copy.lw")
    shutil.copy(path, copy)
    with opened(copy, journal) as store, opened(path, journal) as first:
        assert store.device_id() == ""
        event = reopened(store, "copy").writer(at(4)).append(NOTED, Noted(text="in the copy"))
        note(reopened(first), "in the original", second=4)
        opening = reopened(store).events_of_kind("record.chain-opened")[-1].payload
        assert getattr(opening, "continues", None) == original
        assert event.envelope.device not in ("", original)
        assert send(store, first).forks == ()


def test_a_file_that_was_moved_is_the_same_device(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        original = store.device_id()
    moved = path.with_name("moved.lw")
    path.rename(moved)
    with opened(moved, journal) as store:
        assert store.device_id() == original


def test_a_file_put_back_in_its_old_place_learns_from_its_own_later_events_that_it_is_a_copy(
    path: Path, journal: Journal
) -> None:
    kept = path.read_bytes()
    with opened(path, journal) as store:
        original = store.device_id()
        note(reopened(store), "written after the copy was made")
        other = join(store, "phone", MemoryStore())
    path.write_bytes(kept)
    with opened(path, journal) as store:
        assert store.device_id() == original  # nothing in the file could tell
        report = send(other.store, store)
        assert (report.new_device, report.taken, report.forks) == (True, 1, ())
        note(reopened(store, "laptop, restored"), "as a new device")
        assert store.device_id() not in ("", original)
        assert verify(store, known_kinds()).unbroken


# --- backup ---


def test_a_backup_made_while_others_write_is_whole(path: Path, journal: Journal) -> None:
    writer = start("append-pairs", path, journal, 100_000, "busy")
    assert writer.stdout is not None
    sizes = []
    copied: set[str] = set()
    with opened(path, journal) as store:
        for number in range(5):
            acknowledged = writer.stdout.readline().split()
            while copied.issuperset(acknowledged):  # the pipe still holds what was written before the last backup
                acknowledged = writer.stdout.readline().split()
            report = backup(store, path.with_name(f"backup-{number}.lw"))
            with opened(report.path, read_only=True) as copy:
                assert verify(copy, known_kinds()).unbroken
                copied = {stored.id for stored in copy.events()}
            assert copied.issuperset(acknowledged)
            assert len(copied) == report.events
            assert len(copied) % 2 == 1  # no half pair
            sizes.append(report.events)
    writer.kill()
    writer.communicate(timeout=60)
    assert sizes == sorted(set(sizes))
    assert not list(path.parent.glob("*.part"))


def test_a_restored_backup_holds_the_same_record_and_writes_as_a_new_device(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        record = reopened(store)
        digest = record.put_text("Ann Example")
        blob = record.put_blob(b"a trace")
        note(record, "before the backup")
        before, original = lines_of(store), store.device_id()
        backup(store, path.with_name("backup.lw"))
    report = restore(path.with_name("backup.lw"), path.with_name("restored.lw"))
    with opened(report.path, journal) as store:
        assert lines_of(store) == before
        assert (report.events, report.heads) == (store.count(), store.heads())
        restored = reopened(store, "new laptop")
        assert (restored.words(digest), restored.blob(blob)) == ("Ann Example", b"a trace")
        assert store.device_id() == ""
        unwatched = SqliteStore(path.with_name("backup.lw"), journal=journal, watch_place=False)
        assert unwatched.device_id() == ""  # the mark of a backup needs no names of files
        unwatched.close()
        note(restored, "after restoring")
        assert store.device_id() not in ("", original)
        assert verify(store, known_kinds()).unbroken


def test_neither_backup_nor_restoring_overwrites_a_file(path: Path, journal: Journal) -> None:
    target = path.with_name("there.lw")
    target.write_text("already")
    with opened(path, journal) as store, pytest.raises(InputError, match="does not exist yet"):
        backup(store, target)
    with pytest.raises(InputError, match="does not exist yet"):
        restore(path, target)
    assert target.read_text() == "already"


def test_a_damaged_record_is_not_backed_up_as_if_it_were_sound(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store:
        last = note(reopened(store), "cell 2 reads low")
    _alter(path, "DELETE FROM events WHERE id = ?", last)
    with opened(path, journal) as store, pytest.raises(StoreError, match="not sound: 1 events were removed"):
        backup(store, path.with_name("backup.lw"))
    assert sorted(file.name for file in path.parent.glob("backup*")) == []


def test_no_backup_is_made_in_the_middle_of_a_transaction(path: Path, journal: Journal) -> None:
    with opened(path, journal) as store, store.transaction():
        store.append(bodies("a1", 1), head=GENESIS)
        with pytest.raises(StoreError, match="in the middle of a transaction"):
            backup(store, path.with_name("backup.lw"))
