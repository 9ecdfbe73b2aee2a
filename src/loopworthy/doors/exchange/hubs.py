"""The hubs that this device has joined: address, token, and how the last exchange with each went.

They lie in a setting of the store, beside the record: never exported, and left out of every copy. A phone that is
restored from a backup therefore joins anew.
"""

from __future__ import annotations

import ipaddress
from typing import Final
from urllib.parse import parse_qs, urlencode, urlsplit

import msgspec

from loopworthy.doors.exchange.forms import ADDRESS
from loopworthy.record.secrets import HUBS
from loopworthy.record.store import Store
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import DeviceId, RecordId
from loopworthy.vocabulary.time import Moment

CODE: Final = "code"
"""In the address that a hub shows as a code for a camera."""


class JoinedHub(msgspec.Struct, frozen=True, kw_only=True):
    """A hub, as a device that was admitted there remembers it.

    Attributes
    ----------
    address : str
        Without `forms.ADDRESS`: ``https://hub.example``.
    token : str
        What this device shows there.
    admission : str
        What its admission is called.
    record, title, name : str
        The record, what people call it, and what the hub calls itself.
    joined : Moment
    known : dict
        How far the hub has each chain since the last whole exchange.
    last : Moment or None
        When the last whole exchange ended.
    sent, taken : int
        Events in it.
    offset_ms : int or None
        How far the hub's clock was ahead. [ms]
    tried : Moment or None
        When an exchange was last begun.
    problem, problem_step : str
        Why the last one did not come to its end; empty where it did.
    notes : tuple of str
        What else came of it: texts below ``exchange`` in the doors' texts, with a count behind a colon.
    """

    address: str
    token: str
    admission: str
    record: RecordId
    title: str
    name: str
    joined: Moment
    known: dict[DeviceId, int] = {}
    last: Moment | None = None
    sent: int = 0
    taken: int = 0
    offset_ms: int | None = None
    tried: Moment | None = None
    problem: str = ""
    problem_step: str = ""
    notes: tuple[str, ...] = ()


def joined_hubs(store: Store) -> tuple[JoinedHub, ...]:
    """All of them, in the order in which they were joined."""
    text = store.setting(HUBS)
    return _DECODER.decode(text) if text else ()


def keep_hub(store: Store, hub: JoinedHub) -> None:
    """Keep a hub, in place of what was known about one at the same address."""
    with store.transaction():
        known = joined_hubs(store)
        if any(one.address == hub.address for one in known):
            changed = tuple(hub if one.address == hub.address else one for one in known)
        else:
            changed = (*known, hub)
        store.put_setting(HUBS, msgspec.json.encode(changed).decode())


def leave_hub(store: Store, hub: JoinedHub) -> None:
    """Forget a hub and the token for it."""
    with store.transaction():
        changed = tuple(one for one in joined_hubs(store) if one.address != hub.address)
        store.put_setting(HUBS, msgspec.json.encode(changed).decode() if changed else "")


def hub_at(store: Store, text: str) -> JoinedHub:
    """The hub with this address or name; without one the only hub there is.

    Raises
    ------
    UnknownNameError
        If no such hub was joined.
    """
    known = joined_hubs(store)
    wanted = text.strip()
    if wanted:
        named = [one for one in known if wanted in (one.name, one.address)]
        found = named or [one for one in known if one.address == address_in(wanted)[0]]
    else:
        found = list(known)
    if len(found) == 1:
        return found[0]
    names = tuple(one.address for one in known)
    step = "" if names else "Join one with the code that it shows"
    raise UnknownNameError("hub that this device has joined", wanted, names, next_step=step)


def address_in(text: str) -> tuple[str, str]:
    """The hub's address in what was typed or scanned, and the code, where it has one.

    Raises
    ------
    InputError
        If it is no address.
    """
    typed = text.strip()
    if "://" not in typed:
        typed = f"{_usual_scheme(typed)}://{typed}"
    try:
        parts = urlsplit(typed)
        host, port = parts.hostname or "", parts.port
    except ValueError as error:
        raise _no_address(text) from error
    if parts.scheme not in ("http", "https") or not host or parts.username or any(sign.isspace() for sign in typed):
        raise _no_address(text)
    codes = parse_qs(parts.query).get(CODE, [])
    path = parts.path.removesuffix("/")
    path = path.removesuffix(ADDRESS.removesuffix("/"))
    shown = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{shown}{f':{port}' if port else ''}{path}", codes[0] if codes else ""


def address_with_code(address: str, code: str) -> str:
    """What a hub shows for a camera: where it is, and the code."""
    return f"{address}{ADDRESS}?{urlencode({CODE: code})}"


def is_open_to_listeners(address: str) -> bool:
    """Whether what is sent there can be read on the way: no encryption, and not within this computer."""
    parts = urlsplit(address)
    return parts.scheme == "http" and not _is_here(parts.hostname or "")


def _usual_scheme(typed: str) -> str:
    """A name in the world is reached encrypted; a number, or a name on the boat's own network, mostly is not."""
    host = typed.partition("/")[0].rpartition(":")[0] or typed.partition("/")[0]
    local = _is_here(host) or host.endswith((".local", ".lan", ".home.arpa")) or "." not in host
    return "http" if local or _is_number(host) else "https"


def _is_here(host: str) -> bool:
    if host == "localhost":
        return True
    return _is_number(host) and ipaddress.ip_address(host.strip("[]")).is_loopback


def _is_number(host: str) -> bool:
    try:
        ipaddress.ip_address(host.strip("[]"))
    except ValueError:
        return False
    return True


def _no_address(text: str) -> InputError:
    return InputError(
        "address", text[:80], "the address of a hub", next_step="Write it as the hub shows it: https://hub.example"
    )


_DECODER = msgspec.json.Decoder(tuple[JoinedHub, ...])
