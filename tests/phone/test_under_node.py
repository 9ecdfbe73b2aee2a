"""The built program under its own engine, in Node: it tells the same of a record as this Python does, byte by byte."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

from loopworthy.desk.demo.club import OPENS_AT, ZONE
from loopworthy.doors.demo import demo_file, open_demo
from loopworthy.record.backup import backup
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.time import Moment
from phone.build import node_and_npm
from tests.phone.building import phone_folder
from tests.phone.told import told_here

HERE = Path(__file__).parent


def test_the_phones_engine_tells_what_this_python_tells(tmp_path: Path) -> None:
    open_demo(tmp_path).record.store.close()
    store = SqliteStore(demo_file(tmp_path), watch_place=False)
    backup(store, tmp_path / "record.sqlite")
    store.close()
    shutil.copyfile(HERE / "told.py", tmp_path / "told.py")
    at = Moment(at=OPENS_AT, zone=ZONE)
    (tmp_path / "asked.json").write_text(json.dumps({"at": at.at, "zone": at.zone}))

    ran = subprocess.run(
        [str(node_and_npm()[0]), str(HERE / "answer.mjs"), str(phone_folder()), str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr

    there = json.loads((tmp_path / "answer.json").read_text())
    here = json.loads(told_here(tmp_path / "record.sqlite", at))
    assert {name: one["word"] for name, one in here["verdicts"].items()} == {
        "Kettle": "stop",
        "Lantern": "ready",
        "Thimble": "unproven",
    }
    assert there["verdicts"] == here["verdicts"]
    assert all(page.startswith("200\n") for page in here["pages"].values())
    assert there["pages"] == here["pages"]
