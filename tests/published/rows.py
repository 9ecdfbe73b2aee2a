"""Rows of the tables beside this file, as printed, each with its source."""

from __future__ import annotations

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(table: str) -> list[dict[str, str]]:
    """All rows of ``data/<table>.csv``; a table that is empty would test nothing."""
    with (DATA / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert found, f"{table} has no rows"
    return found


def value_of(table: str, item: str, *, key: str = "item", unit: str | None = None) -> float:
    """The one value whose row has this item (and unit)."""
    found = [row for row in rows(table) if row[key] == item and (unit is None or row["unit"] == unit)]
    assert len(found) == 1, f"{table}: {len(found)} rows for {item!r}"
    return float(found[0]["value"])
