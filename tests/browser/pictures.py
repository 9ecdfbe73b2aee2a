"""Makes the pictures of docs/pictures from the invented club, each as a person would see it.

Run it with ``scripts/screenshots``. A picture shows what the program shows on the story's day; nothing is drawn on it.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, sync_playwright

from tests.browser.conftest import FINDER, QUIET_ARGUMENTS
from tests.browser.running import Running

LARGEST_BYTES = 150_000
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 800}

Way = Callable[[Page], None]
"""From the board to what the picture shows."""


def show(part: Locator, *, above_px: int) -> None:
    """Scroll until a part stands so far below the upper edge of the screen."""
    part.evaluate(
        "(one, above) => window.scrollTo(0, one.getBoundingClientRect().top + window.scrollY - above)", above_px
    )


def to_unit(name: str, beyond: str = "") -> Way:
    """To a unit's page, or one of its places."""

    def go(page: Page) -> None:
        href = page.locator(".board__link", has_text=name).evaluate("link => link.href")
        page.goto(f"{href}{beyond}")

    return go


def to_chart(page: Page) -> None:
    """To the sensors of the unit whose second sensor does not follow any more."""
    to_unit("Kettle", "/sensors")(page)
    show(page.locator(".sensor", has_text="INV-S-105").locator(".chart"), above_px=130)


def to_hold(page: Page) -> None:
    """To a pressure test, twenty-one seconds after it began."""
    page.clock.install()
    to_unit("Thimble", "/do/leak-tests")(page)
    hold = page.locator("[data-hold]").first
    hold.locator("[data-hold-start]").tap()
    page.clock.run_for(21_000)
    show(hold, above_px=24)


def stay(page: Page) -> None:
    """On the board."""


PICTURES: dict[str, tuple[bool, bool, Way]] = {
    "unit-phone-sun": (True, False, to_unit("Lantern")),
    "unit-phone-dusk": (True, True, to_unit("Kettle")),
    "board-desktop": (False, False, stay),
    "sensors-phone": (True, False, to_chart),
    "pressure-test-phone": (True, False, to_hold),
}
"""Name to whether it is a phone's, whether it is dusk, and the way there."""


def take(browser: Browser, board: str, path: Path, *, on_phone: bool, dusk: bool, way: Way) -> None:
    """Take one picture."""
    context = browser.new_context(
        viewport=PHONE if on_phone else DESK,  # type: ignore[arg-type]
        device_scale_factor=2 if on_phone else 1,
        is_mobile=on_phone,
        has_touch=on_phone,
        color_scheme="dark" if dusk else "light",
        locale="en-GB",
    )
    page = context.new_page()
    page.goto(board)
    way(page)
    page.screenshot(path=path)
    context.close()
    if path.stat().st_size > LARGEST_BYTES:
        raise SystemExit(f"{path.name} has {path.stat().st_size} bytes, and may have {LARGEST_BYTES}")


def main(folder: Path) -> None:
    """Take every picture into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    chromium = subprocess.run([str(FINDER), "--find"], capture_output=True, text=True, check=True).stdout.strip()
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        club = Path(place)
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET_ARGUMENTS))
        with Running("demo", "--path", str(club / "club"), "--serve", said=club / "server.txt") as running:
            for name, (on_phone, dusk, way) in PICTURES.items():
                take(browser, running.address, folder / f"{name}.png", on_phone=on_phone, dusk=dusk, way=way)
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
