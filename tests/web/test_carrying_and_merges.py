"""Files and codes go out and come in by pages without scripts, and what a merge changed is told in plain words."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from loopworthy.desk import mending, merges
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.units import NewThing
from loopworthy.doors.exchange.keys import KeyFolder, Verifier
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.asked import LARGEST_BODY
from loopworthy.doors.web.pages.carry import Carry
from loopworthy.doors.web.pages.merges import MergePage
from loopworthy.doors.web.pages.scan import Scan, Shown
from loopworthy.vocabulary.identity import short
from tests.unit.desk.two_devices import joined, two_devices
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Answered, Visitor

Two = tuple[Shop, Shop]


@pytest.fixture
def two() -> Two:
    """Pim's phone, where the unit is ready and the last hold was passed; Juno's, who opened the loop before that."""
    pim, juno = two_devices()
    juno.clock.advance(1)
    record_change(juno.workplace, juno.unit, Declared(change="loop-opened"), person=juno.second)
    pim.clock.advance(2)
    mending.pass_hold(pim.workplace, pim.unit, "H7", person=pim.reader)
    return pim, juno


def file_of(shop: Shop) -> bytes:
    answered = Visitor(shop.app).get("/record/file")
    assert answered.status == 200
    assert re.match(
        r'attachment; filename="loopworthy-rehearsal-2026-06-14-\d{4}\.jsonl', answered.headers["content-disposition"]
    )
    return answered.html.encode()


def send(shop: Shop, body: bytes, name: str = "record.jsonl") -> Answered:
    return Visitor(shop.app).post("/record/carry", [], files={"file": (name, body)})


def carried(answered: Answered) -> Carry:
    assert isinstance(answered.context, Carry)
    return answered.context


def merged(answered: Answered) -> MergePage:
    assert isinstance(answered.context, MergePage)
    return answered.context


# --- by file --------------------------------------------------------------------------------------------------------


def test_a_file_comes_in_and_leads_to_what_it_changed(two: Two) -> None:
    pim, juno = two
    answered = send(pim, file_of(juno))
    (came_in,) = carried(answered).came_in
    assert came_in.sentence.startswith("2 new entries taken; ")
    assert came_in.whole
    page = merged(Visitor(pim.app).get(came_in.merge_href))
    (unit,) = page.units
    assert unit.summary == "ready before, unproven with what came in."
    assert [side.device for side in unit.sides] == ["This device before", "Juno's phone", "With what came in"]
    (saw,) = unit.saw
    assert saw.text.startswith("Pim Example went on from “")
    assert "on Pim's phone. It said ready, without knowing:" in saw.text
    assert [one.by.partition(",")[0] for one in saw.unknown] == ["Juno Example"]
    assert saw.unknown[0].by.endswith("on Juno's phone")
    assert saw.found.endswith("is unproven.")
    causes = [group.cause.title for group in unit.fallen if group.cause is not None]
    assert len(set(causes)) == 1


def test_a_merge_page_tells_and_draws_no_verdict(two: Two) -> None:
    pim, juno = two
    send(pim, file_of(juno))
    (first,) = [one for one in merges.merges(pim.workplace) if one.own]
    document = Visitor(pim.app).get(f"/record/merges/{first.key}").document
    assert not [one for one in document.walk() if "data-verdict" in one.attributes]


def test_the_board_says_that_something_came_in_until_somebody_has_looked(two: Two) -> None:
    pim, juno = two
    visitor = Visitor(pim.app)
    assert visitor.get("/").context.came_in == ""
    send(pim, file_of(juno))
    assert visitor.get("/").context.came_in == (
        "An entry came in from another device, and nobody has looked at what it changed."
    )
    listed = visitor.get(visitor.get("/").context.merges_href).context
    assert [row.fresh for row in listed.rows] == [True]
    page = visitor.get(listed.rows[0].href)
    assert visitor.send(page.form()).template == "board.html"
    assert visitor.get("/").context.came_in == ""
    assert merged(visitor.get(listed.rows[0].href)).look_action == ""


def test_taking_a_file_twice_says_that_nothing_was_new(two: Two) -> None:
    pim, juno = two
    body = file_of(juno)
    send(pim, body)
    count = pim.workplace.record.store.count()
    (came_in,) = carried(send(pim, body)).came_in
    assert came_in.sentence.startswith("Nothing new in it: ")
    assert came_in.merge_href == ""
    assert pim.workplace.record.store.count() == count


def test_a_packed_file_is_taken_as_well(two: Two) -> None:
    pim, juno = two
    (came_in,) = carried(send(pim, gzip.compress(file_of(juno)), "record.jsonl.gz")).came_in
    assert came_in.whole


def test_a_file_cut_short_is_said_to_be(two: Two) -> None:
    pim, juno = two
    body = file_of(juno)
    (came_in,) = carried(send(pim, body[: len(body) * 2 // 3])).came_in
    assert not came_in.whole
    assert any("cut short" in note for note in came_in.notes)


def test_a_line_that_was_altered_is_refused_and_named_and_the_others_are_taken(two: Two) -> None:
    pim, juno = two
    lines = file_of(juno).splitlines(keepends=True)
    place = max(number for number, line in enumerate(lines) if b"loop-opened" in line and b"change-made" in line)
    lines[place] = lines[place].replace(b"loop-opened", b"loop-closed")
    (came_in,) = carried(send(pim, b"".join(lines))).came_in
    assert [text.partition(":")[0] for text in came_in.refused] == [f"Line {place + 1}"]
    assert came_in.sentence.startswith("One new entry taken; ")


def test_what_a_file_refused_is_still_told_by_the_page_of_its_merge(two: Two) -> None:
    pim, juno = two
    record_change(juno.workplace, juno.unit, Declared(change="loop-opened", note="once more"), person=juno.second)
    lines = file_of(juno).splitlines(keepends=True)
    place = max(number for number, line in enumerate(lines) if b"once more" in line and b"change-made" in line)
    lines[place] = lines[place].replace(b"once more", b"never was")
    (came_in,) = carried(send(pim, b"".join(lines))).came_in
    page = merged(Visitor(pim.app).get(came_in.merge_href))
    assert [note.partition(":")[0] for note in page.notes] == [f"Refused, line {place + 1}"]


@pytest.mark.parametrize(
    ("name", "body", "says"),
    [
        ("photo.jpg", b"\xff\xd8\xff\xe0" * 50, "record"),
        ("empty.jsonl", b"\n", "record"),
        ("boat.sqlite", b"SQLite format 3\x00" + bytes(100), "take a copy out"),
        ("bad.gz", b"\x1f\x8b" + bytes(40), "damaged or cut short"),
        ("bomb.gz", gzip.compress(bytes(70 * 1024 * 1024)), "64 MB when unpacked"),
    ],
)
def test_what_is_no_record_is_refused_and_nothing_is_lost(shop: Shop, name: str, body: bytes, says: str) -> None:
    before = shop.workplace.record.store.count()
    answered = send(shop, body, name)
    assert answered.status == 422
    context = carried(answered)
    assert says in f"{context.frame.problem} {context.frame.problem_step}"
    assert context.file.error
    assert shop.workplace.record.store.count() == before


def test_no_file_and_another_record_are_refused(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.post("/record/carry", [], files={"other": ("x", b"x")})
    assert answered.status == 422
    stranger = send(shop, file_of(make_shop()))
    assert stranger.status == 422
    assert "record" in carried(stranger).frame.problem


def test_a_file_that_is_too_large_is_refused_with_another_way(shop: Shop) -> None:
    answered = send(shop, bytes(LARGEST_BODY + 1))
    assert answered.status == 422
    assert "command line" in answered.text


def test_a_large_record_goes_out_packed(monkeypatch: pytest.MonkeyPatch, shop: Shop) -> None:
    monkeypatch.setattr("loopworthy.doors.web.pages.carry.PACKED_FROM", 10)
    answered = Visitor(shop.app).get("/record/file")
    assert answered.headers["content-type"] == "application/gzip"
    assert '.jsonl.gz"' in answered.headers["content-disposition"]


# --- by code --------------------------------------------------------------------------------------------------------


def read_back(answered: Answered) -> list[str]:
    """What another reader of codes reads off the drawings on a page."""
    found = []
    for drawing in answered.document.all("svg", class_="qr__drawn"):
        modules = int(drawing.get("viewbox").split()[2])
        image = np.full((modules, modules), 255, dtype=np.uint8)
        (path,) = drawing.all("path")
        for x, y, length in re.findall(r"M(\d+) (\d+)\.5h(\d+)", path.get("d")):
            image[int(y), int(x) : int(x) + int(length)] = 0
        (code,) = zxingcpp.read_barcodes(np.kron(image, np.ones((4, 4), dtype=np.uint8)))
        found.append(code.text)
    return found


def test_what_is_new_here_is_read_off_the_page_and_changes_the_verdict_there(two: Two) -> None:
    pim, juno = two
    shown = Visitor(juno.app).get("/record/code")
    assert isinstance(shown.context, Shown)
    assert len(shown.context.entries) == 2
    texts = read_back(shown)
    assert texts == [code.text for code in shown.context.codes]
    visitor = Visitor(pim.app)
    answered = visitor.send(visitor.get("/record/scan").form().fill(code="\n".join(texts)))
    assert isinstance(answered.context, Scan)
    assert answered.context.came_in[0].sentence.startswith("2 new entries taken")
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit, pim.clock())


def test_an_entry_alone_waits_there_and_its_page_says_why(two: Two) -> None:
    pim, juno = two
    head = juno.workplace.record.heads()[juno.workplace.record.device].event
    event = Visitor(juno.app).get(f"/event/{short(head)}")
    shown = Visitor(juno.app).get(event.context.code_href)
    assert "only if it has what they rest on" in shown.text
    (came_in,) = Visitor(pim.app).post("/record/scan", {"code": shown.context.codes[0].text}).context.came_in
    assert came_in.sentence.startswith("Nothing new")
    assert any("lie beside the record" in note for note in came_in.notes)
    more = Visitor(juno.app).get(shown.context.more_href)
    (came_in,) = Visitor(pim.app).post("/record/scan", {"code": more.context.codes[0].text}).context.came_in
    assert came_in.merge_href


def test_too_much_for_codes_shows_the_way_by_file(shop: Shop, visitor: Visitor) -> None:
    shown = visitor.get("/record/code")
    assert shown.status == 200
    assert shown.context.codes == ()
    assert "Carry the record by file" in shown.text
    assert shown.context.left_out > 0


def test_a_device_that_has_written_nothing_has_nothing_to_show(shop: Shop) -> None:
    silent = joined(shop, "A silent phone")
    silent.workplace.record.store.set_device_id("")
    visitor = Visitor(silent.app)
    assert carried(visitor.get("/record/carry")).latest_href == ""
    assert visitor.get("/record/code").template == "carry.html"


@pytest.mark.parametrize("text", ["", "4F-2201", "https://example.org/", "LW1:", "LW1:ABC", "LW1:A/", "LW1:::::::/"])
def test_what_is_no_code_of_this_program_is_refused_and_stays_in_the_field(
    shop: Shop, visitor: Visitor, text: str
) -> None:
    before = shop.workplace.record.store.count()
    answered = visitor.post("/record/scan", {"code": text})
    assert answered.status == 422
    assert answered.context.code.error
    assert (answered.context.code.value or "") == text
    assert shop.workplace.record.store.count() == before


def test_serials_can_be_scanned_and_nothing_needs_it(shop: Shop, visitor: Visitor) -> None:
    (button,) = visitor.get("/units/new").document.all("button", **{"data-scan-into": "serial"})
    assert "hidden" in button.attributes
    assert button.get("data-scan-send") == ""


def test_the_way_in_leads_from_the_record(shop: Shop, visitor: Visitor) -> None:
    links = {one.get("href") for one in visitor.get("/record").document.all("a")}
    assert {"/record/carry", "/record/scan", "/record/merges"} <= links


def test_a_change_that_was_just_recorded_can_be_shown_to_another_phone_with_what_came_along(two: Two) -> None:
    _, juno = two
    before = len(Visitor(juno.app).get("/record/code").context.entries)
    replaced = record_change(
        juno.workplace,
        juno.unit,
        Declared(
            change="sensor-replaced",
            positions=("oxygen-sensor-2",),
            arrivals={"oxygen-sensor-2": NewThing(serial="4F-9")},
        ),
        person=juno.reader,
    )
    visitor = Visitor(juno.app)
    page = visitor.get(f"{juno.at}?done={short(replaced[0].id)}")
    shown = visitor.get(page.context.frame.hand_on_href).context
    assert len(shown.entries) == before + len(replaced)
    assert shown.codes
    assert visitor.get(juno.at).context.frame.hand_on_href == ""


# --- devices that sign ----------------------------------------------------------------------------------------------


@pytest.fixture
def signing(tmp_path: Path) -> Two:
    """Pim's phone, and Juno's, which signs its chain and has opened the loop."""
    pim = make_shop(device_name="Pim's phone")
    pim.walk()
    juno = joined(pim, "Juno's phone", keys=KeyFolder(tmp_path))
    juno.clock.advance(1)
    pim.clock.advance(2)
    record_change(juno.workplace, juno.unit, Declared(change="loop-opened"), person=juno.second)
    return pim, juno


def test_a_signed_chain_comes_in_by_file_where_signatures_are_checked(signing: Two) -> None:
    pim, juno = signing
    visitor = Visitor(create_app(pim.workplace, verifier=Verifier()))
    (came_in,) = carried(visitor.post("/record/carry", [], files={"file": ("r.jsonl", file_of(juno))})).came_in
    assert came_in.whole
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit, pim.clock())
    assert merged(visitor.get(came_in.merge_href)).units


def test_a_signed_entry_comes_in_by_code_with_its_signature(signing: Two) -> None:
    pim, juno = signing
    shown = Visitor(juno.app).get("/record/code")
    visitor = Visitor(create_app(pim.workplace, verifier=Verifier()))
    answered = visitor.send(visitor.get("/record/scan").form().fill(code="\n".join(read_back(shown))))
    assert answered.context.came_in[0].notes == ()
    assert pim.workplace.verdict(pim.unit) == juno.workplace.verdict(juno.unit, pim.clock())


def test_an_earlier_signed_entry_is_signed_for_itself(signing: Two) -> None:
    _, juno = signing
    first = merges.merges(juno.workplace)[0].key
    shown = Visitor(juno.app).get(f"/event/{short(first)}/code").context
    assert len(shown.entries) == 1
    assert shown.codes


def test_what_a_signing_device_has_not_signed_lies_beside_the_record(signing: Two) -> None:
    pim, juno = signing
    lines = [line for line in file_of(juno).splitlines(keepends=True) if b'"signature"' not in line[:400]]
    body = b"".join([*lines[:-1], b'{"lines":%d}\n' % (len(lines) - 1)])
    visitor = Visitor(create_app(pim.workplace, verifier=Verifier()))
    (came_in,) = carried(visitor.post("/record/carry", [], files={"file": ("r.jsonl", body)})).came_in
    assert any("has not signed for them" in note for note in came_in.notes)
    assert pim.workplace.verdict(pim.unit).word.value == "ready"


def test_a_false_signature_is_refused(signing: Two) -> None:
    pim, juno = signing
    body = re.sub(rb'("signature":")(.)', lambda found: found[1] + (b"0" if found[2] != b"0" else b"1"), file_of(juno))
    visitor = Visitor(create_app(pim.workplace, verifier=Verifier()))
    (came_in,) = carried(visitor.post("/record/carry", [], files={"file": ("r.jsonl", body)})).came_in
    assert any("signature" in text for text in came_in.refused)
    assert pim.workplace.verdict(pim.unit).word.value == "ready"
