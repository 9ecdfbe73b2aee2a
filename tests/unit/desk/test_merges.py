"""What a merge changed is told from the record: what each saw, what fell and by whose action, on every device alike."""

from __future__ import annotations

import pytest

from loopworthy.desk import mending, merges
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.merges import NOT_YET, MergeChanges, UnitChanges
from loopworthy.judgement.states import State
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.errors import UnknownNameError
from loopworthy.vocabulary.identity import EventId
from loopworthy.vocabulary.time import Moment
from tests.unit.desk.two_devices import carry, joined, together, two_devices
from tests.web.conftest import Shop, make_shop

LAST_HOLD = "H7"


def opens_loop(shop: Shop, *, at: Moment | None = None) -> EventId:
    return record_change(shop.workplace, shop.unit, Declared(change="loop-opened"), person=shop.reader, occurred_at=at)[
        0
    ].id


def newest(shop: Shop) -> MergeChanges:
    return merges.merge_changes(shop.workplace, merges.merges(shop.workplace)[0].key)


def about_unit(changes: MergeChanges) -> UnitChanges:
    (one,) = changes.units
    return one


def words(changes: UnitChanges) -> tuple[Word | None, Word]:
    before = changes.shift.before
    return (before.word if before is not None else None), changes.shift.after.word


def test_what_another_opened_meanwhile_voids_and_both_tell_the_same_verdict() -> None:
    pim, juno = two_devices()
    opened = opens_loop(juno)
    here, there = together(pim, juno)
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit)
    changed = about_unit(merges.merge_changes(pim.workplace, here.merge))
    assert words(changed) == (Word.READY, Word.UNPROVEN)
    fallen = [one for one in changed.shift.shifts if one.fell]
    assert fallen
    standings = [one.after.standing for one in fallen if one.after is not None]
    assert {one.cause for one in standings if one.state is State.VOID} == {opened}
    assert [one.id for one in changed.came_in] == [opened]
    (side,) = changed.sides
    assert side.device_name == "Juno's phone"
    assert side.verdict is not None
    assert side.verdict.word is Word.UNPROVEN
    assert there.report.taken == 0 or not merges.merge_changes(juno.workplace, there.merge).units


def test_a_hold_passed_without_knowing_what_was_changed_elsewhere_is_named_with_that_change() -> None:
    pim, juno = two_devices()
    juno.clock.advance(1)
    opened = opens_loop(juno)
    pim.clock.advance(2)
    passing = mending.pass_hold(pim.workplace, pim.unit, LAST_HOLD, person=pim.reader)
    together(pim, juno)
    for shop in (pim, juno):
        (sight,) = about_unit(newest(shop)).sights
        assert sight.passing.id == passing
        assert (sight.said, sight.found) == ("ready", "unproven")
        assert sight.unknown == (opened,)


def test_a_hold_passed_before_the_change_agrees_still() -> None:
    pim, juno = two_devices()
    pim.clock.advance(1)
    mending.pass_hold(pim.workplace, pim.unit, LAST_HOLD, person=pim.reader)
    juno.clock.advance(3)
    opens_loop(juno)
    together(pim, juno)
    assert about_unit(newest(pim)).sights == ()


def test_a_hold_passed_by_somebody_who_knew_is_no_matter_of_the_merge() -> None:
    pim, juno = two_devices()
    opens_loop(pim)
    pim.clock.advance(5)
    together(pim, juno)
    passed = merges.merges(juno.workplace)[0].key
    assert about_unit(merges.merge_changes(juno.workplace, passed)).sights == ()


def test_a_change_declared_late_with_an_earlier_time_voids() -> None:
    pim, juno = two_devices()
    before = juno.clock()
    juno.clock.advance(90)
    opened = opens_loop(juno, at=before)
    here, _ = together(pim, juno)
    changed = about_unit(merges.merge_changes(pim.workplace, here.merge))
    assert changed.shift.after.word is Word.UNPROVEN
    fallen = {one.after.standing.cause for one in changed.shift.shifts if one.fell and one.after is not None}
    assert opened in fallen


def test_a_reading_that_came_in_late_never_rescues_what_was_opened_since() -> None:
    pim = make_shop(device_name="Pim's phone")
    juno = joined(pim, "Juno's phone")
    juno.walk()
    juno.clock.advance(1)
    assert juno.workplace.verdict(juno.unit).word is Word.READY
    opens_loop(pim)  # at the beginning of the day, and Juno did not know
    here, _ = together(pim, juno)
    changed = about_unit(merges.merge_changes(pim.workplace, here.merge))
    assert words(changed) == (Word.UNPROVEN, Word.UNPROVEN)
    assert changed.readings
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit)
    assert pim.workplace.verdict(pim.unit).word is Word.UNPROVEN


def test_new_evidence_is_told_as_what_stands_now() -> None:
    pim = make_shop(device_name="Pim's phone")
    juno = joined(pim, "Juno's phone")
    juno.walk()
    here, _ = together(pim, juno)
    changed = about_unit(merges.merge_changes(pim.workplace, here.merge))
    assert words(changed) == (Word.UNPROVEN, Word.READY)
    assert all(one.rose for one in changed.shift.shifts if one.after is not None)


def test_a_merge_is_found_weeks_later_and_judged_for_its_own_moment() -> None:
    pim, juno = two_devices()
    opens_loop(juno)
    together(pim, juno)
    pim.clock.advance(1)
    opens_loop(pim)
    told = merges.merge_changes(pim.workplace, merges.merges(pim.workplace)[0].key)
    for _ in range(3):
        pim.clock.advance(7 * 24 * 60)
        opens_loop(pim)
    (again,) = [one for one in merges.merges(pim.workplace) if one.own]
    assert words(about_unit(merges.merge_changes(pim.workplace, again.key))) == words(about_unit(told))
    assert again.at.epoch_ms <= pim.clock().epoch_ms - 20 * 24 * 3_600_000


def test_a_merge_on_another_device_is_told_alike_where_its_entries_arrived() -> None:
    pim, juno = two_devices()
    opens_loop(juno)
    together(pim, juno)
    opens_loop(pim)
    together(pim, juno)
    (by_pim,) = [one for one in merges.merges(pim.workplace) if one.own]
    there = next(one for one in merges.merges(juno.workplace) if one.key == by_pim.key)
    assert (there.own, there.device_name, there.brought_by) == (False, "Pim's phone", by_pim.brought_by)
    ours = about_unit(merges.merge_changes(pim.workplace, by_pim.key))
    theirs = about_unit(merges.merge_changes(juno.workplace, by_pim.key))
    assert ours.shift == theirs.shift
    assert [one.id for one in ours.came_in] == [one.id for one in theirs.came_in]


def test_taking_the_same_file_again_is_no_merge() -> None:
    pim, juno = two_devices()
    opens_loop(juno)
    together(pim, juno)
    count = len([one for one in merges.merges(pim.workplace) if one.own])
    again = carry(juno, pim)
    assert again.merge == ""
    assert len([one for one in merges.merges(pim.workplace) if one.own]) == count


def test_the_beginning_of_a_copy_is_no_change() -> None:
    _, juno = two_devices()
    (first,) = [one for one in merges.merges(juno.workplace) if one.own]
    assert first.first
    assert merges.merge_changes(juno.workplace, first.key).units == ()
    assert merges.not_looked_at(juno.workplace) == 0


def test_what_came_in_is_announced_until_somebody_looks() -> None:
    pim, juno = two_devices()
    assert merges.not_looked_at(pim.workplace) == 0
    opens_loop(juno)
    together(pim, juno)
    assert merges.not_looked_at(pim.workplace) == 1
    opens_loop(pim)
    assert merges.not_looked_at(pim.workplace) == 1
    merge = next(one for one in merges.merges(pim.workplace) if one.own)
    assert not merge.looked_at
    merges.look_at(pim.workplace, merge.key)
    assert merges.not_looked_at(pim.workplace) == 0
    opens_loop(juno)
    together(pim, juno)
    assert merges.not_looked_at(pim.workplace) == 1


@pytest.mark.parametrize("key", ["0123456789ab", "not an identity", "", NOT_YET])
def test_what_is_no_merge_is_refused(key: str) -> None:
    pim, _ = two_devices()
    with pytest.raises(UnknownNameError, match="merge|event"):
        merges.merge_changes(pim.workplace, key)
