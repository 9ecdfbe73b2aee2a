"""Codes and tokens at rest: single use, short life, few attempts, nothing kept that lets anybody in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loopworthy.record import admissions
from loopworthy.record.admissions import CODE_LETTERS, CODE_LIFE_S, MOST_OPEN, MOST_WRONG
from loopworthy.record.events import DEVICE_REVOKED, DeviceAdmitted, DeviceRevoked
from loopworthy.record.memory import MemoryStore
from loopworthy.record.secrets import ADMITTED, CODES, HUBS
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.contract.record_makers import at, begin, tokens


def test_a_code_has_only_letters_that_are_not_taken_for_each_other() -> None:
    assert len(set(CODE_LETTERS)) == 32
    assert not set("ILOU") & set(CODE_LETTERS)
    for number in range(50):
        code = admissions.make_code(MemoryStore(), now=at(0), token=tokens(str(number)))
        assert (len(code), code[4]) == (9, "-")
        assert set(code) <= {*CODE_LETTERS, "-"}


@pytest.mark.parametrize(
    "typed", ["{}", " {} ", "{lower}", "{split}", "{plain}"], ids=["as shown", "blanks", "small", "groups", "one word"]
)
def test_a_code_is_known_however_it_is_typed(typed: str) -> None:
    store = MemoryStore()
    code = admissions.make_code(store, now=at(0), token=tokens("a"))
    text = typed.format(code, lower=code.lower(), split=code.replace("-", " "), plain=code.replace("-", ""))
    assert admissions.use_code(store, text, now=at(1)) is not None


def test_a_code_is_used_once() -> None:
    store = MemoryStore()
    code = admissions.make_code(store, now=at(0), token=tokens("a"), by="somebody")
    used = admissions.use_code(store, code, now=at(1))
    assert used is not None
    assert used.by == "somebody"
    assert admissions.use_code(store, code, now=at(1)) is None


@pytest.mark.parametrize(("after_s", "lives"), [(CODE_LIFE_S - 1, True), (CODE_LIFE_S, False), (-3600, False)])
def test_a_code_lives_so_long_and_no_longer_where_the_clock_is_set_back(after_s: float, lives: bool) -> None:
    store = MemoryStore()
    code = admissions.make_code(store, now=at(0), token=tokens("a"))
    assert (admissions.use_code(store, code, now=at(after_s)) is not None) is lives


def test_wrong_attempts_are_counted_only_while_there_is_something_to_guess() -> None:
    store = MemoryStore()
    for _ in range(20):
        admissions.use_code(store, "NEVERMIND", now=at(0))
    assert admissions.wrong_codes(store) == 0
    code = admissions.make_code(store, now=at(0), token=tokens("a"))
    for _ in range(MOST_WRONG - 1):
        admissions.use_code(store, "NEVERMIND", now=at(0))
    assert admissions.use_code(store, code, now=at(0)) is not None


def test_only_so_many_codes_are_open_and_the_oldest_goes() -> None:
    store, made = MemoryStore(), tokens("a")
    codes = [admissions.make_code(store, now=at(n), token=made) for n in range(MOST_OPEN + 1)]
    assert admissions.open_codes(store, now=at(20)) == MOST_OPEN
    assert admissions.use_code(store, codes[0], now=at(20)) is None
    assert admissions.use_code(store, codes[1], now=at(20)) is not None


def test_a_token_is_known_by_its_hash_and_no_part_of_it_is_kept() -> None:
    store = MemoryStore()
    record = begin(store)
    admission, secret = admissions.admit(store, name="phone", by="", now=at(0), token=tokens("b"))
    assert len(secret) == 43  # 256 bits in base 64
    kept = store.setting(ADMITTED) or ""
    assert secret not in kept
    assert admissions.admission_of(record, secret) == admission
    assert admissions.admission_of(record, secret[:-1]) is None
    assert admissions.admission_of(record, "") is None
    assert admissions.admission_of(record, admission.token_hash) is None


def test_revoking_is_final_here_and_by_the_record() -> None:
    store = MemoryStore()
    record = begin(store)
    first, one = admissions.admit(store, name="phone", by="", now=at(0), token=tokens("b"))
    second, other = admissions.admit(store, name="phone", by="", now=at(0), token=tokens("c"))
    with pytest.raises(InputError, match="the name of one only"):
        admissions.find(store, "phone")
    admissions.revoke(store, first.id, now=at(5))
    with pytest.raises(RefusedError):
        admissions.admission_of(record, one)
    assert admissions.find(store, "phone") == second
    record.writer(at(6)).append(DEVICE_REVOKED, DeviceRevoked(admission=second.id, reason="lost"))
    with pytest.raises(RefusedError):
        admissions.admission_of(record, other)
    with pytest.raises(UnknownNameError):
        admissions.find(store, "tablet")


@pytest.mark.parametrize("admission", ["", "xyz", "0" * 15, "0" * 17, "G" * 16])
def test_events_about_devices_name_an_admission(admission: str) -> None:
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        DeviceAdmitted(admission=admission, device_name="phone")
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        DeviceRevoked(admission=admission, reason="lost")


def test_a_file_that_was_copied_by_hand_lets_nobody_in(tmp_path: Path) -> None:
    original = SqliteStore(tmp_path / "record.sqlite")
    begin(original)
    admissions.admit(original, name="phone", by="", now=at(0), token=tokens("b"))
    admissions.make_code(original, now=at(0), token=tokens("c"))
    original.put_setting(HUBS, "[]")
    original.close()
    shutil.copyfile(tmp_path / "record.sqlite", tmp_path / "copy.sqlite")
    copy = SqliteStore(tmp_path / "copy.sqlite")
    assert [copy.setting(name) for name in (ADMITTED, CODES, HUBS)] == ["", "", ""]
    copy.close()
    again = SqliteStore(tmp_path / "record.sqlite")
    assert len(admissions.admissions(again)) == 1
    again.close()
