"""Thousands of invented worlds, each from its seed; ``LOOPWORTHY_WORLD_SEED=17 pytest tests/world`` makes one anew.

``LOOPWORTHY_WORLDS`` says how many; `make world` tells five thousand.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.world.world import World

WORLDS = int(os.environ.get("LOOPWORTHY_WORLDS", "240"))
ONLY = os.environ.get("LOOPWORTHY_WORLD_SEED", "")
IN_ONE_TEST = 20
FILES = max(WORLDS // 24, 1)
STEPS = 40

_SEEDS = [int(ONLY)] if ONLY else list(range(WORLDS))


_PARTS = [_SEEDS[start : start + IN_ONE_TEST] for start in range(0, len(_SEEDS), IN_ONE_TEST)]


@pytest.mark.parametrize("seeds", _PARTS, ids=lambda seeds: str(seeds[0]))
def test_nothing_acknowledged_is_lost_nothing_forged_enters_and_all_agree(seeds: list[int]) -> None:
    for seed in seeds:
        world = World(seed=seed, cheats=seed % 4 != 0)
        try:
            world.live(STEPS)
            world.settle()
        except Exception as error:
            raise AssertionError(f"world {seed}: {error!r} after {world.happened}") from error


@pytest.mark.parametrize("seed", range(FILES))
def test_the_same_holds_where_records_lie_in_files(seed: int, tmp_path: Path) -> None:
    world = World(seed=seed, folder=tmp_path)
    world.live(STEPS)
    world.settle()
    for one in world.people:
        assert list(one.store.damage()) == []
        one.store.close()
