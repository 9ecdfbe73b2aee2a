"""Codes read with a camera, and a file handed on, in a browser that can; the camera itself is made up here."""

from __future__ import annotations

import secrets
from collections.abc import Callable

import httpx
from playwright.sync_api import BrowserContext, Page, expect

from loopworthy.bootstrap import catalogue_for, registry
from loopworthy.desk import carrying
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.workplace import Workplace
from loopworthy.record.exchange import read_header
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from tests.browser.hands import say
from tests.browser.looking import UNFOLD, axe_problems, thumb_problems, width_problems
from tests.browser.running import Running

CAMERA = """
window.cameras = { asked: 0, open: 0 };
window.inThePicture = [];
window.BarcodeDetector = class {
    static getSupportedFormats() { return Promise.resolve(["qr_code", "code_128"]); }
    constructor({ formats }) { this.formats = formats; }
    detect() {
        const found = window.inThePicture.filter(one => this.formats.includes(one.format));
        return Promise.resolve(found.map(one => ({ rawValue: one.text, format: one.format })));
    }
};
Object.defineProperty(navigator, "mediaDevices", { value: { getUserMedia: async wanted => {
    cameras.asked += 1;
    if (!wanted.video || wanted.audio) throw new Error("only the picture is asked for");
    if (window.cameraRefused) throw new DOMException("no", "NotAllowedError");
    const canvas = document.createElement("canvas");
    canvas.getContext("2d").fillRect(0, 0, 10, 10);
    const stream = canvas.captureStream(10);
    for (const track of stream.getTracks()) {
        const stop = track.stop.bind(track);
        track.stop = () => { cameras.open -= 1; stop(); };
        cameras.open += 1;
    }
    return stream;
} } });
"""
"""A browser that reads whatever codes the test holds into the picture, and counts its open cameras."""

SHARING = """
window.handedOn = [];
navigator.canShare = given => given.files.every(file => file.type === "text/plain");
navigator.share = async given => {
    handedOn.push({ name: given.files[0].name, text: (await given.files[0].text()).slice(0, 60) });
};
"""

Watch = Callable[[Page], Page]


def elsewhere(demo: Running) -> Workplace:
    """Another device with the club's record, on which a loop was opened."""
    lines = httpx.get(f"{demo.address}/record/file?plain=yes", timeout=30).content.splitlines(keepends=True)
    now = read_header(lines[0]).exported_at
    store = MemoryStore()
    merge(store, registry(), lines, now=now, adopt=True)
    record = Record(store, registry(), device_name="A second phone", token=secrets.token_bytes)
    workplace = Workplace(record, catalogue_for(), lambda: now)
    person = workplace.world.of_kind("person")[0].id
    record_change(workplace, workplace.world.units()[0], Declared(change="loop-opened"), person=person)
    return workplace


def lines_of(workplace: Workplace) -> tuple[str, ...]:
    """What that device shows as codes."""
    own = carrying.not_seen_elsewhere(workplace)
    assert own is not None
    return carrying.scraps_of(workplace, carrying.entries_up_to(workplace, own[1], since=own[0]))


def hold_into_picture(page: Page, text: str, kind: str = "qr_code") -> None:
    page.evaluate("one => { inThePicture = [one] }", {"text": text, "format": kind})


def until(page: Page, expression: str) -> None:
    """Wait until an expression is true; the page's policy lets no string be evaluated inside it."""
    for _ in range(100):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never true: {expression}")


def open_cameras(page: Page) -> int:
    return int(page.evaluate("cameras.open"))


def looked_at(page: Page) -> list[str]:
    """What is wrong with a page for a thumb, an eye or a reader, in sun and at dusk."""
    page.evaluate(UNFOLD)
    problems = width_problems(page) + thumb_problems(page) + axe_problems(page)
    page.evaluate("document.documentElement.dataset.shade = 'dusk'")
    problems += axe_problems(page, "color-contrast", "color-contrast-enhanced")
    page.evaluate("delete document.documentElement.dataset.shade")
    return problems


def test_a_code_held_before_the_camera_comes_in_and_what_it_changed_is_told(
    phone: BrowserContext, demo: Running, watch: Watch
) -> None:
    (line,) = lines_of(elsewhere(demo))
    phone.add_init_script(CAMERA)
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/record/scan")
    button = page.get_by_role("button", name=say("scan.camera"))
    expect(button).to_be_visible()
    assert page.evaluate("cameras.asked") == 0  # only when somebody presses
    button.tap()
    expect(page.get_by_text(say("scan.aim"))).to_be_visible()
    assert looked_at(page) == []
    hold_into_picture(page, "https://example.org/something-else")
    page.wait_for_timeout(400)
    assert open_cameras(page) == 1  # a code of somebody else is passed over
    with page.expect_navigation():
        hold_into_picture(page, line)
    expect(page.locator("#came-in")).to_contain_text("2 new entries taken")
    assert looked_at(page) == []

    with page.expect_navigation():
        page.locator("#came-in").get_by_role("link", name=say("merges.board_link")).tap()
    expect(page.get_by_role("heading", name=say("merges.title"))).to_be_visible()
    expect(page.get_by_text("A second phone").first).to_be_visible()
    assert looked_at(page) == []
    page.goto(f"{demo.address}/")
    expect(page.get_by_role("link", name=say("merges.board_link"))).to_be_visible()
    assert looked_at(page) == []
    page.goto(f"{demo.address}/record/merges")
    assert looked_at(page) == []


def test_the_camera_is_let_go_when_stopped_and_when_the_page_is_left(
    phone: BrowserContext, demo: Running, watch: Watch
) -> None:
    phone.add_init_script(CAMERA)
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/record/scan")
    page.get_by_role("button", name=say("scan.camera")).tap()
    until(page, "cameras.open === 1")
    page.get_by_role("button", name=say("scan.stop")).tap()
    assert open_cameras(page) == 0
    expect(page.locator("video")).to_have_count(0)
    page.get_by_role("button", name=say("scan.camera")).tap()
    until(page, "cameras.open === 1")
    page.evaluate("dispatchEvent(new Event('pagehide'))")
    assert open_cameras(page) == 0


def test_a_refused_camera_is_told_and_the_text_can_still_be_pasted(
    phone: BrowserContext, demo: Running, watch: Watch
) -> None:
    phone.add_init_script(CAMERA + "window.cameraRefused = true;")
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/record/scan")
    page.get_by_role("button", name=say("scan.camera")).tap()
    expect(page.get_by_text(say("scan.no_camera"))).to_be_visible()
    expect(page.locator("video")).to_have_count(0)
    page.locator("#code").fill("\n".join(lines_of(elsewhere(demo))))
    with page.expect_navigation():
        page.get_by_role("button", name=say("carry.take_in")).tap()
    expect(page.locator("#came-in")).to_contain_text("2 new entries taken")


def test_a_serial_is_read_off_any_code_into_its_field(phone: BrowserContext, demo: Running, watch: Watch) -> None:
    phone.add_init_script(CAMERA)
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/units/new")
    page.get_by_role("button", name=say("scan.serial")).tap()
    hold_into_picture(page, " 4F-2207 ", "code_128")
    expect(page.locator("#serial")).to_have_value("4F-2207")
    assert open_cameras(page) == 0
    assert looked_at(page) == []


def test_a_browser_that_reads_no_codes_shows_no_button_for_it(
    phone: BrowserContext, demo: Running, watch: Watch
) -> None:
    phone.add_init_script("delete window.BarcodeDetector;")
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/record/scan")
    page.wait_for_load_state("networkidle")
    assert page.locator("[data-scan-into]:visible").count() == 0
    assert page.locator("[data-share]:visible").count() == 0


def test_the_file_is_handed_to_other_programs_where_the_browser_can(
    phone: BrowserContext, demo: Running, watch: Watch
) -> None:
    phone.add_init_script(SHARING)
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/record/carry")
    page.get_by_role("button", name=say("carry.share")).tap()
    until(page, "handedOn.length === 1")
    (given,) = page.evaluate("handedOn")
    assert given["name"].startswith("loopworthy-")
    assert given["name"].endswith(".txt")
    assert given["text"].startswith('{"exported_at"')
    assert looked_at(page) == []
