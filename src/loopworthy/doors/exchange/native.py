"""Requests of an exchange from a computer: by a general HTTP library, certificates checked, redirects not followed.

A redirect would carry the token to somebody else; the address of a hub is the one that a person gave.
"""

from __future__ import annotations

import ssl
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from loopworthy.doors.exchange.client import NotReachedError, Reply

if TYPE_CHECKING:
    import httpx

CONNECT_S: Final = 5.0
"""How long to wait for a connection; a hub in range answers in well under one. [s]"""
SILENT_S: Final = 30.0
"""How long to wait for the next bytes: a slow hub may take a while over a large chunk. [s]"""


async def send(
    address: str,
    *,
    headers: Mapping[str, str],
    body: bytes,
    most: int,
    transport: httpx.AsyncBaseTransport | None = None,
) -> Reply:
    """POST a body and read the whole answer; see `client.Send`."""
    import httpx

    timeout = httpx.Timeout(SILENT_S, connect=CONNECT_S)
    sent = {**headers, "Accept-Encoding": "identity"}  # chunks come compressed, and what unpacks has its limits
    read = bytearray()
    try:
        async with (
            httpx.AsyncClient(
                timeout=timeout, transport=transport, follow_redirects=False, verify=_certificates()
            ) as asking,
            asking.stream("POST", address, headers=sent, content=body) as answer,
        ):
            async for piece in answer.aiter_raw():
                read += piece
                if len(read) > most:
                    raise NotReachedError(address, f"its answer is larger than {most} bytes")
            told = {name.lower(): value for name, value in answer.headers.items()}
            return Reply(status=answer.status_code, headers=told, body=bytes(read))
    except httpx.InvalidURL as error:
        raise NotReachedError(address, "it is no address") from error
    except httpx.TimeoutException as error:
        raise NotReachedError(address, "it did not answer in time") from error
    except httpx.HTTPError as error:
        raise NotReachedError(address, str(error) or type(error).__name__) from error


@lru_cache(maxsize=1)
def _certificates() -> ssl.SSLContext:
    """Whom this computer trusts: its own list, where a club's own authority stands, and the library's."""
    import httpx

    context = httpx.create_ssl_context()
    context.load_default_certs()
    return context
