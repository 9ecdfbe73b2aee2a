"""Tables of the TOML files that ship with the program, kept parsed from one run to the next.

Reading them anew took a fifth of the time of a short command. What is kept is used only if it says, by hashes, that it
comes from exactly this text and is itself whole; otherwise, and where nothing can be kept, the text is parsed.
"""

from __future__ import annotations

import hashlib
import marshal
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

FORM: Final = b"loopworthy tables 3 " + (sys.implementation.cache_tag or "").encode()
"""Changes with what is kept and how, and with the interpreter, whose own form it is kept in: nothing reads faster."""


def tables(name: str, text: str, *, folder: Path | None = None) -> dict[str, Any]:
    """The tables of a TOML text, as `tomllib.loads` gives them.

    Parameters
    ----------
    name : str
        Of the file; what is kept of another text of that name is replaced.
    folder : Path, optional
        Where to keep it; the person's cache folder by default.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is no TOML.
    """
    place = (folder or cache_folder()) / f"{name}.tables"
    stamp = _stamp(text)
    with suppress(OSError, ValueError, EOFError, TypeError):
        return _kept(place, stamp)
    import tomllib

    found = tomllib.loads(text)
    with suppress(OSError, TypeError, ValueError):
        _keep(place, stamp, found)
    return found


def cache_folder() -> Path:
    """Where a program may keep what it can make again."""
    home = os.environ.get("XDG_CACHE_HOME", "").strip() or os.environ.get("LOCALAPPDATA", "").strip()
    if home:
        return Path(home) / "loopworthy"
    try:
        base = Path.home()
    except RuntimeError:  # nobody's home: nothing is kept
        return Path(os.devnull)
    return base / ("Library/Caches" if sys.platform == "darwin" else ".cache") / "loopworthy"


def _stamp(text: str) -> bytes:
    return FORM + b" " + hashlib.sha256(text.encode()).hexdigest().encode()


def _kept(place: Path, stamp: bytes) -> dict[str, Any]:
    """What is kept there; raises where it is of another text, damaged, or was put there by somebody else."""
    with place.open("rb") as file:
        if hasattr(os, "getuid") and os.fstat(file.fileno()).st_uid != os.getuid():
            raise ValueError("not ours")
        head, digest, body = file.readline(), file.readline(), file.read()
    if head != stamp + b"\n" or digest.strip() != hashlib.sha256(head + body).hexdigest().encode():
        raise ValueError("of another text, or damaged")
    found: dict[str, Any] = marshal.loads(body)  # whole, as its hash says; damaged bytes never come here
    return found


def _keep(place: Path, stamp: bytes, found: dict[str, Any]) -> None:
    """Keep tables whole or not at all; what the form does not hold (a date, say) is not kept."""
    body = marshal.dumps(found)
    if marshal.loads(body) != found:
        return
    head = stamp + b"\n"
    digest = hashlib.sha256(head + body).hexdigest().encode() + b"\n"
    place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = place.with_name(f"{place.name}.{os.getpid()}")  # whole before it takes the place of what is there
    try:
        with os.fdopen(os.open(made, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(head + digest + body)
        os.replace(made, place)
    finally:
        with suppress(OSError):
            os.unlink(made)
