"""Style sheets, scripts and drawings: read once, sent from memory, kept by the browser under an address that changes
with their content.

Starlette's own static files are read in a thread of their own, which a browser has not.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

_TYPES: Final = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
    "txt": "text/plain; charset=utf-8",
    "webmanifest": "application/manifest+json",
    "woff2": "font/woff2",
}
KEPT: Final = "public, max-age=31536000, immutable"
ASKED_AGAIN: Final = "no-cache"


@dataclass(frozen=True, slots=True, kw_only=True)
class StaticFile:
    """A file of the program that is sent as it is; `version` changes with its content."""

    body: bytes
    media_type: str
    version: str


@cache
def static_files() -> dict[str, StaticFile]:
    """Every file below static/ by its path; scripts' imports of each other name no version, so theirs is of all."""
    found: dict[str, StaticFile] = {}
    _collect(resources.files("loopworthy.doors.web").joinpath("static"), "", found)
    return found


def _collect(folder: Traversable, path: str, found: dict[str, StaticFile]) -> None:
    for one in sorted(folder.iterdir(), key=lambda entry: entry.name):
        name = f"{path}{one.name}"
        if one.is_dir():
            _collect(one, f"{name}/", found)
        elif one.name.rpartition(".")[2] in _TYPES:
            body = one.read_bytes()
            version = hashlib.sha256(body).hexdigest()[:12]
            found[name] = StaticFile(body=body, media_type=_TYPES[one.name.rpartition(".")[2]], version=version)


def address_of(path: str, root: str = "") -> str:
    """The address of a static file with its version.

    Raises
    ------
    KeyError
        If there is no such file: a page must not name one.
    """
    return f"{root}/static/{path}?v={static_files()[path].version}"


async def send(request: Request) -> Response:
    """Send one static file. Without its version it must be asked for again each time."""
    found = static_files().get(request.path_params["path"])
    if found is None:
        return PlainTextResponse("Not here", status_code=404)
    tag = f'"{found.version}"'
    kept = KEPT if request.query_params.get("v") == found.version else ASKED_AGAIN
    headers = {"Cache-Control": kept, "ETag": tag}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(found.body, media_type=found.media_type, headers=headers)
