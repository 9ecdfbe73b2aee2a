"""What all tests share: how hypothesis searches."""

from __future__ import annotations

import pytest
from hypothesis import settings

# A shared, slow machine must not turn a correct test red, so no single example has a deadline. Under CI hypothesis
# picks its own profile, which also draws the same examples each time.
if settings.get_current_profile_name() == "default":
    settings.register_profile("house", deadline=None)
    settings.load_profile("house")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests come last: the browser's driver keeps an event loop in this thread for the rest of the run."""
    items.sort(key=lambda item: "/tests/browser/" in item.path.as_posix())
