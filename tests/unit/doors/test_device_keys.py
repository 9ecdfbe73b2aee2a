"""Keys of this computer: outside the record, for their owner only, and with what was signed with them."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

import pytest

from loopworthy.bootstrap import open_workplace
from loopworthy.doors.exchange.keys import KeyFolder, Verifier, at_once, state_folder
from loopworthy.record.backup import backup
from loopworthy.record.receiving import sign_own_heads
from loopworthy.record.signing import device_of, is_keyed
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.errors import StoreError
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.time import Moment

RECORD = "c0ffee00" * 4
NOW = Moment(at="2026-05-14T08:40:00+02:00", zone="Europe/Malta")


@pytest.fixture
def keys(tmp_path: Path) -> KeyFolder:
    return KeyFolder(tmp_path / "state" / "keys")


def test_a_fresh_key_lies_in_a_file_of_its_owner_only(keys: KeyFolder) -> None:
    device = device_of(RECORD, keys.fresh(RECORD))
    (file,) = keys.folder.iterdir()
    assert file.name == f"{device}.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(keys.folder.stat().st_mode) == 0o700


def test_what_it_signs_is_genuine_and_nothing_else_is(keys: KeyFolder) -> None:
    public_key = keys.fresh(RECORD)
    signer = keys.signer(device_of(RECORD, public_key))
    assert signer is not None
    signature = at_once(signer.sign(b"message"))
    assert at_once(Verifier().verify(public_key, b"message", signature))
    for key, message, made in (
        (public_key, b"another", signature),
        (public_key, b"message", bytes(64)),
        (public_key, b"message", b"short"),
        ("0" * 10, b"message", signature),
    ):
        assert not at_once(Verifier().verify(key, message, made))


def test_the_farthest_head_is_remembered_across_programs(keys: KeyFolder) -> None:
    device = device_of(RECORD, keys.fresh(RECORD))
    for sequence in (3, 7, 5):
        keys.remember(device, SeenHead(sequence=sequence, event=f"{sequence:064x}"))
    held = KeyFolder(keys.folder).held(device)
    assert held is not None
    assert held.signed == SeenHead(sequence=7, event=f"{7:064x}")


def test_the_key_of_another_computer_is_not_here(keys: KeyFolder) -> None:
    assert (keys.held("0" * 32), keys.signer("0" * 32), keys.sign_at_once("0" * 32, b"")) == (None, None, None)


def test_a_key_under_another_devices_name_is_not_used(keys: KeyFolder) -> None:
    device = device_of(RECORD, keys.fresh(RECORD))
    (keys.folder / f"{device}.json").rename(keys.folder / f"{'1' * 32}.json")
    assert keys.held("1" * 32) is None


def test_a_damaged_key_is_said_to_be_so(keys: KeyFolder) -> None:
    device = device_of(RECORD, keys.fresh(RECORD))
    (keys.folder / f"{device}.json").write_text("{")
    with pytest.raises(StoreError, match="goes on as a new device"):
        keys.held(device)


def test_a_folder_that_cannot_be_made_is_said_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "in the way").write_text("")
    with pytest.raises(StoreError, match="LOOPWORTHY_STATE"):
        KeyFolder(tmp_path / "in the way" / "keys").fresh(RECORD)


@pytest.mark.parametrize(
    ("environment", "folder"),
    [
        ({"LOOPWORTHY_STATE": "/srv/club", "XDG_STATE_HOME": "/club/state"}, "/srv/club"),
        ({"XDG_STATE_HOME": "/club/state"}, "/club/state/loopworthy"),
    ],
)
def test_the_folder_follows_the_environment(environment: dict[str, str], folder: str) -> None:
    assert state_folder(environment).as_posix() == folder


def test_neither_record_nor_backup_nor_export_holds_the_private_key(tmp_path: Path, keys: KeyFolder) -> None:
    path = tmp_path / "record.lw"
    workplace = open_workplace(path, clock=lambda: NOW, create=True, keys=keys)
    record = workplace.record
    assert is_keyed(record.device)
    at_once(sign_own_heads(record.store, keys))
    assert isinstance(record.store, SqliteStore)
    backup(record.store, tmp_path / "backup.lw")
    (file,) = keys.folder.iterdir()
    private_key = file.read_text().split('"private_key":"')[1][:64]
    for one in (path, tmp_path / "backup.lw", *tmp_path.glob("record.lw*")):
        content = one.read_bytes()
        assert private_key.encode() not in content
        assert bytes.fromhex(private_key) not in content


def test_a_restored_backup_goes_on_as_a_new_device_that_nobody_has_to_wait_for(tmp_path: Path, keys: KeyFolder) -> None:
    workplace = open_workplace(tmp_path / "record.lw", clock=lambda: NOW, create=True, keys=keys)
    first = workplace.record.device
    assert isinstance(workplace.record.store, SqliteStore)
    backup(workplace.record.store, tmp_path / "backup.lw")
    elsewhere = KeyFolder(tmp_path / "elsewhere")
    restored = open_workplace(tmp_path / "backup.lw", clock=lambda: NOW, keys=elsewhere)
    restored.writer().append_all(())
    assert restored.record.device not in ("", first)
    assert {head.device for head in restored.record.store.signed_heads()} == {first, restored.record.device}


def test_reading_a_record_loads_no_cipher(tmp_path: Path) -> None:
    words = "import sys, loopworthy.bootstrap, loopworthy.doors.cli.main; print('cryptography' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


def test_what_has_to_wait_is_not_driven_by_hand() -> None:
    class Waiting:
        def __await__(self):  # type: ignore[no-untyped-def]
            yield

    async def wait() -> None:
        await Waiting()

    with pytest.raises(RuntimeError, match="had to wait"):
        at_once(wait())
