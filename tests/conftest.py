"""What all tests share: how hypothesis searches."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

from loopworthy.doors.exchange.keys import STATE_VARIABLE

# A shared, slow machine must not turn a correct test red, so no single example has a deadline. Under CI hypothesis
# picks its own profile, which also draws the same examples each time.
if settings.get_current_profile_name() == "default":
    settings.register_profile("house", deadline=None)
    settings.load_profile("house")


@pytest.fixture(scope="session", autouse=True)
def _keys_of_this_run(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keys that tests make lie in a folder of the run, not among those of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(STATE_VARIABLE, str(tmp_path_factory.mktemp("state")))
        yield


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests come last: the browser's driver keeps an event loop in this thread for the rest of the run."""
    items.sort(key=lambda item: "/tests/browser/" in item.path.as_posix())
