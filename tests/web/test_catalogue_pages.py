"""The catalogue can be read in full: every entry has its page, with where its rules and limits come from."""

from __future__ import annotations

import tomllib

import pytest

from loopworthy.doors.web.pages.catalogue import Overview
from loopworthy.doors.web.pages.catalogue_entries import ChangePage, EntryPage
from loopworthy.judgement.catalogue.model import Effect
from loopworthy.unit.configuration import load_configuration, ready_configurations
from tests.web.conftest import Shop
from tests.web.visitor import Visitor


def pairs_of(context: EntryPage) -> dict[str, str]:
    return {name: value for block in context.blocks for name, value in block.pairs}


def links_of(context: EntryPage) -> dict[str, list[str]]:
    return {block.title: [one.id for one in block.links] for block in context.blocks if block.links}


def test_the_overview_lists_everything_once(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get("/catalogue").context
    assert isinstance(context, Overview)
    listed = {name: [one.id for shelf in shelves for one in shelf.entries] for name, _, shelves in context.sections}
    catalogue = shop.workplace.catalogue
    assert sorted(listed["steps"]) == sorted(catalogue.steps)
    assert listed["evidence"] == list(catalogue.evidence)
    assert sorted(listed["changes"]) == sorted(catalogue.changes)
    assert listed["holds"] == [one.id for one in catalogue.holds]
    assert listed["configurations"] == list(ready_configurations())
    assert len(context.bounds) == len(catalogue.bounds)
    assert (context.revision, context.digest) == (catalogue.revision, catalogue.digest[:12])


def test_an_entry_is_found_by_its_number_or_its_words(visitor: Visitor) -> None:
    assert [one.id for one in visitor.get("/catalogue?find=c06").context.found] == ["C06"]
    found = {one.id for one in visitor.get("/catalogue?find=battery").context.found}
    assert {"EV40", "battery-swapped"} <= found


def test_a_step_says_what_is_entered_which_limit_from_where_and_what_it_does_not_prove(
    shop: Shop, visitor: Visitor
) -> None:
    context = visitor.get("/catalogue/steps/C06").context
    assert isinstance(context, EntryPage)
    step = shop.workplace.catalogue.step("C06")
    pairs = pairs_of(context)
    assert context.lead == step.text
    assert context.never_skipped
    assert pairs["It does not prove"] == step.not_proven
    assert pairs["In oxygen"] == "a number mV"
    tolerance = step.limit("tolerance")
    assert tolerance is not None
    told = next(value for value in pairs.values() if value.startswith("within 2 mV"))
    assert tolerance.origin.value in told
    assert tolerance.source in told
    assert links_of(context)["It makes"] == list(step.makes)


def test_every_limit_of_every_step_is_shown_with_its_origin_and_source(shop: Shop, visitor: Visitor) -> None:
    for step in shop.workplace.catalogue.steps.values():
        text = visitor.get(f"/catalogue/steps/{step.id}").text
        for limit in step.limits:
            assert limit.origin.value in text, limit.id
            assert " ".join(limit.source.split()) in text, limit.id


def test_evidence_names_its_steps_its_holds_and_what_takes_it_away(shop: Shop, visitor: Visitor) -> None:
    catalogue = shop.workplace.catalogue
    for kind in catalogue.evidence.values():
        context = visitor.get(f"/catalogue/evidence/{kind.id}").context
        links = links_of(context)
        assert links.get("Steps that make it", []) == [one.id for one in catalogue.steps_making[kind.id]]
        void = {rule.change for rule in catalogue.rules_hitting[kind.id] if rule.effect is Effect.VOID}
        assert set(links.get("Changes that take it away", [])) == void
        assert kind.origin.value in pairs_of(context)["Stands for"]


def test_a_change_has_its_three_columns_as_the_rules_have_them(shop: Shop, visitor: Visitor) -> None:
    for change in shop.workplace.catalogue.changes.values():
        context = visitor.get(f"/catalogue/changes/{change.id}").context
        assert isinstance(context, ChangePage)
        for effect, cells in (
            (Effect.VOID, context.void),
            (Effect.RECHECK, context.recheck),
            (Effect.DISPROVE, context.disproved),
        ):
            rules = [rule for rule in change.rules if rule.effect is effect]
            assert [cell.title.split()[0] for cell in cells] == [rule.evidence for rule in rules], change.id
            assert all(("if “" in cell.told) == bool(rule.condition) for cell, rule in zip(cells, rules, strict=True))
        assert (context.keeps, context.hold, context.source) == (change.keeps, change.hold, change.source)
        assert len(context.questions) == len(change.questions)


def test_a_hold_point_names_the_evidence_that_it_asks_for(shop: Shop, visitor: Visitor) -> None:
    for hold in shop.workplace.catalogue.holds:
        context = visitor.get(f"/catalogue/holds/{hold.id}").context
        assert links_of(context)["Evidence that it asks for"] == list(hold.needs)


@pytest.mark.parametrize("name", sorted(ready_configurations()))
def test_a_ready_configuration_can_be_taken_as_a_file_and_sent_back(visitor: Visitor, name: str) -> None:
    known = ready_configurations()[name]
    context = visitor.get(f"/catalogue/configurations/{name}").context
    assert context.id == known.revision
    answered = visitor.get(context.file_href)
    assert answered.headers["content-type"].startswith("application/toml")
    assert tomllib.loads(answered.html)["name"] == name
    assert load_configuration(answered.html.encode(), "sent.toml") == known


@pytest.mark.parametrize(
    "address",
    [
        "/catalogue/steps/Z99",
        "/catalogue/evidence/EV99",
        "/catalogue/changes/nothing",
        "/catalogue/holds/H99",
        "/catalogue/configurations/of-a-maker",
        "/catalogue/configurations/of-a-maker.toml",
    ],
)
def test_what_the_catalogue_does_not_have_is_not_here(visitor: Visitor, address: str) -> None:
    assert visitor.get(address).status == 404
