"""What is kept parsed is what the text says, or it is not used: stale, damaged, foreign and unwritable alike."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest

from loopworthy.judgement.catalogue.load import load_catalogue, shipped_texts
from loopworthy.vocabulary import kept_tables
from loopworthy.vocabulary.kept_tables import tables

TEXT = 'a = 1\n[b.c]\nwords = ["ä", "“quoted”"]\nyes = true\n'


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every text that is parsed rather than taken from what is kept."""
    seen: list[str] = []
    loads = tomllib.loads

    def watched(text: str) -> dict[str, object]:
        seen.append(text)
        return loads(text)

    monkeypatch.setattr(tomllib, "loads", watched)
    return seen


def test_the_second_reading_is_of_what_was_kept_and_equal(tmp_path: Path, parsed: list[str]) -> None:
    first = tables("one", TEXT, folder=tmp_path / "new" / "folder")
    second = tables("one", TEXT, folder=tmp_path / "new" / "folder")
    assert first == second == {"a": 1, "b": {"c": {"words": ["ä", "“quoted”"], "yes": True}}}
    assert parsed == [TEXT]
    assert [one.name for one in (tmp_path / "new" / "folder").iterdir()] == ["one.tables"]


def test_another_text_of_that_name_is_parsed_and_takes_its_place(tmp_path: Path, parsed: list[str]) -> None:
    tables("one", TEXT, folder=tmp_path)
    changed = TEXT.replace("1", "2")
    assert tables("one", changed, folder=tmp_path)["a"] == 2
    assert tables("one", changed, folder=tmp_path)["a"] == 2
    assert parsed == [TEXT, changed]


def test_whichever_byte_of_it_is_altered_the_text_is_parsed_anew(tmp_path: Path, parsed: list[str]) -> None:
    wanted = tables("one", TEXT, folder=tmp_path)
    place = tmp_path / "one.tables"
    whole = place.read_bytes()
    for spot in range(len(whole)):
        place.write_bytes(whole[:spot] + bytes([whole[spot] ^ 1]) + whole[spot + 1 :])
        parsed.clear()
        assert tables("one", TEXT, folder=tmp_path) == wanted
        assert parsed == [TEXT], spot


@pytest.mark.parametrize("cut", [0, 1, 70, 140, -1])
def test_one_that_was_cut_short_is_not_used(tmp_path: Path, parsed: list[str], cut: int) -> None:
    wanted = tables("one", TEXT, folder=tmp_path)
    place = tmp_path / "one.tables"
    place.write_bytes(place.read_bytes()[:cut])
    assert tables("one", TEXT, folder=tmp_path) == wanted
    assert parsed == [TEXT, TEXT]


def test_one_that_somebody_else_put_there_is_not_used(
    tmp_path: Path, parsed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tables("one", TEXT, folder=tmp_path)
    monkeypatch.setattr(os, "getuid", lambda: -1)
    tables("one", TEXT, folder=tmp_path)
    assert parsed == [TEXT, TEXT]


def test_where_nothing_can_be_written_the_text_is_parsed_each_time(tmp_path: Path, parsed: list[str]) -> None:
    (tmp_path / "file").write_text("no folder")
    for _ in range(2):
        assert tables("one", TEXT, folder=tmp_path / "file" / "cache")["a"] == 1
    assert parsed == [TEXT, TEXT]


def test_what_would_come_back_as_something_else_is_not_kept(tmp_path: Path) -> None:
    text = "day = 2026-06-14\n"
    assert tables("one", text, folder=tmp_path) == tomllib.loads(text)
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_toml_is_refused_and_not_kept(tmp_path: Path) -> None:
    with pytest.raises(tomllib.TOMLDecodeError):
        tables("one", "a = = 1", folder=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_without_a_home_nothing_is_kept(monkeypatch: pytest.MonkeyPatch, parsed: list[str]) -> None:
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)

    def nobody() -> Path:
        raise RuntimeError

    monkeypatch.setattr(Path, "home", nobody)
    for _ in range(2):
        assert tables("one", TEXT)["a"] == 1
    assert parsed == [TEXT, TEXT]


def test_the_catalogue_is_the_same_kept_and_parsed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, parsed: list[str]
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    from_text = load_catalogue(shipped_texts())
    parsed.clear()
    assert load_catalogue() == from_text
    assert len(parsed) == len(shipped_texts())
    parsed.clear()
    assert load_catalogue() == from_text
    assert parsed == []
    assert kept_tables.cache_folder() == tmp_path / "loopworthy"
