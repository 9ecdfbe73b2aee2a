"""Every address of the program, made in one place; a page never spells one out.

Things and events stand in addresses by the first digits of their identity. Where the program lies below a folder of a
server (the browser build does), every address begins with it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from loopworthy.vocabulary.identity import EventId, ThingId, short


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """Addresses below `root`, which is '' or begins with a slash and ends without one."""

    root: str = ""

    def to(self, *parts: str, **query: str | None) -> str:
        """The address of these parts, with what is given of the query."""
        path = self.root + "/" + "/".join(quote(part, safe="") for part in parts)
        asked = urlencode({name: value for name, value in query.items() if value})
        return f"{path}?{asked}" if asked else path

    # --- for everybody ----------------------------------------------------------------------------------------------

    def board(self) -> str:
        """All units."""
        return self.to()

    def people(self, back: str = "") -> str:
        """Who is reading; and everybody."""
        return self.to("people", back=back)

    def choose_person(self) -> str:
        """Where "this is me" is sent."""
        return self.to("people", "me")

    def instruments(self, back: str = "") -> str:
        """Instruments that readings are made with."""
        return self.to("instruments", back=back)

    def new_unit(self) -> str:
        """Bringing a unit into the record."""
        return self.to("units", "new")

    def catalogue(self, anchor: str = "") -> str:
        """Steps, evidence, changes and limits as they hold, all in one place."""
        return self.to("catalogue") + (f"#{anchor}" if anchor else "")

    # --- one unit ---------------------------------------------------------------------------------------------------

    def _unit(self, unit: ThingId, *parts: str, **query: str | None) -> str:
        return self.to("unit", short(unit), *parts, **query)

    def unit(self, unit: ThingId, done: Iterable[EventId] = ()) -> str:
        """Verdict, reasons, next step, evidence. `done`: what was just recorded, told at the top."""
        return self._unit(unit, done=",".join(short(one) for one in done))

    def next_step(self, unit: ThingId, done: Iterable[EventId] = ()) -> str:
        """Leads on to the page that is outstanding first."""
        return self._unit(unit, "next", done=",".join(short(one) for one in done))

    def steps(self, unit: ThingId) -> str:
        """All work pages of the unit."""
        return self._unit(unit, "steps")

    def work(self, unit: ThingId, page: str, *, step: str = "", about: str = "", all_steps: bool = False) -> str:
        """A work page; one step of it, for one subject, or with the steps that are only asked on request."""
        return self._unit(unit, "do", page, step=step, about=about, all="yes" if all_steps else "")

    def sensors(self, unit: ThingId) -> str:
        """The chart of the oxygen sensors."""
        return self._unit(unit, "sensors")

    def evidence(self, unit: ThingId, event: EventId) -> str:
        """One piece of evidence."""
        return self._unit(unit, "evidence", short(event))

    def repair(self, unit: ThingId, event: EventId) -> str:
        """Naming what was mended after a reading outside its limit."""
        return self._unit(unit, "repair", event=short(event))

    def release(self, unit: ThingId, event: EventId) -> str:
        """Releasing a hold."""
        return self._unit(unit, "release", short(event))

    def waive(self, unit: ThingId, step: str, about: str) -> str:
        """Leaving a step out, aloud."""
        return self._unit(unit, "leave-out", step=step, about=about)

    def withdraw(self, unit: ThingId, event: EventId) -> str:
        """Taking back what was entered wrongly."""
        return self._unit(unit, "withdraw", short(event))

    def go_on(self, unit: ThingId, hold: str) -> str:
        """Where "we go on from this hold point" is sent."""
        return self._unit(unit, "go-on", hold)

    def day(self, unit: ThingId) -> str:
        """Beginning and ending a dive day and an assembly."""
        return self._unit(unit, "day")

    def custody(self, unit: ThingId) -> str:
        """Who has the unit."""
        return self._unit(unit, "custody")

    def more(self, unit: ThingId) -> str:
        """Everything else about the unit."""
        return self._unit(unit, "more")

    def change(self, unit: ThingId, change: str = "", positions: Iterable[str] = ()) -> str:
        """“I changed something”; one change with its positions already picked."""
        return self._unit(unit, "change", change=change, positions=",".join(positions))

    def take_out(self, unit: ThingId, position: str = "") -> str:
        """Taking a part out and leaving its place empty."""
        return self._unit(unit, "take-out", position=position)

    def configuration(self, unit: ThingId) -> str:
        """How the unit is built, every answer at once."""
        return self._unit(unit, "configuration")

    def parts(self, unit: ThingId, position: str = "") -> str:
        """Which thing is in which position."""
        return self._unit(unit, "parts") + (f"#{position}" if position else "")

    def limits(self, unit: ThingId, limit: str = "") -> str:
        """The owner's limits."""
        return self._unit(unit, "limits") + (f"#{limit}" if limit else "")

    def history(self, unit: ThingId, **wanted: str) -> str:
        """The record told, newest first."""
        return self._unit(unit, "history", **wanted)

    def past(self, unit: ThingId, moment: str = "") -> str:
        """The verdict as it was at another moment."""
        return self._unit(unit, "past", at=moment)

    def sheet(self, unit: ThingId, page: str = "", *, only_open: bool = False) -> str:
        """The list for paper, whole or without what counts now."""
        return self._unit(unit, "sheet", page=page, open="yes" if only_open else "")

    def read_aloud(self, unit: ThingId, page: str = "") -> str:
        """The final check in large letters, to be read aloud."""
        return self._unit(unit, "read-aloud", page=page)

    def position(self, unit: ThingId, position: str) -> str:
        """What is in one position, what its label says, and what was in it before."""
        return self._unit(unit, "parts", position)

    def set_up(self, unit: ThingId) -> str:
        """Naming everything that is fitted, in one form."""
        return self._unit(unit, "set-up")

    def limit(self, unit: ThingId, limit: str) -> str:
        """One limit: where it comes from, what it was, setting another value."""
        return self._unit(unit, "limits", limit)

    def holds(self, unit: ThingId) -> str:
        """Faults and incidents, open and released."""
        return self._unit(unit, "holds")

    def sensor_sheet(self, unit: ThingId) -> str:
        """The chart of the oxygen sensors for paper."""
        return self._unit(unit, "sheet", "sensors")

    # --- the record and the catalogue -------------------------------------------------------------------------------

    def event(self, event: EventId) -> str:
        """One event of any kind, with everything that was written down."""
        return self.to("event", short(event))

    def history_of_all(self, **wanted: str) -> str:
        """The record told, of all units."""
        return self.to("history", **wanted)

    def record(self) -> str:
        """Heads and fingerprints, comparing one, checking every byte."""
        return self.to("record")

    def same(self, one: ThingId = "") -> str:
        """Saying that two identities are one thing."""
        return self.to("things", "same", one=one)

    def recorded(self, act: str) -> str:
        """What one sending of a form recorded."""
        return self.to("recorded", act)

    def apart(self, after: str = "") -> str:
        """Everything that lies beside the record."""
        return self.to("record", "apart", after=after)

    def merges(self) -> str:
        """All merges."""
        return self.to("record", "merges")

    def merge(self, key: str) -> str:
        """What one merge changed."""
        return self.to("record", "merges", short(key))

    def carry(self) -> str:
        """Taking a copy out and a file in."""
        return self.to("record", "carry")

    def exchange(self) -> str:
        """Exchanging with a hub, and joining one."""
        return self.to("record", "exchange")

    def join_hub(self) -> str:
        """Where address and code of a hub are sent."""
        return self.to("record", "exchange", "join")

    def exchange_now(self) -> str:
        """Where "exchange now" is sent."""
        return self.to("record", "exchange", "now")

    def leave_hub(self) -> str:
        """Where "forget this hub" is sent."""
        return self.to("record", "exchange", "leave")

    def devices(self) -> str:
        """Who writes in the record, who may exchange through this computer; letting one in."""
        return self.to("record", "devices")

    def revoke_device(self) -> str:
        """Where "admit it no more" is sent."""
        return self.to("record", "devices", "revoke")

    def record_file(self, *, plain: bool = False) -> str:
        """The whole record as a file; packed where it is large, unless it must be plain."""
        return self.to("record", "file", plain="yes" if plain else "")

    def scan(self) -> str:
        """Taking in what another phone shows as a code."""
        return self.to("record", "scan")

    def latest_code(self) -> str:
        """What this device wrote since anybody else has seen it, as a code."""
        return self.to("record", "code")

    def code(self, event: EventId, *, since: EventId = "") -> str:
        """An entry as a code for another phone; with the entries before it from `since` on."""
        return self.to("event", short(event), "code", since=short(since))

    def person(self, person: ThingId) -> str:
        """One person: what they have, in which units numbers are shown to them."""
        return self.to("person", short(person))

    def instrument(self, instrument: ThingId) -> str:
        """One instrument."""
        return self.to("instrument", short(instrument))

    def catalogue_entry(self, kind: str, identifier: str) -> str:
        """One entry of the catalogue: `kind` is steps, evidence, changes, holds or configurations."""
        return self.to("catalogue", kind, identifier)
