"""The contract on every store."""

from __future__ import annotations

from pathlib import Path

from loopworthy.record.memory import MemoryStore
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import Store
from tests.contract.store_contract import StoreContract


class TestMemoryStore(StoreContract):
    def make(self, folder: Path) -> Store:
        return MemoryStore()


class TestSqliteStoreWithAWriteAheadLog(StoreContract):
    def make(self, folder: Path) -> Store:
        return SqliteStore(folder / "record.lw")


class TestSqliteStoreAsInTheBrowser(StoreContract):
    def make(self, folder: Path) -> Store:
        return SqliteStore(folder / "record.lw", journal=Journal.TRUNCATE, watch_place=False)
