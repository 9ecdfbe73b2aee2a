"""The colours of the pages can be told apart: contrast by the formula of WCAG 2.2, in sun and at dusk.

Formula: W3C, Web Content Accessibility Guidelines (WCAG) 2.2, terms "relative luminance" and "contrast ratio"; levels
from its success criteria 1.4.6 (text, enhanced: 7:1) and 1.4.11 (edges of what is touched: 3:1). From memory, and held
against the ratio that the term itself names for black on white (21:1).
"""

from __future__ import annotations

import re
from functools import cache
from importlib import resources

import pytest

TEXT, EDGE = 7.0, 3.0
SHADES = ("sun", "dusk", "dusk by the phone")

ON_GROUNDS = [
    ("--ink", "--paper"), ("--ink", "--paper-set"), ("--ink", "--notice"), ("--ink", "--slate-gap"),
    ("--ink-quiet", "--paper"), ("--ink-quiet", "--paper-set"), ("--ink-on", "--ink"),
    ("--layout", "--paper"), ("--layout", "--paper-set"), ("--layout-on", "--layout-fill"),
    ("--madder", "--paper"), ("--madder", "--paper-set"), ("--madder-on", "--madder-fill"),
    ("--slate", "--paper"),
]  # fmt: skip
"""What is written, and on what."""
EDGES = [("--rule", "--paper"), ("--focus", "--paper"), ("--slate", "--slate-gap"), ("--layout-fill", "--layout-on")]

IN_THE_BOOK = {
    "--ink": (17.4, 16.2), "--ink-quiet": (9.3, 11.3), "--layout": (9.8, 10.4), "--madder": (9.2, 10.9),
    "--slate": (7.6, 8.8), "--rule": (4.7, 6.2),
}  # fmt: skip
"""Ratios on paper in sun and at dusk, as docs/identity.md tells them."""


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour written as #rrggbb, 0 to 1."""
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@cache
def tokens(shade: str) -> dict[str, str]:
    """The colours of a shade, by name; what it does not set stands as in the sun."""
    css = resources.files("loopworthy.doors.web").joinpath("static/css/tokens.css").read_text(encoding="utf-8")
    heads = {"sun": r"^:root \{", "dusk by the phone": r":not\(\[data-shade=\"sun\"\]\) \{", "dusk": r"=\"dusk\"\] \{"}
    match = re.search(rf"{heads[shade]}(.*?)\}}", css, re.DOTALL | re.MULTILINE)
    assert match is not None, shade
    found = dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6});", match.group(1)))
    return found if shade == "sun" else {**tokens("sun"), **found}


def test_the_formula_gives_what_it_says_for_black_and_white() -> None:
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == 1.0
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)  # the lightest grey for 4.5:1, from memory


@pytest.mark.parametrize("shade", SHADES)
@pytest.mark.parametrize(("text", "ground"), ON_GROUNDS)
def test_text_can_be_read_by_tired_eyes(text: str, ground: str, shade: str) -> None:
    assert contrast(tokens(shade)[text], tokens(shade)[ground]) >= TEXT


@pytest.mark.parametrize("shade", SHADES)
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_of_what_is_touched_can_be_seen(edge: str, ground: str, shade: str) -> None:
    assert contrast(tokens(shade)[edge], tokens(shade)[ground]) >= EDGE


@pytest.mark.parametrize("name", IN_THE_BOOK)
def test_the_ratios_in_the_book_are_those_of_the_colours(name: str) -> None:
    told = [contrast(tokens(shade)[name], tokens(shade)["--paper"]) for shade in ("sun", "dusk")]
    assert told == [pytest.approx(ratio, abs=0.051) for ratio in IN_THE_BOOK[name]]


def test_dusk_is_the_same_whether_the_phone_or_a_person_chose_it() -> None:
    assert tokens("dusk") == tokens("dusk by the phone")
    assert tokens("dusk") != tokens("sun")


@pytest.mark.parametrize("shade", ["sun", "dusk"])
def test_what_holds_and_what_stops_are_not_told_apart_by_lightness_alone_nor_by_red_and_green(shade: str) -> None:
    """No green lamp: blue is what holds, and red outweighs green in what stops."""
    layout, madder = tokens(shade)["--layout-fill"], tokens(shade)["--madder-fill"]
    red, green, blue = (int(layout[place : place + 2], 16) for place in (1, 3, 5))
    assert blue > red
    assert blue > green
    red, green, blue = (int(madder[place : place + 2], 16) for place in (1, 3, 5))
    assert red > blue > green


def test_no_page_has_a_colour_of_its_own() -> None:
    """Every colour outside tokens.css is a token; paper alone is black and white."""
    folder = resources.files("loopworthy.doors.web").joinpath("static/css")
    for sheet in folder.iterdir():
        if sheet.name in ("tokens.css", "print.css"):
            continue
        screens = re.sub(r"@media print \{.*?\n\}", "", sheet.read_text(encoding="utf-8"), flags=re.DOTALL)
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(", screens) == [], sheet.name
