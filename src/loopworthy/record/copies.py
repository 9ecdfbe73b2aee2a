"""A store that was restored or copied becomes a new device, because two stores that write as one fork its chain.

A copy is known by the mark that `backup` puts on it, by a file that has neither the name nor the inode that it had, by
an event or a signed head of its own chain that arrives from outside, and, where its chain has a key, by what is kept
outside the record beside that key. A file put back by hand in its old place whose chain was never signed shows none
of these until its own later events come back with a merge.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Final

import msgspec

from loopworthy.record.secrets import forget_secrets
from loopworthy.record.signing import DeviceKeys, is_keyed
from loopworthy.record.store import Heads, Store
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import DeviceId

COPIED_FROM: Final = "copied-from"
"""Setting of a store that was copied or restored: the device that it wrote as before."""

TAILS: Final = "tails-to-sign"
"""Setting: where the chains ended as which this store wrote before; their devices may still have to sign that."""

_PLACE: Final = "place"


def become_new_device(store: Store) -> DeviceId:
    """From the next event on, write as a new device; the device that this store wrote as until now."""
    with store.transaction():
        before = store.device_id()
        if before:
            tail = store.heads().get(before)
            if tail is not None and is_keyed(before):
                put_tails(store, tails(store) | {before: tail})
            store.put_setting(COPIED_FROM, before)
            store.set_device_id("")
    return before


def tails(store: Store) -> Heads:
    """Ends of chains that this store wrote before it became a new device, as far as they may have to be signed yet."""
    text = store.setting(TAILS)
    return msgspec.json.decode(text, type=dict[str, SeenHead]) if text else {}


def put_tails(store: Store, ends: Heads) -> None:
    """Keep these ends for signing, and no others."""
    store.put_setting(TAILS, msgspec.json.encode(ends).decode())


def notice_copy(store: Store, path: Path) -> bool:
    """Whether the file of a store is a copy; then it writes as a new device from now on.

    Name and inode must both be new. A file that was moved keeps its inode; on some media (exFAT, network folders) the
    inode changes at every mount, but the name stays. Taking either alone for a copy would open a new chain each time.
    """
    name = hashlib.sha256(str(path.absolute()).encode()).hexdigest()[:16]
    inode = str(path.stat().st_ino)
    place = f"{name} {inode}"
    before = store.setting(_PLACE)
    if before == place:
        return False
    with store.transaction():
        known = (store.setting(_PLACE) or "").split(" ")
        copied = len(known) == 2 and known[0] != name and known[1] != inode
        store.put_setting(_PLACE, place)
        if copied:
            forget_secrets(store)
        return bool(become_new_device(store)) if copied else False


def holds_its_key(store: Store, keys: DeviceKeys) -> bool:
    """Whether a store may go on writing as its device, as far as the keys kept outside it can tell.

    A chain without a key cannot be judged by one. Of a keyed chain the key must be here, and the chain must hold the
    farthest head that was signed with it: one that does not was put back from an older copy.
    """
    device = store.device_id()
    if not is_keyed(device):
        return True
    held = keys.held(device)
    if held is None:
        return False
    signed = held.signed
    return signed is None or any(one.id == signed.event for one in store.events_at(device, signed.sequence))
