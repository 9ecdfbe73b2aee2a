"""What the browser's worker calls: a page as a tuple, everything else as JSON in and JSON out.

Nothing raises through to the browser; an error becomes its message and its next step, as on a page.
"""

from __future__ import annotations

import json
import traceback
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from anyio import to_thread

from loopworthy.doors.phone.outside import Outside
from loopworthy.doors.phone.pocket import Facts, Pocket
from loopworthy.vocabulary.errors import InputError, LoopworthyError

RECORD_FOLDER: Final = Path("/record")
SCRATCH_FOLDER: Final = Path("/tmp")
INCOMING: Final = SCRATCH_FOLDER / "incoming.sqlite"


async def _at_once(function: Callable[..., Any], *arguments: Any, **_: Any) -> Any:
    return function(*arguments)


class Entry:
    """One start of the program in a browser.

    Parameters
    ----------
    settings : str
        JSON with ``origin``, ``root`` and ``zone``, as `Pocket` takes them.
    outside : Outside, optional
        What the browser does for the program; without it nothing is signed and nothing exchanged.
    """

    def __init__(
        self,
        settings: str,
        outside: Outside | None = None,
        *,
        folder: Path = RECORD_FOLDER,
        scratch: Path = SCRATCH_FOLDER,
    ) -> None:
        # A browser starts no threads; whatever asks for one is answered in this one.
        setattr(to_thread, "run_sync", _at_once)  # noqa: B010  # its signature promises more than is needed here
        chosen = json.loads(settings)
        self._incoming = scratch / INCOMING.name
        self._pocket = Pocket(
            folder,
            scratch,
            origin=chosen["origin"],
            root=chosen["root"],
            zone_name=chosen.get("zone", ""),
            outside=outside,
        )

    async def page(
        self, method: str, target: str, headers: Iterable[Iterable[str]], body: bytes, own: bool
    ) -> tuple[int, list[list[str]], bytes]:
        """Status, headers and body of one page."""
        pairs = [(name, value) for name, value in headers]
        answered = await self._pocket.answer(method, target, pairs, bytes(body), own=own)
        return answered.status, [list(pair) for pair in answered.headers], answered.body

    async def join(self, values: str) -> str:
        """Join a hub, ``{"address", "code", "device"}``, and take its record over; answers like `ask`."""
        given = json.loads(values)
        try:
            facts = await self._pocket.join(given["address"], given["code"], given["device"])
            return json.dumps({"answer": asdict(facts)})
        except LoopworthyError as error:
            return json.dumps({"error": {"message": error.message, "next_step": error.next_step}})
        except Exception as error:
            traceback.print_exc()
            return json.dumps({"error": {"message": f"{type(error).__name__}: {error}", "next_step": ""}})

    def ask(self, what: str, values: str = "{}") -> str:
        """Do one of `open`, `begin`, `rehearse`, `facts`, `copy`, `raw`, `examine`, `take_in`, `go_back`.

        Returns
        -------
        str
            JSON: ``{"answer": ...}``, or ``{"error": {"message", "next_step"}}``.
        """
        try:
            return json.dumps({"answer": self._do(what, json.loads(values))})
        except LoopworthyError as error:
            return json.dumps({"error": {"message": error.message, "next_step": error.next_step}})
        except Exception as error:
            traceback.print_exc()
            return json.dumps({"error": {"message": f"{type(error).__name__}: {error}", "next_step": ""}})

    def _do(self, what: str, values: dict[str, str]) -> object:
        pocket = self._pocket
        doors: dict[str, Callable[[], Facts | Path | None]] = {
            "open": pocket.open,
            "begin": lambda: pocket.begin(values["title"], values["device"]),
            "rehearse": pocket.rehearse,
            "facts": pocket.facts,
            "copy": pocket.copy,
            "raw": pocket.bytes_as_they_are,
            "examine": lambda: pocket.examine(self._incoming),
            "take_in": lambda: pocket.take_in(self._incoming),
            "go_back": pocket.go_back,
        }
        if what not in doors:
            raise InputError("what", what, f"one of {', '.join(doors)}")
        found = doors[what]()
        return asdict(found) if isinstance(found, Facts) else str(found) if found is not None else None
