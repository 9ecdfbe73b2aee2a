"""What merges changed, in words, the same for the web and the command line."""

from __future__ import annotations

from loopworthy.desk.history import LATE_MS
from loopworthy.desk.merges import Merge, MergeChanges, UnitChanges, device_names
from loopworthy.doors.telling import Telling, Told
from loopworthy.doors.words import Words
from loopworthy.judgement.merged import Shift, Sight
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Requirement, Verdict, Word
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, EventId, short


class MergeWords:
    """Tells merges.

    Parameters
    ----------
    words : Words
        Of the language, the reader's display units and the moment.
    """

    def __init__(self, words: Words) -> None:
        self.words = words
        self.say = words.say
        self.telling = Telling(words)
        self._names = device_names(words.workplace)

    def device(self, device: DeviceId) -> str:
        """What people call a device."""
        return self._names.get(device, short(device))

    def lead(self, merge: Merge) -> str:
        """Who took in how much, and by when."""
        values: dict[str, object] = {"when": self.words.clock.when(merge.at.epoch_ms)}
        if not merge.own:
            values["device"] = merge.device_name
        key = "own" if merge.own else "other"
        if merge.count == 1:
            return self.say(f"merges.{key}_one", **values)
        return self.say(f"merges.{key}", count=merge.count, **values)

    def brought(self, merge: Merge) -> str:
        """Whose entries came in."""
        parts = (self.say("merges.brought_part", device=name, count=count) for name, count in merge.brought_by)
        return self.say("merges.brought", parts=", ".join(parts))

    def notes(self, changes: MergeChanges) -> tuple[str, ...]:
        """Catalogues that came in, forks, what lies beside the record and why, and lines that were refused."""
        notes = [self.say("merges.catalogue")] if changes.catalogues else []
        notes += [self.say("merges.fork", device=self.device(one.device), number=one.sequence) for one in changes.forks]
        beside = changes.beside
        for key, count in (("missing", len(beside.missing)), ("not_vouched", len(beside.not_vouched))):
            if count:
                notes.append(self.say(f"merges.{key}", count=count))
        if beside.ahead:
            hours = max(one.ahead_ms for one in beside.ahead) // 3_600_000
            notes.append(self.say("merges.ahead", count=len(beside.ahead), hours=hours))
        if beside.due:
            notes.append(self.say("merges.due", count=len(beside.due)))
        notes += [self.say("merges.refused", line=line) for line in changes.refused]
        return tuple(notes)

    # --- one unit -----------------------------------------------------------------------------------------------------

    def word(self, word: str) -> str:
        """A verdict's word."""
        return self.say(f"parts.verdict_{word}") if word in set(Word) else word

    def summary(self, changes: UnitChanges) -> str:
        """Before and after in one sentence."""
        before, after = changes.shift.before, changes.shift.after
        word = self.word(after.word)
        if before is None:
            return self.say("merges.new_unit", after=word)
        if before.word is after.word:
            return self.say("merges.still", word=word)
        return self.say("merges.was_is", before=self.word(before.word), after=word)

    def sides(self, merge: Merge, changes: UnitChanges) -> tuple[tuple[str, Verdict | None], ...]:
        """The device that took in, the others, and all together, each with its verdict."""
        taker = self.say("merges.this_device") if merge.own else merge.device_name
        others = tuple((one.device_name, one.verdict) for one in changes.sides)
        return ((taker, changes.shift.before), *others, (self.say("merges.together"), changes.shift.after))

    def side(self, verdict: Verdict | None) -> str:
        """What one of them had, in a sentence."""
        if verdict is None:
            return self.say("merges.not_known")
        if verdict.word is Word.READY and verdict.until_ms is not None:
            return self.say("merges.ready_until", until=self.words.clock.when(verdict.until_ms))
        return self.words.verdict_sentence(verdict)

    def saw(self, sight: Sight) -> str:
        """Who went on from which hold, when, where and on which verdict."""
        envelope = sight.passing.envelope
        return self.say(
            "merges.saw",
            who=self.words.workplace.name(envelope.read_by) or self.say("words.nobody_named"),
            hold=self.telling.hold(sight.hold),
            when=self.words.clock.when(envelope.occurred_at.epoch_ms),
            device=self.device(envelope.device),
            word=self.word(sight.said),
        )

    def found(self, sight: Sight) -> str:
        """The verdict for that moment with all that is known."""
        when = self.words.clock.when(sight.passing.envelope.occurred_at.epoch_ms)
        return self.say("merges.saw_found", when=when, word=self.word(sight.found))

    def fallen(self, shifts: tuple[Shift, ...]) -> tuple[tuple[State, Event | None, tuple[tuple[str, str], ...]], ...]:
        """What no longer counts: its state, the entry behind it, what it is about and why where no entry says it.

        What the most rests on comes first, what no single entry is behind last.
        """
        groups: dict[tuple[State, EventId], list[Requirement]] = {}
        for one in shifts:
            if one.fell and one.after is not None:
                groups.setdefault((one.after.standing.state, one.after.standing.cause), []).append(one.after)
        told = []
        for (state, cause), requirements in groups.items():
            event = self.event(cause)
            rows = dict.fromkeys(
                (
                    self.words.requirement_title(one),
                    "" if event is not None else self.words.standing_sentence(one.standing, one.step),
                )
                for one in requirements
            )
            told.append((state, event, tuple(rows)))
        return tuple(sorted(told, key=lambda one: (one[1] is None, -len(one[2]))))

    def risen(self, shifts: tuple[Shift, ...]) -> tuple[tuple[str, Event], ...]:
        """What counts now and did not before, with the entry that makes it count."""
        found: dict[str, Event] = {}
        for one in shifts:
            if not one.rose or one.after is None:
                continue
            standing = one.after.standing
            event = self.event(standing.item.event if standing.item is not None else standing.cause)
            if event is not None:
                found.setdefault(self.words.requirement_title(one.after), event)
        return tuple(found.items())

    # --- entries ------------------------------------------------------------------------------------------------------

    def event(self, identity: EventId) -> Event | None:
        """An entry, if it is here."""
        try:
            return self.words.workplace.record.get(identity) if identity else None
        except LoopworthyError:
            return None

    def told(self, event: Event) -> Told:
        """What an entry says."""
        return self.telling.told(event)

    def by(self, event: Event) -> str:
        """By whom, when and on which device; and when it was written down, if later."""
        envelope = event.envelope
        when = self.words.clock.when
        by = self.say(
            "merges.by",
            who=self.words.workplace.name(envelope.read_by or envelope.typed_by) or self.say("words.nobody_named"),
            when=when(envelope.occurred_at.epoch_ms),
            device=self.device(envelope.device),
        )
        if envelope.recorded_at.epoch_ms - envelope.occurred_at.epoch_ms > LATE_MS:
            return self.say("merges.written_late", by=by, at=when(envelope.recorded_at.epoch_ms))
        return by
