"""What was chosen for one run of the command line: record, zone, person, form of the answer; and how a record opens."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loopworthy.vocabulary.errors import InputError

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace
    from loopworthy.doors.words import Words
    from loopworthy.vocabulary.identity import ThingId
    from loopworthy.vocabulary.time import Moment

RECORD_FILE = "record.sqlite"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The choices that hold for a command.

    Attributes
    ----------
    record : Path or None
        The record's file; None for the person's own (`default_record`).
    zone : str
        Time zone of the site; empty for the computer's.
    person : str
        Who does it, by name; empty where nobody said.
    json : bool
        Whether to answer in JSON.
    owner_files : tuple of Path
        The owner's catalogue files.
    clock : callable or None
        From a zone's name to a clock; None for the computer's clock.
    """

    record: Path | None = None
    zone: str = ""
    person: str = ""
    json: bool = False
    owner_files: tuple[Path, ...] = ()
    clock: Callable[[str], Callable[[], Moment]] | None = None

    @property
    def path(self) -> Path:
        """The record's file."""
        chosen = self.record or os.environ.get("LOOPWORTHY_RECORD", "").strip()
        return Path(chosen) if chosen else default_record()

    @property
    def zone_name(self) -> str:
        """The zone in which times are read and told."""
        return self.zone or os.environ.get("LOOPWORTHY_ZONE", "").strip() or system_zone()

    def now(self) -> Callable[[], Moment]:
        """The clock of this run."""
        from loopworthy.vocabulary.time import zone

        zone(self.zone_name)  # refuses an unknown zone by name
        if self.clock is not None:
            return self.clock(self.zone_name)
        from loopworthy.bootstrap import system_clock

        return system_clock(self.zone_name)

    def owner_texts(self) -> dict[str, str]:
        """File name to text of the owner's files.

        Raises
        ------
        InputError
            If one cannot be read, or two have the same name.
        """
        texts: dict[str, str] = {}
        for path in self.owner_files:
            if path.name in texts:
                raise InputError("--owner-file", path.name, "a name that no other owner's file has")
            try:
                texts[path.name] = path.read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as error:
                raise InputError("--owner-file", str(path), f"a text file that can be read ({error})") from error
        return texts

    def open(self, *, short: bool = False) -> Workplace:
        """The record, open for work; `short` where only verdicts of now are asked for.

        Raises
        ------
        InputError
            If there is none at the path.
        """
        from loopworthy.bootstrap import device_keys, open_workplace

        return open_workplace(
            self.path, clock=self.now(), owner_files=self.owner_texts(), short=short, keys=device_keys()
        )

    def actor(self, workplace: Workplace) -> ThingId:
        """The person who does it.

        Raises
        ------
        InputError
            If nobody is named: no name, no evidence.
        """
        found = self.actor_or_nobody(workplace)
        if not found:
            raise InputError(
                "--as", "", "the name of the person who does this", next_step="Add --as NAME, or set LOOPWORTHY_PERSON"
            )
        return found

    def actor_or_nobody(self, workplace: Workplace) -> ThingId:
        """The person who does it; empty where nobody is named."""
        name = self.person or os.environ.get("LOOPWORTHY_PERSON", "").strip()
        return workplace.person(name) if name else ""

    def words(self, workplace: Workplace, now: Moment | None = None) -> Words:
        """What the workplace knows in words, in the display units of the person who asks."""
        from loopworthy.desk.people import display_units
        from loopworthy.doors.texts import Texts
        from loopworthy.doors.words import Words

        units = display_units(workplace, self.actor_or_nobody(workplace))
        return Words(workplace, Texts.load(), now=now or workplace.now(), display_units=units)

    def answer(self, data: Callable[[], Any], told: Callable[[], Iterable[str]], *, as_is: bool = False) -> None:
        """Write the answer: JSON or lines of text, only the one that is asked for.

        Parameters
        ----------
        as_is : bool
            Whether the lines are a script or a file, never to be broken for a terminal.
        """
        if self.json:
            from loopworthy.doors.cli.plain import to_json

            click.echo(to_json(data()))
        else:
            folded = _folded if sys.stdout.isatty() and not as_is else str
            for line in told():
                click.echo(folded(line))


def _folded(line: str) -> str:
    """A line broken for a terminal, its parts under each other; elsewhere lines stay whole for other programs."""
    import shutil
    import textwrap

    columns = shutil.get_terminal_size((100, 24)).columns
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.fill(line, max(40, columns), subsequent_indent=indent, break_long_words=False) or line


def default_record() -> Path:
    """The person's own record: in the data folder of the system."""
    if str(sys.platform) not in ("win32", "darwin"):
        data = os.environ.get("XDG_DATA_HOME", "")
        return (Path(data) if data else Path.home() / ".local" / "share") / "loopworthy" / RECORD_FILE
    return Path(click.get_app_dir("loopworthy", roaming=False)) / RECORD_FILE


def system_zone() -> str:
    """The computer's time zone by name, ``UTC`` where it does not tell one."""
    from loopworthy.vocabulary.time import zone

    candidates = [os.environ.get("TZ", "").lstrip(":")]
    for file, read in ((Path("/etc/localtime"), _link_target), (Path("/etc/timezone"), _first_line)):
        try:
            candidates.append(read(file))
        except OSError:
            continue
    for name in candidates:
        if name and not name.startswith("/"):
            try:
                return zone(name).key
            except InputError:
                continue
    return "UTC"


def _link_target(file: Path) -> str:
    _, found, name = str(file.resolve(strict=True)).partition("zoneinfo/")
    return name if found else ""


def _first_line(file: Path) -> str:
    return file.read_text(encoding="ascii", errors="ignore").strip()
