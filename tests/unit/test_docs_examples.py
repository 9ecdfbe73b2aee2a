"""What a page shows runs as shown: commands with their output and exit code, files that they read, JSON that parses.

A page with commands says in a comment what its record holds at the start, as ``<!-- examples start with: a unit -->``.
A fence ``toml own.toml`` is a file of that name. ``…`` stands for any lines, within a line for any letters. Identities
and fingerprints in a command stand for those that were written last. `how-to/command-line.md` has a test of its own.
"""

from __future__ import annotations

import json
import re
import shlex
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from loopworthy.bootstrap import catalogue_for
from loopworthy.doors.texts import Texts
from loopworthy.judgement.catalogue.model import Origin
from tests.unit.doors.cli.conftest import Terminal, launch, morning

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
TESTED_ELSEWHERE = {DOCS / "how-to" / "command-line.md"}

FENCE = re.compile(r"^```(?P<info>[^\n`]*)\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)
START = re.compile(r"<!-- examples start with: ([a-z ]+) -->")
CODE = re.compile(r" +# ends with (\d)$")

IDENTITY = "0123456789ab"
FINGERPRINT = "0123 4567 89ab cdef"
_IDENTITY = re.compile(r"\b[0-9a-f]{12}\b")
_FINGERPRINT = re.compile(r"\b[0-9a-f]{4}(?: [0-9a-f]{4}){3}\b")


def _begun(terminal: Terminal) -> None:
    terminal.ok("record", "begin", "--title", "Season", "--device-name", "cabin laptop")


def _a_unit(terminal: Terminal) -> None:
    launch(terminal.record, terminal.clock)


def _a_ready_unit(terminal: Terminal) -> None:
    morning(launch(terminal.record, terminal.clock), terminal.clock)


STARTS: dict[str, Callable[[Terminal], None]] = {
    "nothing": lambda terminal: None,
    "an empty record": _begun,
    "a unit": _a_unit,
    "a ready unit": _a_ready_unit,
}


@dataclass
class Example:
    """A command as a page shows it, with the lines that it is said to write."""

    command: str
    code: int
    shown: list[str]


def examples(body: str) -> Iterator[Example]:
    """The commands of one block."""
    one: Example | None = None
    for line in body.replace("\\\n", " ").splitlines():
        if line.startswith("$ "):
            if one is not None:
                yield one
            code = CODE.search(line)
            one = Example(CODE.sub("", line[2:]), int(code[1]) if code else 0, [])
        else:
            assert one is not None, f"output before any command: {line}"
            one.shown.append(line)
    if one is not None:
        yield one


def pages_with(info: str) -> list[Path]:
    """The pages that have a block of that kind."""
    pages = [ROOT / "README.md", *sorted(DOCS.rglob("*.md"))]
    return [page for page in pages if any(words(match)[:1] == [info] for match in FENCE.finditer(text_of(page)))]


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def words(match: re.Match[str]) -> list[str]:
    return match["info"].split()


def fits(shown: list[str], written: str) -> bool:
    """Whether the output is as shown; a block that shows nothing leaves it open."""
    parts = [r"(?:.*\n)*?" if line.strip() == "…" else _line(line) for line in shown]
    plain = "".join(f"{_levelled(line)}\n" for line in written.splitlines())
    return not shown or re.fullmatch("".join(parts), plain) is not None


def _line(shown: str) -> str:
    return re.escape(_levelled(shown)).replace("…", ".*") + r"\n"


def _levelled(line: str) -> str:
    return _FINGERPRINT.sub(FINGERPRINT, _IDENTITY.sub(IDENTITY, line.strip()))


class Reader:
    """Follows a page from top to bottom, in a folder with nothing but its record."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal = terminal
        self.identity = IDENTITY
        self.fingerprint = FINGERPRINT

    def follow(self, page: Path) -> int:
        """Run everything that the page shows; the number of commands."""
        ran = 0
        for match in FENCE.finditer(text_of(page)):
            kind, *names = words(match) or [""]
            if kind in ("toml", "json", "text") and names:
                Path(names[0]).write_text(match["body"], encoding="utf-8")
            elif kind == "console":
                for one in examples(match["body"]):
                    self._run(one)
                    ran += 1
        return ran

    def _run(self, one: Example) -> None:
        typed = one.command.replace(IDENTITY, self.identity).replace(FINGERPRINT, self.fingerprint)
        command, _, file = typed.partition(" > ")
        program, *arguments = shlex.split(command)
        assert program == "loopworthy", command
        result = self.terminal.run(*arguments)
        assert result.exit_code == one.code, f"{command}\nended with {result.exit_code}\n{result.output}"
        assert fits(one.shown, result.output), f"{command}\n{result.output}"
        if file:
            Path(file).write_text(result.stdout, encoding="utf-8")
        self.identity = (_IDENTITY.findall(result.output) or [self.identity])[-1]
        self.fingerprint = (_FINGERPRINT.findall(result.output) or [self.fingerprint])[-1]
        self.terminal.clock.advance(0.5)


@pytest.mark.parametrize(
    "page",
    [page for page in pages_with("console") if page not in TESTED_ELSEWHERE],
    ids=lambda page: str(page.relative_to(ROOT)),
)
def test_the_commands_of_a_page_run_and_write_what_is_shown(
    page: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LOOPWORTHY_PERSON", raising=False)
    start = START.search(text_of(page))
    assert start is not None, "the page does not say what its examples start with"
    terminal = Terminal(Path("season.sqlite"))
    STARTS[start[1]](terminal)
    assert Reader(terminal).follow(page) > 0


def test_every_block_of_json_in_a_page_can_be_read() -> None:
    pages = pages_with("json")
    assert len(pages) > 1
    for page in pages:
        for match in FENCE.finditer(text_of(page)):
            if words(match)[:1] == ["json"]:
                assert isinstance(json.loads(match["body"]), (dict, list)), page


def test_every_page_of_the_documentation_is_in_its_index() -> None:
    index = text_of(DOCS / "README.md")
    pages = {str(page.relative_to(DOCS)) for page in DOCS.rglob("*.md")} - {"README.md"}
    assert {page for page in pages if f"]({page})" not in index} == set()


def test_what_a_check_does_not_prove_is_said_in_the_words_of_catalogue_and_pages() -> None:
    page = text_of(DOCS / "explanation" / "cautions.md")
    catalogue, texts = catalogue_for(), Texts.load()
    rows = re.findall(r"^\| `([^`]+)` (.+?) \| (.+?) \|$", page, re.MULTILINE)
    assert len(rows) > 20
    known = [(one, catalogue.step(one).title, catalogue.step(one).not_proven) for one, _, _ in rows]
    assert rows == known
    cautions = [line[2:] for line in page.partition("## Check by check")[0].splitlines() if line.startswith("- ")]
    said = {texts.say(key) for key in texts.keys() if key.startswith("parts.caution_")}
    assert cautions
    assert set(cautions) <= said
    origins = Counter(limit.origin for limit in catalogue.limits.values())
    numbers = re.search(
        r"(\d+) of the catalogue's (\d+) limits are .+, (\d+) prop.+, (\d+) from mem.+\s+(\d+) from", page
    )
    assert numbers is not None
    assert [int(one) for one in numbers.groups()] == [
        origins[Origin.COMMON_PRACTICE],
        len(catalogue.limits),
        origins[Origin.PROPOSAL],
        origins[Origin.MEMORY],
        origins[Origin.SOURCE],
    ]


@pytest.mark.parametrize(
    ("shown", "written", "fit"),
    [
        (["ready: Tern, until …"], "ready: Tern, until 08:52\n", True),
        (["ready: Tern, until …"], "unproven: Tern\n", False),
        (["one", "…", "four"], "one\ntwo\nthree\nfour\n", True),
        (["one"], "one\ntwo\n", False),
        (["Recorded (0123456789ab)."], "Recorded (fedcba987654).\n", True),
        ([], "anything\n", True),
    ],
)
def test_only_output_that_is_as_shown_fits(shown: list[str], written: str, fit: bool) -> None:
    assert fits(shown, written) is fit
