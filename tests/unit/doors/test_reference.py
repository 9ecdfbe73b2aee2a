"""The reference pages of events and requirements: made from code and catalogue, current, with nothing missing."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
import pytest

from loopworthy.bootstrap import registry
from loopworthy.doors.report.reference import events_reference, known_events, main, pages, requirements_reference
from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue

DOCS = Path(__file__).parents[3] / "docs" / "reference"


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def page(catalogue: Catalogue) -> str:
    return requirements_reference(catalogue)


@pytest.mark.parametrize("name", ["events.md", "requirements.md"])
def test_the_committed_page_is_current(name: str) -> None:
    committed = (DOCS / name).read_text(encoding="utf-8")
    assert committed == pages()[name], "run: python -m loopworthy.doors.report.reference docs/reference"


def test_the_pages_are_written_into_a_folder(tmp_path: Path) -> None:
    assert main([str(tmp_path)]) == 0
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted(pages())
    assert main([]) == 2
    assert main([str(tmp_path / "none")]) == 2


def test_the_page_of_events_knows_every_kind_that_the_program_is_wired_with() -> None:
    known = known_events()
    assert known.kinds() == registry().kinds()
    assert all(known.payload_type(kind) is registry().payload_type(kind) for kind in known.kinds())


@pytest.mark.parametrize("kind", registry().kinds())
def test_every_field_of_every_payload_stands_on_the_page_with_its_meaning(kind: str) -> None:
    page = events_reference(known_events())
    part = page.partition(f"### `{kind}`, version 1\n")[2].partition("\n### ")[0].partition("\n## ")[0]
    for field in msgspec.structs.fields(registry().payload_type(kind)):
        row = re.search(rf"^\| `{field.encode_name}` \| `[^`]+` \| [^|]+ \| (?P<means>.+) \|$", part, re.MULTILINE)
        assert row is not None, field.name
        assert row["means"] != "–", field.name


def sections_of(page: str, heading: str, below: str) -> dict[str, str]:
    """Title to text of the parts of a heading."""
    whole = page.partition(f"\n## {heading}\n")[2]
    whole = re.split(r"\n## ", whole)[0]
    pieces = re.split(rf"\n{below} (.+)\n", whole)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def test_every_step_stands_on_its_page_with_condition_inputs_limits_and_what_it_does_not_prove(
    catalogue: Catalogue, page: str
) -> None:
    parts = sections_of(page, "Steps, page by page", "####")
    for step in catalogue.steps.values():
        part = parts[f"{step.id} {step.title}"]
        assert f"- *applies*: {step.when.describe()}" in part
        assert step.text in part
        assert step.accept in part
        assert not step.not_proven or f"- *does not prove*: {step.not_proven}" in part
        assert ("**Never skipped.**" in part) is step.never_skipped
        for one in step.inputs:
            row = next(line for line in part.splitlines() if line.startswith(f"| `{one.name}` |"))
            assert one.label in row
            assert not one.unit or f"| {one.unit} |" in row
        for limit in step.limits:
            row = next(line for line in part.splitlines() if line.startswith(f"| `{limit.id}` |"))
            assert limit.value in row
            assert limit.origin.value in row
            assert not limit.source or limit.source.replace("|", "\\|") in row
    assert len(parts) == len(catalogue.steps)
    places = {one.title: page.index(f"\n### {one.title}\n") for one in catalogue.pages}
    assert sorted(places.values()) == list(places.values())


def test_every_step_stands_in_the_mapping_to_the_evidence_that_it_makes(catalogue: Catalogue, page: str) -> None:
    mapping = page.partition("\n## From step to evidence\n")[2].partition("\n## ")[0]
    for step in catalogue.steps.values():
        row = next(line for line in mapping.splitlines() if line.startswith(f"| {step.id} {step.title} |"))
        assert re.findall(r"\[(EV\d+)", row) == list(step.makes)


def test_every_kind_of_evidence_has_its_bounds_and_every_change_that_hits_it(catalogue: Catalogue, page: str) -> None:
    parts = sections_of(page, "Evidence", "###")
    assert len(parts) == len(catalogue.evidence)
    for kind in catalogue.evidence.values():
        part = parts[f"{kind.id} {kind.title}"]
        assert kind.produced_by in part
        assert kind.voided_by in part
        assert f"- *stands for*: {kind.expires} ({kind.origin.value})" in part
        assert kind.expires_after_min is None or f"{kind.expires_after_min} min" in part
        rules = catalogue.rules_hitting[kind.id]
        assert sum(line.startswith("| `") for line in part.splitlines()) == len(rules)
        assert {rule.change for rule in rules} == set(re.findall(r"^\| `([^`]+)`", part, re.MULTILINE))


def test_every_change_has_its_three_columns_questions_and_hold(catalogue: Catalogue, page: str) -> None:
    changes = re.split(r"\n## ", page.partition("\n## Changes\n")[2])[0]
    for change in catalogue.changes.values():
        part = changes.partition(f"### {change.title}\n\n`{change.id}`")[2].partition("\n### ")[0]
        assert part, change.id
        assert "| voids | one reading restores | keeps |" in part
        assert change.keeps in part
        assert not change.hold or change.hold in part
        for question in change.questions:
            assert question.text in part
            assert f"{question.worst} (worst)" in part
        named = set(re.findall(r"EV\d+", part.partition("| --- |")[2]))
        assert named >= {rule.evidence for rule in change.rules}


def test_holds_bounds_and_origins_are_all_there(catalogue: Catalogue, page: str) -> None:
    holds = sections_of(page, "Hold points", "###")
    assert [title.split()[0] for title in holds] == [one.id for one in catalogue.holds]
    for hold in catalogue.holds:
        assert re.findall(r"^\| \[(EV\d+)", holds[f"{hold.id} {hold.title}"], re.MULTILINE) == list(hold.needs)
    bounds = page.partition("\n## Measured bounds\n")[2]
    for bound in catalogue.bounds.values():
        assert f"| `{bound.id}` | {bound.limit} {bound.unit} | `{bound.acts_as}` |" in bounds
    assert all(origin in page for origin in ("common practice", "from memory: confirm", "set by owner"))


def test_every_link_within_the_page_leads_to_a_heading(page: str) -> None:
    headings = re.findall(r"^#+ (.+)$", page, re.MULTILINE)
    kept = {
        "".join(letter for letter in text.lower() if letter.isalnum() or letter in " -_").replace(" ", "-")
        for text in headings
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", page)) <= kept
