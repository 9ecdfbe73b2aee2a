"""The texts of the doors: found by key, filled completely, refused when something is missing."""

from __future__ import annotations

import re

import pytest

from loopworthy.doors.texts import LANGUAGES, Texts
from loopworthy.vocabulary.errors import FileEntryError, InputError, UnknownNameError


def small(toml: str) -> Texts:
    return Texts.from_toml("en", toml, file="small.toml")


def test_a_text_is_filled_with_its_values() -> None:
    texts = small('[parts]\nuntil = "until {until}: {reason}"\n')
    assert texts.say("parts.until", until="08:52", reason="oxygen valve look") == "until 08:52: oxygen valve look"


def test_a_value_is_shown_as_it_is_even_when_it_holds_braces() -> None:
    assert small('[a]\nb = "typed {typed}"').say("a.b", typed="{typed}") == "typed {typed}"


def test_a_missing_text_names_itself_and_its_neighbours() -> None:
    with pytest.raises(UnknownNameError, match=r"'parts\.untill'.*parts\.until"):
        small('[parts]\nuntil = "until"').say("parts.untill")


def test_a_text_of_an_unknown_section_says_what_to_do() -> None:
    with pytest.raises(UnknownNameError, match="Add its section"):
        small('[parts]\nuntil = "until"').say("sheet.until")


def test_a_value_left_out_is_refused() -> None:
    with pytest.raises(InputError, match="exactly these: until"):
        small('[parts]\nuntil = "until {until}"').say("parts.until")


def test_a_value_without_a_place_is_refused() -> None:
    with pytest.raises(InputError, match="exactly these: none"):
        small('[parts]\nhome = "All units"').say("parts.home", unit="A")


@pytest.mark.parametrize(
    "text", ["{}", "{0}", "{unit.__class__}", "{unit[0]}", "{unit!r}", "{unit:>9}"], ids=lambda text: text
)
def test_a_placeholder_that_is_not_a_plain_name_is_refused(text: str) -> None:
    with pytest.raises(FileEntryError, match="plain name"):
        small(f'[parts]\nodd = "{text}"')


def test_braces_that_do_not_close_are_refused_with_file_and_entry() -> None:
    with pytest.raises(FileEntryError, match=r"en\.toml: parts: odd"):
        small('[parts]\nodd = "until {until"')


@pytest.mark.parametrize("toml", ['a = "text"', "[parts]\na = 3", '[parts]\na = " "', '[parts.deep]\na = "x"'])
def test_anything_but_flat_tables_of_texts_is_refused(toml: str) -> None:
    with pytest.raises(FileEntryError):
        small(toml)


def test_a_section_written_twice_is_refused() -> None:
    with pytest.raises(FileEntryError, match="small.toml"):
        small('[a]\nb = "c"\n[a]\nd = "e"')


def test_a_language_that_does_not_ship_is_refused_with_the_known_ones() -> None:
    with pytest.raises(UnknownNameError, match="Known: en"):
        Texts.load("xx")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_shipped_text_can_be_said_and_leaves_no_placeholder_behind(language: str) -> None:
    texts = Texts.load(language)
    assert texts.keys()
    for key in texts.keys():
        filled = texts.say(key, **dict.fromkeys(texts.placeholders(key), "7"))
        assert not re.search(r"[{}]", filled), key


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_language_has_the_same_keys_and_placeholders_as_the_first(language: str) -> None:
    first, other = Texts.load(LANGUAGES[0]), Texts.load(language)
    assert other.keys() == first.keys()
    assert all(other.placeholders(key) == first.placeholders(key) for key in first.keys())


def test_a_language_is_read_once() -> None:
    assert Texts.load("en") is Texts.load("en")


def test_the_verdict_has_exactly_its_three_words() -> None:
    say = Texts.load("en").say
    assert [say(f"parts.verdict_{word}") for word in ("ready", "unproven", "stop")] == ["ready", "unproven", "stop"]


def test_the_nine_states_have_nine_different_words_and_meanings() -> None:
    texts = Texts.load("en")
    words = {key: texts.say(key) for key in texts.keys() if key.startswith("states.")}
    assert len(words) == 18
    assert len(set(words.values())) == 18
