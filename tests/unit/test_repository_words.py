"""No committed file may know on which machine it was written.

A registry's host or a folder of one computer in a file makes a checkout that works in one place only. The patterns are
put together from pieces, so that this file does not find itself.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def _words(*pieces: tuple[str, ...]) -> str:
    return "|".join(re.escape("".join(word)) for word in pieces)


REGISTRY_HOST = re.compile(
    _words(
        ("pypi", ".org"),
        ("files.python", "hosted.org"),
        ("registry.", "npmjs"),
        ("deb.", "debian.org"),
        ("security.", "debian.org"),
        ("cdn.", "jsdelivr"),
        ("un", "pkg.com"),
        ("cdnjs.", "cloudflare"),
        ("fonts.", "googleapis"),
        ("proxy.", "golang.org"),
    ),
    re.IGNORECASE,
)
# A path of one machine starts a word; the same letters inside a web address or a relative path do not count.
_FOLDER = _words(("ro", "ot"), ("wo", "rk"), ("ho", "me"), ("Us", "ers"), ("tm", "p/lw"), ("op", "t/pypi"))
MACHINE_PATH = re.compile(r"(?:(?<![\w/.~%-])|(?<=file://))/(?:" + _FOLDER + r")/\w")
INDEX_OPTION = re.compile(r"--(?:extra-)?index-url|--find-links|--trusted-host|^-[if] ", re.MULTILINE)


def findings(text: str) -> list[str]:
    """What in this text ties it to one machine, as ``line: word``."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        for pattern in (REGISTRY_HOST, MACHINE_PATH):
            found += [f"{number}: {match[0]}" for match in pattern.finditer(line)]
    return found


def repository_texts() -> Iterator[tuple[Path, str]]:
    """Every text file that is tracked or about to be, with what is in it."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    for name in listed.stdout.decode().split("\0"):
        path = ROOT / name
        if not name or not path.is_file():
            continue
        try:
            yield path.relative_to(ROOT), path.read_bytes().decode("utf-8")
        except UnicodeDecodeError:
            continue  # a picture or a typeface


def test_no_file_names_a_registry_or_a_folder_of_one_machine() -> None:
    texts = dict(repository_texts())
    assert Path("pyproject.toml") in texts, "git lists no files; run the tests in a checkout"
    found = [f"{path}:{finding}" for path, text in texts.items() for finding in findings(text)]
    assert found == []


def test_the_locks_name_no_index_and_give_every_package_a_hash() -> None:
    locks = sorted((ROOT / "requirements").glob("*.lock"))
    assert [lock.name for lock in locks] == ["dev.lock", "run.lock"]
    for lock in locks:
        text = lock.read_text(encoding="utf-8")
        assert INDEX_OPTION.findall(text) == [], lock.name
        assert re.findall(r"://|@ ", text) == [], lock.name
        pins = re.split(r"^(?=[a-z0-9])", text, flags=re.MULTILINE)[1:]
        assert len(pins) > 10
        without_hash = [pin.split()[0] for pin in pins if "--hash=sha256:" not in pin]
        assert without_hash == [], lock.name


def test_what_runs_is_the_same_version_in_both_locks() -> None:
    def versions(name: str) -> dict[str, str]:
        text = (ROOT / "requirements" / name).read_text(encoding="utf-8")
        return dict(re.findall(r"^([a-z0-9-]+)==(\S+)", text, flags=re.MULTILINE))

    run, dev = versions("run.lock"), versions("dev.lock")
    assert {name: dev.get(name) for name in run} == run


@pytest.mark.parametrize(
    "line",
    [
        "fetch from https://" + "pypi" + ".org/simple",
        "<script src='https://cdn." + "jsdelivr.net/x.js'>",
        "URL = '" + "/ro" + "ot/notes.txt'",
        "see file://" + "/wo" + "rk/main/x",
        "(/ho" + "me/anna/record.db)",
    ],
)
def test_a_line_that_ties_a_file_to_one_machine_is_found(line: str) -> None:
    assert [finding.split(":")[0] for finding in findings("a first line\n" + line)] == ["2"]


@pytest.mark.parametrize(
    "line",
    [
        "https://example.org/work/rebreather.html",
        "docs/work/sheet.md and ../work/sheet.md",
        "the /home page of a unit",
        "J/mol, m/s, work/heat",
    ],
)
def test_a_web_address_or_a_relative_path_is_no_finding(line: str) -> None:
    assert findings(line) == []
