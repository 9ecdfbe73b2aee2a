"""What the phone's door costs: bytes to fetch, a warm start, a page through the service worker. In a real Chromium.

Run it from the root of the repository: ``.venv/bin/python benchmarks/bench_phone.py [rounds]``. It builds the folder,
brings in the invented club, and compares with the bare engine (its own files as published, in a worker, until it
answers a first line of Python) in the same run. Medians count. Ends with 1 where a budget is exceeded by more than a
tenth.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from loopworthy.doors.demo import demo_file, open_demo
from loopworthy.doors.phone.served import FOLDER_VARIABLE
from loopworthy.record.backup import backup
from loopworthy.record.sqlite import SqliteStore

ROOT = Path(__file__).parents[1]
MOST_MB = 6.5
MOST_STARTS = 1.2
MOST_GETS = 4.0
TOLERANCE = 1.1
GETS = 40
PATIENT_MS = 120_000

BARE_WORKER = """
import { loadPyodide } from "./bare/pyodide.mjs";
const began = performance.now();
const python = await loadPyodide({ indexURL: new URL("./bare/", import.meta.url).href });
python.runPython("1 + 1");
postMessage(performance.timeOrigin + performance.now());
"""
BARE_START = """
() => new Promise((resolve, reject) => {
    const began = performance.timeOrigin + performance.now();
    const worker = new Worker(new URL("bare.js", document.baseURI), { type: "module" });
    worker.onmessage = ({ data }) => { worker.terminate(); resolve(data - began); };
    worker.onerror = (event) => reject(new Error(event.message));
})
"""
FIRST_PAGE = """
() => new Promise((resolve) => {
    const look = () => performance.getEntriesByName("first-page").length ? resolve() : setTimeout(look, 10);
    look();
})
"""
GET_PAGES = """
async ([address, count]) => {
    const found = [];
    for (let done = 0; done < count; done += 1) {
        const began = performance.now();
        const answer = await fetch(address);
        await answer.text();
        const inside = Number(/dur=([0-9.]+)/.exec(answer.headers.get("server-timing"))[1]);
        found.push([performance.now() - began, inside]);
    }
    return found;
}
"""


def compressed_mb(folder: Path) -> float:
    """What a first visit fetches, each file as it is sent. [MB]"""
    worker = (folder / "sw.js").read_text(encoding="utf-8")
    listed = json.loads(re.search(r"const FILES = (\{.*?\});", worker, re.DOTALL)[1])  # type: ignore[index]
    return sum(_sent(folder / path) for path in [*listed, "sw.js"]) / 1e6


def _sent(path: Path) -> int:
    beside = path.with_name(path.name + ".br")
    return min(path.stat().st_size, beside.stat().st_size) if beside.exists() else path.stat().st_size


def club_copy(place: Path) -> Path:
    """A copy of the invented club's record."""
    open_demo(place).record.store.close()
    store = SqliteStore(demo_file(place), watch_place=False)
    backup(store, place / "copy.sqlite")
    store.close()
    return place / "copy.sqlite"


def with_bare_engine(folder: Path, into: Path, engine: Path) -> Path:
    """The folder with the engine as published beside it, and a worker that starts nothing else."""
    shutil.copytree(folder, into)
    shutil.copytree(engine, into / "bare")
    (into / "bare.js").write_text(BARE_WORKER, encoding="utf-8")
    return into


def opened(context: BrowserContext, address: str) -> Page:
    """A tab at an address, with its first page shown."""
    page = context.new_page()
    page.set_default_timeout(PATIENT_MS)
    page.goto(address)
    page.frame_locator("#pages").locator("h1").wait_for()
    page.evaluate(FIRST_PAGE)
    return page


def measure(
    browser: Browser, address: str, copy: Path, rounds: int
) -> tuple[list[float], list[float], list[list[float]]]:
    """Bare starts, warm starts and GETs (whole, inside). [ms]"""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    first = context.new_page()
    first.set_default_timeout(PATIENT_MS)
    first.goto(address)
    with first.expect_file_chooser() as chooser:
        first.click('[data-act="begin_from_copy"]')
    chooser.value.set_files(copy)
    first.click('[data-act="restore_yes"]')
    first.frame_locator("#pages").locator(".board__row").first.wait_for()
    first.close()

    bare, warm, gets = [], [], []
    plain = context.new_page()
    plain.goto(f"{address}licences.txt")  # of the same policy, without a shell
    for _ in range(rounds + 1):
        bare.append(float(plain.evaluate(BARE_START)))
        page = opened(context, address)
        warm.append(float(page.evaluate("performance.getEntriesByName('first-page')[0].startTime")))
        if not gets:
            frame = page.locator("#pages").element_handle().content_frame()
            assert frame is not None
            gets = frame.evaluate(GET_PAGES, [f"{address}open/", GETS])
        page.close()
    return bare[1:], warm[1:], gets


def report(name: str, value: float, limit: float, unit: str) -> bool:
    """Print one line; whether it is kept."""
    kept = value <= limit * TOLERANCE
    print(f"{name:<58} {value:7.2f} {unit:<3} budget {limit:g}{'' if kept else '   EXCEEDED'}")
    return kept


def main() -> int:
    """Build, measure, print; 1 where a budget is exceeded by more than a tenth."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    chromium = subprocess.run([ROOT / "scripts" / "ensure-chromium"], capture_output=True, text=True, check=True)
    folder, work = ROOT / "dist" / "phone", ROOT / "build" / "phone"
    subprocess.run([sys.executable, ROOT / "phone" / "build.py", "--into", folder, "--work", work], check=True)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        copy = club_copy(place)
        served = with_bare_engine(folder, place / "served", work / "engine" / "node_modules" / "pyodide")
        bare, warm, gets = _in_browser(chromium.stdout.strip(), place, served, copy, rounds)
    median: Callable[[list[float]], float] = statistics.median
    whole, inside = median([one for one, _ in gets]), median([one for _, one in gets])
    print(
        f"bare engine {median(bare):.0f} ms, warm start {median(warm):.0f} ms, "
        f"board {whole:.1f} ms of which {inside:.1f} inside"
    )
    kept = [
        report("compressed bytes of a first visit", compressed_mb(folder), MOST_MB, "MB"),
        report(
            "warm start to the first page, in starts of the bare engine", median(warm) / median(bare), MOST_STARTS, ""
        ),
        report("GET of the board, in times of the engine's own answer", whole / inside, MOST_GETS, ""),
    ]
    return 0 if all(kept) else 1


def _in_browser(
    chromium: str, place: Path, served: Path, copy: Path, rounds: int
) -> tuple[list[float], list[float], list[list[float]]]:
    sys.path.insert(0, str(ROOT))
    from tests.browser.conftest import QUIET_ARGUMENTS
    from tests.browser.running import Running

    os.environ[FOLDER_VARIABLE] = str(served)
    arguments = ("demo", "--path", str(place), "--serve")
    with Running(*arguments, said=place / "server.txt") as server, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET_ARGUMENTS))
        try:
            return measure(browser, f"{server.address}/phone/", copy, rounds)
        finally:
            browser.close()


if __name__ == "__main__":
    sys.exit(main())
