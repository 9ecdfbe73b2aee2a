"""Where record, zone and person come from when nobody says."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopworthy.doors.cli.settings import Settings, default_record, system_zone
from loopworthy.vocabulary.errors import InputError


def test_the_option_wins_over_the_environment_and_that_over_the_data_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("LOOPWORTHY_RECORD", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert Settings().path == default_record()
    assert default_record().name == "record.sqlite"
    monkeypatch.setenv("LOOPWORTHY_RECORD", "season.sqlite")
    assert Settings().path == Path("season.sqlite")
    assert Settings(record=Path("other.sqlite")).path == Path("other.sqlite")


def test_the_zone_comes_from_option_environment_or_computer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Pacific/Palau")
    monkeypatch.delenv("LOOPWORTHY_ZONE", raising=False)
    assert system_zone() == "Pacific/Palau"
    assert Settings().zone_name == "Pacific/Palau"
    assert Settings().now()().zone == "Pacific/Palau"
    monkeypatch.setenv("LOOPWORTHY_ZONE", "Europe/Malta")
    assert Settings().zone_name == "Europe/Malta"
    assert Settings(zone="Asia/Manila").zone_name == "Asia/Manila"


def test_a_computer_without_a_usable_zone_counts_as_utc_or_names_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "XYZ-3")
    zone = system_zone()
    assert zone == "UTC" or "/" in zone


def test_a_zone_that_does_not_exist_is_refused() -> None:
    with pytest.raises(InputError, match="Atlantis"):
        Settings(zone="Atlantis/Central").now()


def test_owner_files_are_read_by_name_each_once(tmp_path: Path) -> None:
    first, second = tmp_path / "a" / "mine.toml", tmp_path / "b" / "mine.toml"
    for one in (first, second):
        one.parent.mkdir()
        one.write_text("# nothing", encoding="utf-8")
    assert Settings(owner_files=(first,)).owner_texts() == {"mine.toml": "# nothing"}
    with pytest.raises(InputError, match="no other owner's file"):
        Settings(owner_files=(first, second)).owner_texts()
    with pytest.raises(InputError, match="can be read"):
        Settings(owner_files=(tmp_path / "none.toml",)).owner_texts()
