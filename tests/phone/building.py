"""The phone's folder, built once for all tests of a run, and other versions of it."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
from functools import cache
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).parents[2]
WORK = ROOT / "build" / "phone"
"""Kept between runs: the engine, the browser's wheel, what was compressed before."""


@cache
def phone_folder() -> Path:
    """A folder as ``make phone`` builds it, but for the last squeeze of the compressor."""
    into, mark = ROOT / "build" / "phone-tests", ROOT / "build" / "phone-tests.from"
    made_from = _inputs()
    if into.is_dir() and mark.is_file() and mark.read_text(encoding="utf-8") == made_from:
        return into  # the same inputs give the same bytes
    mark.unlink(missing_ok=True)
    built = subprocess.run(
        [sys.executable, str(ROOT / "phone" / "build.py"), "--into", str(into), "--work", str(WORK), "--quality", "4"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stdout + built.stderr
    mark.write_text(made_from, encoding="utf-8")
    return into


def _inputs() -> str:
    """A digest of all that the folder is built from: the program, the builder, the locks, this Python's packages."""
    digest = hashlib.sha256()
    places = (ROOT / "src", ROOT / "phone", ROOT / "requirements")
    files = [one for place in places for one in place.rglob("*") if one.is_file() and one.suffix != ".pyc"]
    for file in sorted(files):
        digest.update(f"{file.relative_to(ROOT)}\0".encode() + hashlib.sha256(file.read_bytes()).digest())
    for name, version in sorted({(one.name, one.version) for one in metadata.distributions()}):
        digest.update(f"{name} {version}\0".encode())
    return digest.hexdigest()


def version_of(folder: Path) -> str:
    """The version that a folder holds."""
    (found,) = (folder / "v").iterdir()
    return found.name


def another_version(folder: Path, into: Path, version: str, changes: dict[str, tuple[str, str]] | None = None) -> Path:
    """The same program under another version, with texts of some of its files replaced.

    Parameters
    ----------
    changes : mapping of file name to (before, after), optional
    """
    shutil.copytree(folder, into, ignore=shutil.ignore_patterns("*.br"))
    before = version_of(folder)
    (into / "v" / before).rename(into / "v" / version)
    for name in ("index.html", "sw.js"):
        file = into / name
        file.write_text(file.read_text(encoding="utf-8").replace(before, version), encoding="utf-8")
    for name, (text, other) in (changes or {}).items():
        file = into / "v" / version / name
        content = file.read_text(encoding="utf-8")
        assert text in content, f"{name} has no {text!r}"
        file.write_text(content.replace(text, other), encoding="utf-8")
    return into
