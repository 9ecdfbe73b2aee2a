"""``loopworthy exchange``: with a hub over a network, and at the hub who may."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Exit, Group, argument, helped, option, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.devices import Devices
    from loopworthy.desk.workplace import Workplace
    from loopworthy.doors.exchange.client import Means, Outcome
    from loopworthy.doors.exchange.hubs import JoinedHub
    from loopworthy.vocabulary.time import Moment

exchange = Group("exchange", help=helped("exchange"), no_args_is_help=True)


@exchange.command("with", help=helped("exchange_with"))
@argument("hub", "hub", default="", required=False)
@click.pass_obj
def exchange_with(settings: Settings, hub: str) -> int:
    """Exchange with a hub that was joined."""
    import asyncio

    from loopworthy.doors.exchange.hubs import hub_at
    from loopworthy.doors.exchange.running import exchange_once

    _finish_taking_over(settings, hub)
    workplace = settings.open()
    joined = hub_at(workplace.record.store, hub)
    done, outcome = asyncio.run(exchange_once(workplace.record, joined, _means(settings, workplace)))
    settings.answer(lambda: _outcome(done, outcome), lambda: _outcome_lines(done, outcome))
    return Exit.NOT_WHOLE if outcome.refused or outcome.left_out else Exit.DONE


@exchange.command("join", help=helped("exchange_join"))
@argument("address", "hub_address", metavar="ADDRESS")
@argument("code", "hub_code", default="", required=False)
@option("--device-name", key="exchange_device_name", default="", metavar="NAME")
@click.pass_obj
def join(settings: Settings, address: str, code: str, device_name: str) -> None:
    """Join a hub with the code that it shows; a device without a record takes the hub's over."""
    import asyncio

    from loopworthy.doors.exchange.hubs import address_in
    from loopworthy.doors.exchange.joining import join_with_record
    from loopworthy.doors.exchange.running import exchange_once

    place, scanned = address_in(address)
    name, means = device_name or _device_name(), _means(settings)
    if not (code or scanned):
        raise InputError("code", code, "the code that the hub shows", next_step="Make one at the hub")
    if not _holds_record(settings):
        _take_over(settings, place, code or scanned, name)
    else:
        store = settings.open().record.store
        asyncio.run(join_with_record(store, address=place, code=code or scanned, device_name=name, means=means))
        store.close()
    workplace = _opened_as(settings, name)
    joined = next(one for one in _hubs(workplace) if one.address == place)
    done, outcome = asyncio.run(exchange_once(workplace.record, joined, _means(settings, workplace)))
    settings.answer(
        lambda: {**_outcome(done, outcome), "record": done.record, "title": done.title, "path": str(settings.path)},
        lambda: [say("joined", title=done.title, hub=done.address), *_outcome_lines(done, outcome)],
    )


@exchange.command("hubs", help=helped("exchange_hubs"))
@click.pass_obj
def hubs(settings: Settings) -> None:
    """List the hubs that this device has joined, and how the last exchange went."""
    from loopworthy.desk.devices import not_sent

    workplace = settings.open()
    clock = settings.words(workplace).clock
    known = [(one, not_sent(workplace, one.known)) for one in _hubs(workplace)]
    settings.answer(
        lambda: {
            "hubs": [
                {
                    "address": one.address,
                    "name": one.name,
                    "admission": one.admission,
                    "last": one.last,
                    "sent": one.sent,
                    "taken": one.taken,
                    "clock_offset_ms": one.offset_ms,
                    "problem": one.problem,
                    "not_exchanged": count,
                }
                for one, count in known
            ]
        },
        lambda: (
            [
                say("hub", hub=one.address, name=one.name, count=count)
                + " "
                + (say("hub_last", when=clock.when(one.last.epoch_ms)) if one.last else say("hub_never"))
                + (f" {one.problem}" if one.problem else "")
                for one, count in known
            ]
            or [say("no_hubs")]
        ),
    )


@exchange.command("leave", help=helped("exchange_leave"))
@argument("hub", "hub")
@click.pass_obj
def leave(settings: Settings, hub: str) -> None:
    """Forget a hub and the token for it."""
    from loopworthy.doors.exchange.hubs import hub_at, leave_hub

    store = settings.open().record.store
    joined = hub_at(store, hub)
    leave_hub(store, joined)
    settings.answer(lambda: {"left": joined.address}, lambda: [say("hub_left", hub=joined.address)])


@exchange.command("admit", help=helped("exchange_admit"))
@click.pass_obj
def admit(settings: Settings) -> None:
    """Make a code that admits one device to this record."""
    import secrets

    from loopworthy.desk.devices import make_code

    workplace = settings.open()
    made = make_code(workplace, person=settings.actor(workplace), token=secrets.token_bytes)
    until = settings.words(workplace).clock.at(made.until.epoch_ms)
    settings.answer(
        lambda: {"code": made.code, "until": made.until},
        lambda: [say("code_made", code=made.code, until=until), say("code_use")],
    )


@exchange.command("devices", help=helped("exchange_devices"))
@click.pass_obj
def devices(settings: Settings) -> None:
    """List who writes in the record and who may exchange through this computer."""
    from loopworthy.desk.devices import devices as all_of_them

    workplace = settings.open()
    found = all_of_them(workplace)
    settings.answer(lambda: _devices(workplace, found), lambda: _device_lines(settings, workplace, found))


@exchange.command("revoke", help=helped("exchange_revoke"))
@argument("device", "admitted_device")
@option("--reason", key="reason", required=True, metavar="TEXT")
@click.pass_obj
def revoke(settings: Settings, device: str, reason: str) -> None:
    """Admit a device no more."""
    from loopworthy.desk.devices import revoke as revoked

    workplace = settings.open()
    found = revoked(workplace, device, person=settings.actor(workplace), reason=reason)
    settings.answer(
        lambda: {"admission": found.id, "name": found.name, "revoked": found.revoked},
        lambda: [say("device_revoked", name=found.name, admission=found.id)],
    )


# --- opening ----------------------------------------------------------------------------------------------------------


def _means(settings: Settings, workplace: Workplace | None = None) -> Means:
    from loopworthy.doors.exchange.client import Means
    from loopworthy.doors.exchange.keys import Verifier
    from loopworthy.doors.exchange.native import send

    clock = workplace.now if workplace is not None else settings.now()
    return Means(send=send, verifier=Verifier(), clock=clock)


def _hubs(workplace: Workplace) -> tuple[JoinedHub, ...]:
    from loopworthy.doors.exchange.hubs import joined_hubs

    return joined_hubs(workplace.record.store)


def _holds_record(settings: Settings) -> bool:
    from loopworthy.record.sqlite import SqliteStore

    if not settings.path.exists():
        return False
    with closing(SqliteStore(settings.path)) as store:
        return bool(store.record_id())


def _take_over(settings: Settings, address: str, code: str, name: str) -> None:
    import asyncio

    from loopworthy.bootstrap import registry
    from loopworthy.doors.exchange.joining import join_empty
    from loopworthy.record.sqlite import SqliteStore

    settings.path.parent.mkdir(parents=True, exist_ok=True)
    with closing(SqliteStore(settings.path)) as store:
        joining = join_empty(store, registry(), address=address, code=code, device_name=name, means=_means(settings))
        asyncio.run(joining)


def _finish_taking_over(settings: Settings, hub: str) -> None:
    """Go on with a take-over that was cut before anything of the record was here."""
    from loopworthy.doors.exchange.hubs import address_in

    if settings.path.exists() and not _holds_record(settings):
        _take_over(settings, address_in(hub)[0] if hub else "", "", "")


def _opened_as(settings: Settings, name: str) -> Workplace:
    """The record, with the name that this device gets if it has not written in it yet."""
    from loopworthy.bootstrap import device_keys, open_workplace

    return open_workplace(
        settings.path, clock=settings.now(), device_name=name, owner_files=settings.owner_texts(), keys=device_keys()
    )


def _device_name() -> str:
    import platform

    return platform.node().partition(".")[0] or say("this_computer")


# --- telling ----------------------------------------------------------------------------------------------------------


def _outcome(hub: JoinedHub, outcome: Outcome) -> dict[str, Any]:
    return {
        "hub": hub.address,
        "sent": outcome.sent,
        "taken": outcome.taken,
        "clock_offset_ms": outcome.offset_ms,
        "round_trip_ms": outcome.round_trip_ms,
        "left_out": outcome.left_out,
        "beside_there": outcome.apart_there,
        "beside_here": outcome.apart_here,
        "refused": list(outcome.refused),
        "new_device": outcome.new_device,
    }


def _outcome_lines(hub: JoinedHub, outcome: Outcome) -> Iterator[str]:
    from loopworthy.doors.exchange.running import notes_of
    from loopworthy.doors.exchange.told import note_text, offset_text
    from loopworthy.doors.texts import Texts

    texts = Texts.load()
    yield say("exchanged", hub=hub.address, sent=outcome.sent, taken=outcome.taken)
    yield f"  {offset_text(texts, outcome.offset_ms)}"
    for note in notes_of(outcome):
        yield f"  {note_text(texts, note)}"
    for why in outcome.refused:
        yield f"  {why}"


def _devices(workplace: Workplace, found: Devices) -> dict[str, Any]:
    return {
        "writers": [
            {
                "device": one.device,
                "name": one.name,
                "own": one.own,
                "events": one.events,
                "last": one.last,
                "clock_offset_ms": one.offset_ms,
                "clock_measured": one.measured_at,
            }
            for one in found.writers
        ],
        "admitted": [
            {
                "admission": one.id,
                "name": one.name,
                "device": one.device,
                "at": one.at,
                "by": workplace.name(one.by),
                "last": one.last,
                "clock_offset_ms": one.offset_ms,
                "revoked": one.revoked,
            }
            for one in found.admitted
        ],
        "open_codes": found.open_codes,
        "wrong_codes": found.wrong_codes,
    }


def _device_lines(settings: Settings, workplace: Workplace, found: Devices) -> Iterator[str]:
    from loopworthy.doors.exchange.told import offset_text
    from loopworthy.doors.texts import Texts

    clock, texts = settings.words(workplace).clock, Texts.load()

    def when(moment: Moment | None) -> str:
        return clock.when(moment.epoch_ms) if moment is not None else say("hub_never")

    for one in found.writers:
        told = say("writer", name=one.name or say("nobody"), device=short(one.device), events=one.events)
        offset = f" {offset_text(texts, one.offset_ms)}" if one.offset_ms is not None else ""
        yield told + (say("own_chain") if one.own else "") + offset
    for admitted in found.admitted:
        by = workplace.name(admitted.by) or say("nobody")
        yield say(
            "admitted",
            name=admitted.name,
            admission=admitted.id,
            when=when(admitted.at),
            by=by,
            last=when(admitted.last),
        ) + (f" {say('revoked_since', when=when(admitted.revoked))}" if admitted.revoked else "")
    if not found.admitted:
        yield say("nobody_admitted")
    if found.wrong_codes:
        yield say("wrong_codes", count=found.wrong_codes)
