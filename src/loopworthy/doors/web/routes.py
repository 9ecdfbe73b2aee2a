"""How a page module names its addresses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from loopworthy.doors.web.answers import Answer
from loopworthy.doors.web.asked import Asked

Handler = Callable[[Asked], Answer]
"""A plain function from what was asked to what is answered."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """One address and who answers there.

    Attributes
    ----------
    path : str
        As Starlette writes it: ``/unit/{unit}/sensors``.
    handler : callable
    methods : tuple of str
    """

    path: str
    handler: Handler
    methods: tuple[str, ...] = ("GET",)


READ_AND_SEND = ("GET", "POST")
"""For a page with a form that is sent to the page itself."""
