"""A server process of its own, that a test starts, kills and starts again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).parents[2]


class Running:
    """``python -m loopworthy`` with what follows it, as long as the test lets it live.

    Parameters
    ----------
    *arguments : str
        What stands behind the name of the program, without a port.
    said : Path
        Where everything is kept that it writes to standard error.
    environment : mapping, optional
        Variables beside those of the test.
    """

    def __init__(self, *arguments: str, said: Path, environment: Mapping[str, str] | None = None) -> None:
        self._arguments = arguments
        self._said = said
        self._environment = dict(environment or {})
        self._process: subprocess.Popen[str] | None = None
        self.address = ""

    def start(self) -> Running:
        """Start it on a port that is free; it answers at `address` when this returns.

        A second start asks for the same port again, as somebody would who has the page open on a phone.
        """
        port = self.address.rpartition(":")[2].rstrip("/") or "0"
        path = [str(ROOT / "src"), *filter(None, [os.environ.get("PYTHONPATH")])]
        with self._said.open("a") as said:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "loopworthy", "--json", *self._arguments, "--port", port],
                stdout=subprocess.PIPE,
                stderr=said,
                text=True,
                env={**os.environ, **self._environment, "PYTHONPATH": os.pathsep.join(path)},
            )
        self.address = str(json.loads(self._first_answer())["address"]).rstrip("/")
        return self

    @property
    def is_up(self) -> bool:
        """Whether it was started, and not ended since."""
        return self._process is not None

    def _first_answer(self) -> str:
        assert self._process is not None
        assert self._process.stdout is not None
        lines = []
        for line in self._process.stdout:
            lines.append(line)
            if line.rstrip() == "}":
                return "".join(lines)
        raise AssertionError(f"The server did not start: {self._said.read_text()}")

    def kill(self) -> None:
        """End it as a flat battery would: without a word, and without time to put anything away."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """End it as Ctrl-C would."""
        self._end(signal.SIGINT)

    def _end(self, by: signal.Signals) -> None:
        if self._process is None:
            return
        self._process.send_signal(by)
        self._process.wait(timeout=20)
        if self._process.stdout is not None:
            self._process.stdout.close()
        self._process = None

    def __enter__(self) -> Running:
        return self.start()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.kill()
