"""The record carried by hand: a file, or a few entries as lines short enough for codes; checked, and never doubled."""

from __future__ import annotations

import pytest

from loopworthy.desk import carrying, merges
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.people import add_person
from loopworthy.judgement.verdict import Word
from loopworthy.record.scraps import MOST_CHARACTERS, lines_in
from loopworthy.vocabulary.errors import InputError
from tests.unit.desk.two_devices import carry, joined, two_devices
from tests.web.conftest import Shop, make_shop


def opens_loop(shop: Shop) -> str:
    return record_change(shop.workplace, shop.unit, Declared(change="loop-opened"), person=shop.reader)[0].id


def new_entries(shop: Shop) -> tuple[str, ...]:
    own = carrying.not_seen_elsewhere(shop.workplace)
    assert own is not None
    return carrying.scraps_of(shop.workplace, carrying.entries_up_to(shop.workplace, own[1], since=own[0]))


def test_one_change_goes_over_as_one_line_and_voids_there() -> None:
    pim, juno = two_devices()
    opened = opens_loop(juno)
    (line,) = carrying.scraps_of(juno.workplace, carrying.entries_up_to(juno.workplace, opened))
    assert len(line) <= MOST_CHARACTERS
    taken = carrying.take_in(pim.workplace, lines_in(line, pim.workplace.record.store))
    assert taken.report.waiting  # Juno's chain had begun with an entry that Pim has not
    assert pim.workplace.verdict(pim.unit).word is Word.READY
    for line in new_entries(juno):
        taken = carrying.take_in(pim.workplace, lines_in(line, pim.workplace.record.store))
    assert taken.report.waiting == ()
    assert pim.workplace.verdict(pim.unit).word is Word.UNPROVEN
    (changed,) = merges.merge_changes(pim.workplace, taken.merge).units
    assert opened in {one.id for one in changed.came_in}


def test_taking_the_same_line_twice_doubles_nothing() -> None:
    pim, juno = two_devices()
    opens_loop(juno)
    for _ in range(2):
        for line in new_entries(juno):
            carrying.take_in(pim.workplace, lines_in(line, pim.workplace.record.store))
    assert pim.workplace.record.store.count() == juno.workplace.record.store.count()


def test_what_others_have_seen_need_not_be_shown_again() -> None:
    pim, juno = two_devices()
    opens_loop(juno)
    carry(juno, pim)
    opens_loop(pim)
    carry(pim, juno)
    opened = opens_loop(juno)
    assert carrying.not_seen_elsewhere(juno.workplace) == (opened, opened)


def test_a_person_goes_over_with_the_name() -> None:
    pim, juno = two_devices()
    person = add_person(juno.workplace, "Odo Example")
    for line in new_entries(juno):
        carrying.take_in(pim.workplace, lines_in(line, pim.workplace.record.store))
    assert pim.workplace.name(person) == "Odo Example"


def test_several_lines_are_made_where_one_is_too_short_and_taken_in_any_order() -> None:
    pim, juno = two_devices()
    for _ in range(60):
        opens_loop(juno)
    lines = new_entries(juno)
    assert 1 < len(lines) <= carrying.MOST_SCRAPS
    for line in reversed(lines):
        carrying.take_in(pim.workplace, lines_in(line, pim.workplace.record.store))
    assert pim.workplace.record.store.waiting() == ()
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit)


def test_too_much_for_codes_names_the_way_by_file() -> None:
    _, juno = two_devices()
    for _ in range(240):
        opens_loop(juno)
    with pytest.raises(InputError, match="4 codes") as refused:
        new_entries(juno)
    assert refused.value.next_step == "Carry the record by file"


def test_entries_up_to_one_are_those_of_its_own_device() -> None:
    pim, juno = two_devices()
    first, second = opens_loop(juno), opens_loop(juno)
    found = carrying.entries_up_to(juno.workplace, second, since=first)
    assert [one.id for one in found] == [first, second]
    foreign = pim.workplace.record.heads()[pim.workplace.record.device].event
    assert [one.id for one in carrying.entries_up_to(juno.workplace, second, since=foreign)] == [second]
    assert (
        len(carrying.entries_up_to(juno.workplace, second, more=100))
        == juno.workplace.record.get(second).envelope.sequence
    )


def test_another_record_is_refused_and_nothing_is_taken() -> None:
    pim, stranger = two_devices()[0], make_shop()
    before = pim.workplace.record.store.count()
    with pytest.raises(InputError, match="record"):
        carry(stranger, pim)
    assert pim.workplace.record.store.count() == before


def test_a_file_cut_short_is_told_and_the_rest_comes_with_the_whole_one() -> None:
    pim = make_shop(device_name="Pim's phone")
    juno = joined(pim, "Juno's phone")
    juno.walk()
    lines = list(carrying.take_out(juno.workplace))
    cut = carrying.take_in(pim.workplace, lines[: len(lines) // 2])
    assert not cut.report.whole
    carrying.take_in(pim.workplace, lines)
    pim.clock.wait_until(juno.clock())
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit)
