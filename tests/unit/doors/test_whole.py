"""Numbers stay with their units and serials in one piece at line ends, and what is copied off the page is unchanged."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.doors.web.whole import kept_whole
from loopworthy.vocabulary.reading import UNITS

WHOLE = re.compile(r'<bdi class="whole">(.*?)</bdi>')


@pytest.mark.parametrize(
    ("text", "together"),
    [
        ("Read 46.7 mV, outside", ["46.7 mV"]),
        ("200 bar (2901 psi)", ["200 bar", "2901 psi"]),
        ("-3.6 mV (-7.2 %)", ["-3.6 mV", "-7.2 %"]),
        ("known to ± 0.4 mV", ["± 0.4 mV"]),
        ("commonly 20-40 mbar in 60 s", ["20-40 mbar", "60 s"]),
        ("5.2 g/L, 12 mL/min, 27.2 mV/bar", ["5.2 g/L", "12 mL/min", "27.2 mV/bar"]),
        ("sensor INV-S-105: made 2026-03-01.", ["INV-S-105", "2026-03-01"]),
        ("fe0e 85a6 4475 2dee", []),
        ("Electronic, on the back, three sensors", []),
        ("within 10 metres of it", []),
        ("a-very-long-serial-of-its-owner-0001", []),
        ("it&#39;s 3 of 9", []),
        ("All times: Europe/Malta, UTC+02:00", []),
    ],
)
def test_what_belongs_together_is_found(text: str, together: list[str]) -> None:
    assert WHOLE.findall(kept_whole(f"<p>{text}</p>")) == together


@pytest.mark.parametrize("unit", [one for one in UNITS if one not in ("1", "count", "C", "F", "mg/m3")])
def test_every_unit_stays_with_its_number(unit: str) -> None:
    assert WHOLE.findall(kept_whole(f"<p>about 4.5 {unit}.</p>")) == [f"4.5 {unit}"]


@pytest.mark.parametrize(
    "html",
    [
        '<input value="0.18 bar or more"><a href="/unit/x?about=INV-S-105" title="46.7 mV">',
        "<head><title>INV-S-105</title></head>",
        "<option>0.18 bar or more</option>",
        "<textarea>46.7 mV</textarea>",
        "<svg><title>a</title><text>46.7 mV</text></svg>",
        '<script>let a = "46.7 mV"</script>',
        "<!-- 46.7 mV -->",
    ],
)
def test_attributes_and_elements_of_other_kinds_stay_as_they_are(html: str) -> None:
    assert kept_whole(html) == html


def test_after_what_is_left_alone_it_goes_on() -> None:
    assert WHOLE.findall(kept_whole("<svg><path d='M1 2 m'/></svg><p>46.7 mV</p>")) == ["46.7 mV"]


def test_a_text_stays_one_item_of_a_row() -> None:
    assert kept_whole("<p>read 46.7 mV<b>!</b></p>") == (
        '<p><bdi>read <bdi class="whole">46.7 mV</bdi></bdi><b>!</b></p>'
    )
    assert kept_whole("<dd>46.7 mV</dd>") == '<dd><bdi class="whole">46.7 mV</bdi></dd>'


class _Text(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.text = ""
        self.feed(html)
        self.close()

    def handle_data(self, data: str) -> None:
        self.text += data


@given(st.text(alphabet="0123456789.-+ ,±mVbarINS:&;#/<>\n", max_size=60))
def test_what_is_copied_off_the_page_is_what_was_written(text: str) -> None:
    escaped = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    assert _Text(kept_whole(f"<p>{escaped}</p>")).text == _Text(f"<p>{escaped}</p>").text
