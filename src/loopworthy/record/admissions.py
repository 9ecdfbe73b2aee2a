"""Which devices a hub lets exchange: codes that admit one device once, and the tokens that admitted ones hold.

All of it lies in settings of the store, beside the record: never exported, and left out of every copy. Of a code and of
a token only the SHA-256 is kept. A token is 256 random bits, so there is nothing to guess and no slow hash is needed; a
code is short, so it lives ten minutes, admits once, and is given up after a few wrong ones.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from typing import Final

import msgspec

from loopworthy.record.events import DEVICE_REVOKED, DeviceRevoked
from loopworthy.record.record import Record
from loopworthy.record.secrets import ADMITTED, CODES
from loopworthy.record.store import Store, Token
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import DeviceId, ThingId
from loopworthy.vocabulary.time import Moment

CODE_LIFE_S: Final = 600
"""How long a code may be used: long enough to walk over with a phone. Set by the makers of this program. [s]"""
CODE_LETTERS: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Letters and digits that are not taken for each other when read aloud or copied by hand: no I, L, O, U."""
CODE_LENGTH: Final = 8
"""40 bits: with `MOST_WRONG` attempts the chance to guess one is below 1 in 10^11."""
MOST_WRONG: Final = 5
"""After so many wrong codes every open one is given up."""
MOST_OPEN: Final = 8
"""So many codes may be open at once; the oldest is given up first."""

TOKEN_BYTES: Final = 32
ID_BYTES: Final = 8

_LOOK_ALIKES: Final = str.maketrans({"O": "0", "I": "1", "L": "1", "U": "V", "-": None, " ": None})


class Admission(msgspec.Struct, frozen=True, kw_only=True):
    """A device that was admitted.

    Attributes
    ----------
    id : str
        16 hexadecimal digits; no secret, events name it.
    token_hash : str
        SHA-256 of its token.
    name : str
        What the device calls itself.
    at : Moment
        When it was admitted.
    by : str
        The person who made the code; empty where nobody was named.
    device : str
        As which device it wrote when it last exchanged; empty before.
    last : Moment or None
        When it last exchanged, by the clock here.
    offset_ms : int or None
        How far its clock was ahead then. [ms]
    revoked : Moment or None
        Since when it is not admitted any more.
    """

    id: str
    token_hash: str
    name: str
    at: Moment
    by: ThingId = ""
    device: DeviceId = ""
    last: Moment | None = None
    offset_ms: int | None = None
    revoked: Moment | None = None


class OpenCode(msgspec.Struct, frozen=True, kw_only=True):
    """A code that may still be used.

    Attributes
    ----------
    code_hash : str
        SHA-256 of it.
    until_ms : int
        Until when. [ms since 1970]
    by : str
        The person who made it.
    """

    code_hash: str
    until_ms: int
    by: ThingId = ""


class _Codes(msgspec.Struct, frozen=True, kw_only=True):
    open: tuple[OpenCode, ...] = ()
    wrong: int = 0


# --- codes ------------------------------------------------------------------------------------------------------------


def make_code(store: Store, *, now: Moment, token: Token, by: ThingId = "") -> str:
    """A code that admits one device within `CODE_LIFE_S`, as it is shown: two groups of four."""
    letters = "".join(CODE_LETTERS[byte % len(CODE_LETTERS)] for byte in token(CODE_LENGTH))
    with store.transaction():
        codes = _open_codes(store, now)
        made = OpenCode(code_hash=_hashed(letters), until_ms=now.epoch_ms + CODE_LIFE_S * 1000, by=by)
        _put_codes(store, _Codes(open=(*codes.open, made)[-MOST_OPEN:]))
    return f"{letters[:4]}-{letters[4:]}"


def use_code(store: Store, text: str, *, now: Moment) -> OpenCode | None:
    """The code that was typed, which is used up by that; None where there is no such code, or no more.

    To be called in a transaction of its own where the code is wrong: the attempt is counted.
    """
    wanted = _hashed(plain_code(text))
    with store.transaction():
        codes = _open_codes(store, now)
        found: OpenCode | None = None
        for one in codes.open:  # all of them, so that the time taken tells nothing
            if hmac.compare_digest(one.code_hash, wanted):
                found = one
        if found is not None:
            _put_codes(store, _Codes(open=tuple(one for one in codes.open if one != found)))
        elif codes.open:
            wrong = codes.wrong + 1
            _put_codes(store, _Codes(open=codes.open if wrong < MOST_WRONG else (), wrong=wrong))
        return found


def plain_code(text: str) -> str:
    """A code as it was typed or read aloud, in its own letters."""
    return text.strip().upper().translate(_LOOK_ALIKES)


def wrong_codes(store: Store) -> int:
    """How many wrong codes came since the last one was made or used."""
    return _codes(store).wrong


def open_codes(store: Store, *, now: Moment) -> int:
    """How many codes may still be used."""
    return len(_open_codes(store, now).open)


# --- admitted devices -------------------------------------------------------------------------------------------------


def admit(store: Store, *, name: str, by: ThingId, now: Moment, token: Token) -> tuple[Admission, str]:
    """Admit a device; its admission, and the token that it shows from now on and nobody keeps here."""
    secret = base64.urlsafe_b64encode(token(TOKEN_BYTES)).decode().rstrip("=")
    made = Admission(id=token(ID_BYTES).hex(), token_hash=_hashed(secret), name=name, at=now, by=by)
    with store.transaction():
        _put_admissions(store, (*admissions(store), made))
    return made, secret


def admissions(store: Store) -> tuple[Admission, ...]:
    """All devices that were ever admitted here, the revoked ones too, in the order of their admission."""
    text = store.setting(ADMITTED)
    return _ADMISSIONS.decode(text) if text else ()


def admission_of(record: Record, secret: str) -> Admission | None:
    """The admission that a token stands for; None where there is none.

    Raises
    ------
    RefusedError
        If it was revoked, here or by anybody in the record.
    """
    wanted = _hashed(secret)
    found: Admission | None = None
    for one in admissions(record.store):
        if hmac.compare_digest(one.token_hash, wanted):
            found = one
    if found is not None and (found.revoked is not None or found.id in revoked_in(record)):
        raise RefusedError(
            f"Device {found.name} is not admitted any more", next_step="Ask at the hub for a new code, and join again"
        )
    return found


def with_revocation(admission: Admission, since: Moment | None) -> Admission:
    """The same admission, revoked since then."""
    return msgspec.structs.replace(admission, revoked=since)


def revoked_in(record: Record) -> frozenset[str]:
    """Admissions that somebody has revoked in the record, on whatever device."""
    return frozenset(
        event.payload.admission
        for event in record.events_of_kind(DEVICE_REVOKED)
        if isinstance(event.payload, DeviceRevoked)
    )


def find(store: Store, text: str) -> Admission:
    """The admission with this name, or whose identity begins so.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If there are several.
    """
    all_of_them = admissions(store)
    wanted = text.strip().lower()
    found = [one for one in all_of_them if wanted and wanted in (one.name.lower(), one.id)]
    found = [one for one in found if one.revoked is None] or found
    found = found or [one for one in all_of_them if len(wanted) >= 4 and one.id.startswith(wanted)]
    if not found:
        raise UnknownNameError("admitted device", text, tuple(one.name for one in all_of_them if one.revoked is None))
    if len(found) > 1:
        raise InputError(
            "device",
            text,
            "the name of one only",
            next_step=f"Use its identity: {', '.join(one.id for one in found)}",
        )
    return found[0]


def revoke(store: Store, admission: str, *, now: Moment) -> Admission:
    """Admit a device no more; it stays in the list."""
    with store.transaction():
        found = find(store, admission)
        if found.revoked is not None:
            return found
        changed = with_revocation(found, now)
        _replace(store, changed)
        return changed


def note_exchange(store: Store, admission: str, *, device: DeviceId, offset_ms: int, now: Moment) -> None:
    """Remember that an admitted device exchanged, as which device it writes, and what its clock said."""
    with store.transaction():
        known = next(one for one in admissions(store) if one.id == admission)
        _replace(store, msgspec.structs.replace(known, device=device, last=now, offset_ms=offset_ms))


def _replace(store: Store, changed: Admission) -> None:
    _put_admissions(store, tuple(changed if one.id == changed.id else one for one in admissions(store)))


def _put_admissions(store: Store, all_of_them: tuple[Admission, ...]) -> None:
    store.put_setting(ADMITTED, msgspec.json.encode(all_of_them).decode())


def _codes(store: Store) -> _Codes:
    text = store.setting(CODES)
    return _OPEN.decode(text) if text else _Codes()


def _open_codes(store: Store, now: Moment) -> _Codes:
    codes = _codes(store)
    # A clock that was set back must not make a code live longer than its life.
    most_ms = now.epoch_ms + CODE_LIFE_S * 1000
    alive = tuple(one for one in codes.open if now.epoch_ms < one.until_ms <= most_ms)
    return _Codes(open=alive, wrong=codes.wrong)


def _put_codes(store: Store, codes: _Codes) -> None:
    store.put_setting(CODES, msgspec.json.encode(codes).decode())


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


_ADMISSIONS = msgspec.json.Decoder(tuple[Admission, ...])
_OPEN = msgspec.json.Decoder(_Codes)
