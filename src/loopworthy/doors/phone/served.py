"""The built folder of the phone's door, handed out by ``loopworthy serve`` at an address of its own.

Only there may a page compile WebAssembly, which the engine is made of; every other page of the server keeps the
stricter policy.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

ADDRESS: Final = "/phone"
PAGES: Final = "open"
"""Below it lie the pages of the web application, answered by the phone itself."""
FOLDER_VARIABLE: Final = "LOOPWORTHY_PHONE_FOLDER"

CONTENT_SECURITY_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self' 'wasm-unsafe-eval'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self' https:",  # a phone may join a hub at another address
        "manifest-src 'self'",
        "worker-src 'self'",
        "frame-src 'self'",
        "form-action 'self'",
        "base-uri 'self'",
        "frame-ancestors 'self'",
    )
)

_TYPES: Final = {
    ".css": "text/css; charset=utf-8",
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".mjs": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".txt": "text/plain; charset=utf-8",
    ".wasm": "application/wasm",
    ".webmanifest": "application/manifest+json",
    ".zip": "application/zip",
}
_KEPT: Final = "public, max-age=31536000, immutable"
_ASKED_AGAIN: Final = "no-cache"


def built_folder() -> Path:
    """Where ``make phone`` puts the folder: dist/phone of the checkout, or what LOOPWORTHY_PHONE_FOLDER names."""
    named = os.environ.get(FOLDER_VARIABLE, "").strip()
    return Path(named) if named else Path(__file__).parents[4] / "dist" / "phone"


def routes(not_built: Callable[[Request], Response], not_here: Callable[[Request], Response]) -> list[Route]:
    """The addresses of the phone's door.

    Parameters
    ----------
    not_built, not_here : callable
        Draw the page that says how to build the folder, and the one for an address that leads nowhere.
    """

    async def send(request: Request) -> Response:
        folder = built_folder()
        if not (folder / "index.html").is_file():
            return not_built(request)
        path = str(request.path_params.get("path", ""))
        if path == PAGES or path.startswith(f"{PAGES}/"):
            return _to_shell(request, path)
        if request.url.path.endswith(ADDRESS):
            return RedirectResponse(request.url.path + "/")
        found = _read(folder, path or "index.html")
        return _sent(request, path, found) if found is not None else not_here(request)

    return [Route(ADDRESS, send, methods=["GET"]), Route(f"{ADDRESS}/{{path:path}}", send, methods=["GET"])]


def _to_shell(request: Request, path: str) -> Response:
    """A page of the phone that is asked of the server: on a first visit no service worker answers yet."""
    root = str(request.scope.get("root_path", "")).rstrip("/")
    wanted = path.removeprefix(PAGES).removeprefix("/")
    if request.url.query:
        wanted += f"?{request.url.query}"
    return RedirectResponse(f"{root}{ADDRESS}/?at={quote(wanted, safe='')}", status_code=302)


@dataclass(frozen=True, slots=True, kw_only=True)
class _File:
    body: bytes
    compressed: bytes | None
    media_type: str
    tag: str


def _read(folder: Path, path: str) -> _File | None:
    place = (folder / path).resolve()
    if not place.is_relative_to(folder.resolve()) or not place.is_file() or place.suffix not in _TYPES:
        return None
    return _kept_file(place, place.stat().st_mtime_ns)


@lru_cache(maxsize=64)
def _kept_file(place: Path, changed_ns: int) -> _File:
    body = place.read_bytes()
    beside = place.with_name(place.name + ".br")
    return _File(
        body=body,
        compressed=beside.read_bytes() if beside.is_file() else None,
        media_type=_TYPES[place.suffix],
        tag=f'"{hashlib.sha256(body).hexdigest()[:16]}"',
    )


def _sent(request: Request, path: str, file: _File) -> Response:
    headers = {
        "Cache-Control": _KEPT if path.startswith(("e/", "v/")) else _ASKED_AGAIN,
        "Content-Security-Policy": CONTENT_SECURITY_POLICY,
        "ETag": file.tag,
        "Vary": "Accept-Encoding",
    }
    if request.headers.get("if-none-match") == file.tag:
        return Response(status_code=304, headers=headers)
    accepted = {one.partition(";")[0].strip() for one in request.headers.get("accept-encoding", "").split(",")}
    if file.compressed is not None and "br" in accepted:
        return Response(file.compressed, media_type=file.media_type, headers=headers | {"Content-Encoding": "br"})
    return Response(file.body, media_type=file.media_type, headers=headers)
