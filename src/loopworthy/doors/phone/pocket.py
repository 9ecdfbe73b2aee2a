"""The record on a phone: opened, begun, copied out as one file, taken in again.

It lies in one of two places, and a small file says in which. A record that is brought in from a copy is written to the
other place, checked there, and only then chosen; the one before stays until the next time.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from loopworthy.bootstrap import open_workplace, registry, system_clock
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.hubs import address_in
from loopworthy.doors.exchange.joining import join_empty
from loopworthy.doors.phone.bridge import Answered, Bridge
from loopworthy.doors.phone.outside import BrowserKeys, BrowserVerifier, Outside, means_of
from loopworthy.doors.web.app import create_app
from loopworthy.record import level
from loopworthy.record.backup import backup, restore
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import Store
from loopworthy.record.verify import verify
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import DamagedError, InputError, RecordError, StoreError
from loopworthy.vocabulary.identity import RecordId, short
from loopworthy.vocabulary.time import Moment, zone

PLACES: Final = ("a.sqlite", "b.sqlite")
CHOSEN: Final = "chosen"
"""Holds the number of the place in use as one digit: a single byte is written whole or not at all."""

_COOKIES: Final = "phone-cookies"
_UNIVERSAL: Final = "UTC"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the shell shows of the record.

    Attributes
    ----------
    title, record : str
        Its name, and the first digits of its identity.
    events : int
    invented : bool
    zone : str
        In which all times are told.
    earlier : bool
        Whether a record lies in the other place, which was in use before.
    """

    title: str
    record: str
    events: int
    invented: bool
    zone: str
    earlier: bool


class Pocket:
    """A folder with room for two records, one of them in use.

    Parameters
    ----------
    folder : Path
        On a file system that flushes, see shell/opfs.js.
    scratch : Path
        Where copies are made; may be in memory.
    origin, root : str
        As `Bridge` takes them.
    zone_name : str
        The phone's time zone; one that is unknown here counts as UTC, and pages say in which zone they tell times.
    outside : Outside, optional
        What the browser does for the program; without it nothing is signed and nothing exchanged.
    """

    def __init__(
        self,
        folder: Path,
        scratch: Path,
        *,
        origin: str,
        root: str,
        zone_name: str,
        outside: Outside | None = None,
    ) -> None:
        self._folder = folder
        self._scratch = scratch
        self._origin = origin
        self._root = root
        self._zone = _known_zone(zone_name)
        self._outside = outside
        self._keys = BrowserKeys(outside, self._record_id) if outside is not None else None
        self._workplace: Workplace | None = None
        self._bridge: Bridge | None = None
        self._cookies: dict[str, str] = {}

    # --- opening ----------------------------------------------------------------------------------------------------

    def open(self) -> Facts | None:
        """Open the record in use; None where there is none yet.

        Raises
        ------
        StoreError
            If it cannot be opened, is damaged, or a newer program has written to it.
        """
        path = self._place()
        if not _holds_record(path):
            return None
        return self._take(
            open_workplace(path, clock=self._clock(), journal=Journal.TRUNCATE, watch_place=False, keys=self._keys)
        )

    def begin(self, title: str, device_name: str) -> Facts:
        """Begin a record.

        Raises
        ------
        InputError
            If it has no title.
        RecordError
            If there is one already.
        """
        path = self._place()
        if not title.strip():
            raise InputError("title", title, "a name for the record")
        if _holds_record(path):
            raise RecordError("There is a record on this phone already", next_step="Open it")
        if _is_half_taken_over(path):
            raise RecordError("A record is being taken over from a hub here", next_step="Go on with joining that hub")
        return self._take(
            open_workplace(
                path,
                clock=self._clock(),
                title=title.strip(),
                device_name=device_name.strip(),
                create=True,
                journal=Journal.TRUNCATE,
                watch_place=False,
                keys=self._keys,
            )
        )

    async def join(self, address: str, code: str, device_name: str) -> Facts:
        """Join a hub and take its record over.

        Parameters
        ----------
        address : str
            As it was typed, or what the hub's code says.
        code : str
            Empty where the address holds it, or to go on with a take-over that was cut.

        Raises
        ------
        RecordError
            If there is a record already.
        InputError
            If it is no address, or there is no code.
        OutOfReachError, NotGrantedError
            If the hub is not there, or does not admit this phone.
        """
        path = self._place()
        if _holds_record(path):
            raise RecordError(
                "There is a record on this phone already", next_step="Join the hub from its page Exchange"
            )
        if self._outside is None:
            raise RecordError("This browser cannot sign what it sends", next_step="Use a browser of the last two years")
        place, scanned = address_in(address)
        name = wording.title("device_name", device_name)
        store = SqliteStore(path, journal=Journal.TRUNCATE, watch_place=False)
        try:
            await join_empty(
                store,
                registry(),
                address=place,
                code=code or scanned,
                device_name=name,
                means=means_of(self._outside, self._clock()),
            )
        finally:
            store.close()
        facts = self._take(
            open_workplace(
                path,
                clock=self._clock(),
                device_name=name,
                journal=Journal.TRUNCATE,
                watch_place=False,
                keys=self._keys,
            )
        )
        record = self._open_workplace().record
        record.writer(self._clock()()).append_all(())  # opens this phone's chain, under its name
        return facts

    def _record_id(self) -> RecordId:
        return self._workplace.record.id if self._workplace is not None else ""

    def rehearse(self) -> Facts:
        """Open the invented club in memory; what is done to it is gone with the page."""
        from loopworthy.doors.demo import memory_demo

        return self._take(memory_demo())

    def facts(self) -> Facts:
        """What the shell shows of the record that is open."""
        record = self._open_workplace().record
        return Facts(
            title=record.title,
            record=short(record.id),
            events=record.store.count(),
            invented=record.invented,
            zone=self._open_workplace().now().zone,
            earlier=_has_content(self._other()),
        )

    def _take(self, workplace: Workplace) -> Facts:
        self._workplace = workplace
        self._cookies = _kept_cookies(workplace.record.store)
        outside = self._outside
        app = create_app(
            workplace,
            pocket=True,
            verifier=BrowserVerifier(outside) if outside is not None else None,
            means=means_of(outside, workplace.clock) if outside is not None else None,
        )
        self._bridge = Bridge(app, origin=self._origin, root=self._root, cookies=self._cookies)
        return self.facts()

    def _open_workplace(self) -> Workplace:
        if self._workplace is None:
            raise RecordError("No record is open", next_step="Begin one, or bring one in from a copy")
        return self._workplace

    def _clock(self) -> Callable[[], Moment]:
        return system_clock(self._zone)

    # --- pages ------------------------------------------------------------------------------------------------------

    async def answer(
        self, method: str, target: str, headers: Iterable[tuple[str, str]], body: bytes, *, own: bool
    ) -> Answered:
        """One page of the web application."""
        if self._bridge is None:
            raise RecordError("No record is open", next_step="Begin one, or bring one in from a copy")
        before = dict(self._cookies)
        answered = await self._bridge.answer(method, target, headers, body, own=own)
        if self._cookies != before:
            self._open_workplace().record.store.put_setting(_COOKIES, json.dumps(self._cookies))
        return answered

    # --- copies -----------------------------------------------------------------------------------------------------

    def copy(self) -> Path:
        """A whole, checked copy of the record as one file; it would write as a device of its own.

        Raises
        ------
        StoreError
            If the record is damaged, or there is no room.
        """
        store = self._open_workplace().record.store
        target = self._scratch / "copy.sqlite"
        target.unlink(missing_ok=True)
        if isinstance(store, SqliteStore):
            backup(store, target)
            return target
        raise StoreError("An invented record is kept in memory only", next_step="Begin a record of your own")

    def bytes_as_they_are(self) -> Path:
        """The file in use, unread: the last resort where it cannot be opened."""
        return self._place()

    def examine(self, incoming: Path) -> Facts:
        """Check a copy from outside, every byte, before anything is replaced by it.

        Raises
        ------
        StoreError
            If it is no record, or a newer program has written to it.
        DamagedError
            If something in it does not fit.
        """
        store = SqliteStore(incoming, read_only=True, watch_place=False)
        try:
            marked = level.level_of(store)
            if marked > level.LEVEL:
                level.take_up(store)
            report = verify(store, registry())
            wrong = [*report.damage, *(str(fault) for fault in report.faults)]
            if wrong:
                raise DamagedError(f"This copy is damaged: {wrong[0]}", next_step="Take another copy")
        finally:
            store.close()
        opened = open_workplace(incoming, clock=self._clock(), journal=Journal.DELETE, watch_place=False)
        try:
            return Facts(
                title=opened.record.title,
                record=short(opened.record.id),
                events=opened.record.store.count(),
                invented=opened.record.invented,
                zone=self._zone,
                earlier=False,
            )
        finally:
            opened.record.store.close()

    def take_in(self, incoming: Path) -> Facts:
        """Make a checked copy the record in use. The one before stays in the other place.

        Raises
        ------
        StoreError
            If the copy is not sound, or there is no room; the record in use stays as it was.
        """
        self.examine(incoming)
        marked = self._scratch / "taken-in.sqlite"
        marked.unlink(missing_ok=True)
        restore(incoming, marked)  # marked as a copy, so that it opens a chain of its own
        self._forget_who_read(marked)
        where = self._other()
        _write(where, marked.read_bytes())
        marked.unlink()
        SqliteStore(where, journal=Journal.TRUNCATE, watch_place=False).close()  # it opens there as well
        self._choose(where)
        return self._reopen()

    def go_back(self) -> Facts:
        """Make the record in the other place the one in use again.

        Raises
        ------
        RecordError
            If there is none.
        """
        where = self._other()
        if not _has_content(where):
            raise RecordError("There is no earlier record on this phone", next_step="Bring one in from a copy")
        SqliteStore(where, journal=Journal.TRUNCATE, watch_place=False).close()
        self._choose(where)
        return self._reopen()

    def _reopen(self) -> Facts:
        if self._workplace is not None:
            self._workplace.record.store.close()
        self._workplace, self._bridge = None, None
        facts = self.open()
        if facts is None:
            raise StoreError("The record that was brought in is not there", next_step="Start the program again")
        return facts

    @staticmethod
    def _forget_who_read(path: Path) -> None:
        store = SqliteStore(path, journal=Journal.DELETE, watch_place=False)
        try:
            store.put_setting(_COOKIES, "{}")
        finally:
            store.close()

    # --- places -----------------------------------------------------------------------------------------------------

    def _number(self) -> int:
        try:
            return 1 if (self._folder / CHOSEN).read_bytes()[:1] == b"1" else 0
        except FileNotFoundError:
            return 0

    def _place(self) -> Path:
        return self._folder / PLACES[self._number()]

    def _other(self) -> Path:
        return self._folder / PLACES[1 - self._number()]

    def _choose(self, place: Path) -> None:
        _write(self._folder / CHOSEN, b"%d" % PLACES.index(place.name))


def _write(path: Path, content: bytes) -> None:
    """Write a file and flush it: in place, for the browser's store knows no renaming."""
    try:
        with path.open("r+b" if path.exists() else "wb") as file:
            file.write(content)
            file.truncate()
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise StoreError(
            f"Cannot write {path.name}: {error.strerror or error}", next_step="Make room, then do it again"
        ) from error


def _has_content(path: Path) -> bool:
    return path.exists() and path.stat().st_size > 0


def _holds_record(path: Path) -> bool:
    """Whether somebody began a record there, or took one over to the end of a chain; a phone that died while the file
    was made leaves one without."""
    if not _has_content(path):
        return False
    store = SqliteStore(path, journal=Journal.TRUNCATE, watch_place=False)
    try:
        return bool(store.record_id()) and store.count() > 0
    finally:
        store.close()


def _is_half_taken_over(path: Path) -> bool:
    """Whether joining a hub was cut before any of its record could have its place."""
    if not _has_content(path):
        return False
    store = SqliteStore(path, journal=Journal.TRUNCATE, watch_place=False)
    try:
        return bool(store.record_id()) and store.count() == 0
    finally:
        store.close()


def _kept_cookies(store: Store) -> dict[str, str]:
    text = store.setting(_COOKIES)
    kept = json.loads(text) if text else {}
    return {str(name): str(value) for name, value in kept.items()} if isinstance(kept, dict) else {}


def _known_zone(name: str) -> str:
    try:
        zone(name)
    except InputError:
        return _UNIVERSAL
    return name
