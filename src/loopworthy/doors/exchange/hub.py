"""The hub's side of an exchange over HTTP: admits by code, tells what it has, hands out and takes chunks.

Every request stands for itself: the hub keeps nothing between two of them but what is in its store, so either side may
end at any byte and the next exchange goes on from what both have by then. Nothing is asked of a browser's cookies, so
a program that was opened from elsewhere may speak to it; its token is what counts.
"""

from __future__ import annotations

import logging
import secrets
from collections.abc import Awaitable, Callable
from typing import Any, Final
from urllib.parse import urlencode

import msgspec
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from loopworthy.desk import devices
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.forms import (
    ADDRESS,
    JOIN,
    KNOWLEDGE,
    LARGEST_JOIN,
    LARGEST_PACKED,
    LARGEST_UNPACKED,
    LEFT_OUT_HEADER,
    PACKED_TYPE,
    PROBLEM_TYPE,
    PULL,
    PUSH,
    REST_HEADER,
    About,
    Joined,
    Joining,
    Problem,
    Received,
    Refused,
    knowledge_in,
    packed_knowledge,
)
from loopworthy.doors.exchange.hubs import CODE
from loopworthy.record import admissions
from loopworthy.record.admissions import Admission
from loopworthy.record.exchange import read_header
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.offers import EXCHANGE_VERSIONS, chunk, clock_offset_ms, knowledge, packed, unpacked
from loopworthy.record.receiving import Peer, check_heads, record_heads_received, sign_own_heads
from loopworthy.record.signing import HeadVerifier
from loopworthy.record.store import Token
from loopworthy.vocabulary.errors import InputError, LoopworthyError, RecordError, RefusedError, StoreError
from loopworthy.vocabulary.identity import short

PHONE: Final = "/phone/"
"""Where the program for phones is handed out."""

MOST_REFUSED_TOLD: Final = 100
"""Refused items that are told one by one; more of them say nothing new."""

_METHODS: Final = ("GET", "HEAD", "POST", "OPTIONS", "PUT", "PATCH", "DELETE")
_TOO_LARGE: Final = frozenset({"bytes", "line", "lines", "heads", "body_size"})
_ANYBODY: Final = {
    "Access-Control-Allow-Origin": "*",
    "Access-Control-Expose-Headers": f"{REST_HEADER}, {LEFT_OUT_HEADER}",
    "Cross-Origin-Resource-Policy": "cross-origin",
}
"""Any page may send a request and read the answer: it carries no cookie, and without a token it is told nothing."""

_log = logging.getLogger("loopworthy.exchange")


class _Told(Exception):
    """A request that is answered with a problem."""

    def __init__(self, status: int, code: str, title: str, next_step: str = "", **headers: str) -> None:
        self.problem = Problem(status=status, code=code, title=title, next_step=next_step)
        self.headers = headers
        super().__init__(title)


class Hub:
    """Answers the requests of an exchange for one record.

    Parameters
    ----------
    workplace : Workplace
    verifier : HeadVerifier
        Checks signatures of heads.
    token : callable
        Gives so many random bytes.
    """

    def __init__(self, workplace: Workplace, *, verifier: HeadVerifier, token: Token = secrets.token_bytes) -> None:
        self._workplace = workplace
        self._verifier = verifier
        self._token = token
        self._doors: dict[tuple[str, str], Callable[[Request], Awaitable[Response]]] = {
            ("GET", ""): self._about,
            ("POST", JOIN): self._join,
            ("POST", KNOWLEDGE): self._knowledge,
            ("POST", PULL): self._pull,
            ("POST", PUSH): self._push,
        }

    def routes(self) -> list[Route]:
        """The addresses of the interface."""
        return [Route(f"{ADDRESS}{{path:path}}", self.answer, methods=list(_METHODS))]

    async def answer(self, request: Request) -> Response:
        """Answer a request; whatever goes wrong is told as a problem that a program can read."""
        try:
            response = await self._answered(request)
        except _Told as told:
            response = _problem(told.problem, told.headers)
        except LoopworthyError as error:
            response = _problem(_problem_of(error), _headers_of(error))
        except ClientDisconnect:
            response = Response(status_code=400)  # nobody is there to be told, and nothing was taken
        except Exception:
            _log.exception("%s %s was not answered", request.method, request.url.path)
            response = _problem(Problem(status=500, code="broken", title="The hub has made a mistake"), {})
        response.headers.update(_ANYBODY)
        return response

    async def _answered(self, request: Request) -> Response:
        path, method = str(request.path_params.get("path", "")), request.method
        allowed = sorted(known for known, place in self._doors if place == path)
        if not allowed:
            raise _Told(404, "unknown-address", f"There is nothing at {ADDRESS}{path[:80]}")
        if method == "OPTIONS":
            return _preflight(request, allowed)
        door = self._doors.get(("GET" if method == "HEAD" else method, path))
        if door is None:
            raise _Told(405, "unknown-method", f"{method} is not understood here", Allow=", ".join(allowed))
        return await door(request)

    # --- for anybody ----------------------------------------------------------------------------------------------

    async def _about(self, request: Request) -> Response:
        code = request.query_params.get(CODE)
        if code and "text/html" in request.headers.get("accept", ""):
            # A camera has opened what the hub shows: the phone's program, if it is here, goes on with it.
            root = str(request.scope.get("root_path", "")).rstrip("/")
            return RedirectResponse(f"{root}{PHONE}?{urlencode({CODE: code[:40]})}", status_code=303)
        return _json(About())

    async def _join(self, request: Request) -> Response:
        body = await _body(request, LARGEST_JOIN)
        try:
            asked = msgspec.json.decode(body, type=Joining)
        except (msgspec.MsgspecError, UnicodeDecodeError) as error:
            raise InputError("join", body[:40], f"what a device sends that wants to be admitted ({error})") from error
        if not set(asked.versions) & set(EXCHANGE_VERSIONS):
            raise _version(asked.versions)
        workplace = self._workplace
        admitted = devices.admit(workplace, asked.code, name=asked.device_name, token=self._token)
        record = workplace.record
        own = next((one.name for one in devices.devices(workplace).writers if one.own), "")
        return _json(
            Joined(
                token=admitted.token,
                admission=admitted.admission,
                record=record.id,
                title=record.title,
                hub=own,
                now=workplace.now(),
            )
        )

    # --- for admitted devices -------------------------------------------------------------------------------------

    def _admission(self, request: Request) -> Admission:
        scheme, _, secret = request.headers.get("authorization", "").partition(" ")
        found = None
        if scheme.lower() == "bearer" and secret.strip():
            found = admissions.admission_of(self._workplace.record, secret.strip())
        if found is None:
            raise _Told(
                401,
                "not-admitted",
                "This device is not admitted here",
                "Ask at the hub for a code, and join with it",
                **{"WWW-Authenticate": 'Bearer realm="loopworthy exchange"'},
            )
        return found

    async def _knowledge(self, request: Request) -> Response:
        admission = self._admission(request)
        theirs = knowledge_in(await _body(request, LARGEST_PACKED))
        record, now = self._workplace.record, self._workplace.now()
        self._require_record(theirs.record)
        admissions.note_exchange(
            record.store,
            admission.id,
            device=theirs.device or admission.device,
            offset_ms=clock_offset_ms(theirs, now=now),
            now=now,
        )
        record.become_keyed(now)
        if record.keys is not None:
            await sign_own_heads(record.store, record.keys)
        mine = knowledge(record.store, now=self._workplace.now())
        return Response(packed_knowledge(mine), media_type=PACKED_TYPE)

    async def _pull(self, request: Request) -> Response:
        self._admission(request)
        theirs = knowledge_in(await _body(request, LARGEST_PACKED))
        self._require_record(theirs.record)
        store = self._workplace.record.store
        part = chunk(store, theirs, now=self._workplace.now(), rest=request.query_params.get("rest", ""))
        headers = {LEFT_OUT_HEADER: str(len(part.left_out))} if part.left_out else {}
        if part.rest:
            headers[REST_HEADER] = part.rest
        return Response(packed(part.lines), media_type=PACKED_TYPE, headers=headers)

    async def _push(self, request: Request) -> Response:
        admission = self._admission(request)
        lines = unpacked(await _body(request, LARGEST_PACKED), limits=LARGEST_UNPACKED)
        self._require_record(read_header(lines[0] if lines else b"").record)
        checked = await check_heads(lines, self._verifier, limits=LARGEST_UNPACKED)
        record, now = self._workplace.record, self._workplace.now()
        self._admission(request)  # it may have been revoked while the signatures were checked
        with record.store.transaction():
            report = merge(record.store, record.registry, checked.lines, now=now, vouched=checked.heads)
            if request.query_params.get("last") == "yes":
                record_heads_received(record, now=now, peer=_peer(admission))
        return _json(_received(report))

    def _require_record(self, record: str) -> None:
        here = self._workplace.record.id
        if record != here:
            raise _Told(
                409,
                "other-record",
                f"This hub keeps record {short(here)}, not {short(record)}",
                "Join the hub that keeps that record",
            )


def _peer(admission: Admission) -> Peer | None:
    if not admission.device or admission.offset_ms is None:
        return None
    return Peer(device=admission.device, offset_ms=admission.offset_ms)


def _received(report: MergeReport) -> Received:
    return Received(
        taken=report.taken,
        already_here=report.already_here,
        waiting=len(report.waiting),
        not_vouched=len(report.not_vouched),
        ahead=len(report.ahead),
        refused=tuple(
            Refused(line=one.line, event=one.event, why=one.why) for one in report.refused[:MOST_REFUSED_TOLD]
        ),
        whole=report.whole,
    )


async def _body(request: Request, most: int) -> bytes:
    """The body of a request, as long as it keeps to the limit; what is longer is not read to its end."""
    told = request.headers.get("content-length", "")
    body = bytearray()
    if not (told.isascii() and told.isdecimal() and int(told) > most):
        async for piece in request.stream():
            body += piece
            if len(body) > most:
                break
        else:
            return bytes(body)
    raise InputError("body_size", told or f"more than {most}", f"at most {most} bytes", next_step="Send smaller parts")


def _preflight(request: Request, allowed: list[str]) -> Response:
    headers = {
        "Access-Control-Allow-Methods": ", ".join(allowed),
        "Access-Control-Allow-Headers": "authorization, content-type",
        "Access-Control-Max-Age": "600",
    }
    if request.headers.get("access-control-request-private-network") == "true":
        headers["Access-Control-Allow-Private-Network"] = "true"
    return Response(status_code=204, headers=headers)


def _json(value: msgspec.Struct) -> Response:
    return Response(msgspec.json.encode(value), media_type="application/json")


def _problem(problem: Problem, headers: dict[str, str]) -> Response:
    return Response(msgspec.json.encode(problem), status_code=problem.status, media_type=PROBLEM_TYPE, headers=headers)


def _version(versions: Any) -> _Told:
    return _Told(
        426,
        "other-version",
        f"This hub speaks versions {', '.join(map(str, EXCHANGE_VERSIONS))} of the exchange, not {versions}",
        "Bring the older of the two programs up to date",
        Upgrade=f"loopworthy-exchange/{max(EXCHANGE_VERSIONS)}",
    )


def _problem_of(error: LoopworthyError) -> Problem:
    status, code = 400, "not-understood"
    if isinstance(error, InputError):
        if error.name in _TOO_LARGE:
            status, code = 413, "too-large"
        elif error.name in ("version", "versions"):
            status, code = 426, "other-version"
        elif error.name == "record":
            status, code = 409, "other-record"
    elif isinstance(error, RefusedError):
        status, code = 403, "refused"
    elif isinstance(error, StoreError):
        status, code = 503, "store-failed"
    elif isinstance(error, RecordError):
        status, code = 409, "conflict"
    return Problem(status=status, code=code, title=error.message, next_step=error.next_step)


def _headers_of(error: LoopworthyError) -> dict[str, str]:
    problem = _problem_of(error)
    if problem.status == 426:
        return {"Upgrade": f"loopworthy-exchange/{max(EXCHANGE_VERSIONS)}"}
    return {"Retry-After": "10"} if problem.status == 503 else {}
