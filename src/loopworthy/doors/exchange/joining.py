"""Joining a hub from a store without a record: be admitted, remember the token, take the record over.

The token is kept before anything is taken, so that a take-over that was cut goes on without a new code.
"""

from __future__ import annotations

from loopworthy.doors.exchange.client import Means, join, take_over
from loopworthy.doors.exchange.hubs import JoinedHub, joined_hubs, keep_hub
from loopworthy.record.registry import Registry
from loopworthy.record.store import Store
from loopworthy.vocabulary.errors import InputError, RecordError
from loopworthy.vocabulary.identity import short


async def join_empty(
    store: Store, registry: Registry, *, address: str, code: str, device_name: str, means: Means
) -> JoinedHub:
    """Join a hub and take its record over into a store that holds none, or a part of that one.

    Parameters
    ----------
    code : str
        Empty to go on with a take-over that was cut; the hub is known then.

    Raises
    ------
    RecordError
        If the store holds a record already.
    InputError
        If there is neither a code nor a hub that was joined.
    OutOfReachError, NotGrantedError
        If the hub is not there, or does not admit this device.
    """
    if code:
        if store.record_id():
            raise RecordError(
                f"There is record {short(store.record_id())} here already", next_step="Join the hub from within it"
            )
        hub = await join(address, code, device_name=device_name, means=means)
        keep_hub(store, hub)
        await means.settled()
    else:
        known = [one for one in joined_hubs(store) if not address or one.address == address]
        if not known:
            raise InputError("code", code, "the code that the hub shows", next_step="Make one at the hub")
        hub = known[0]
    await take_over(store, registry, hub, means=means)
    return hub


async def join_with_record(store: Store, *, address: str, code: str, device_name: str, means: Means) -> JoinedHub:
    """Join a hub that keeps the record which is open here.

    Raises
    ------
    InputError
        If it keeps another one. It has admitted this device nevertheless; nothing else came of it.
    OutOfReachError, NotGrantedError
        If the hub is not there, or does not admit this device.
    """
    hub = await join(address, code, device_name=device_name, means=means)
    if hub.record != store.record_id():
        raise InputError(
            "hub",
            f"{address}, which keeps {hub.title!r}",
            f"one that keeps record {short(store.record_id())}, the one that is open here",
            next_step="Join it from a device without a record, or open that record first",
        )
    keep_hub(store, hub)
    await means.settled()
    return hub
