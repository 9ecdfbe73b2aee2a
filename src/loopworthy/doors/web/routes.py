"""How a page module names its addresses."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from loopworthy.doors.web.answers import Answer
from loopworthy.doors.web.asked import Asked

Handler = Callable[[Asked], Answer]
"""A plain function from what was asked to what is answered."""

Beforehand = Callable[[Asked], Awaitable[object]]
"""What takes waiting for, because a browser makes and checks signatures in its own time; done before the handler."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """One address and who answers there.

    Attributes
    ----------
    path : str
        As Starlette writes it: ``/unit/{unit}/sensors``.
    handler : callable
    methods : tuple of str
    before : callable, optional
        What is waited for first; the handler finds what came of it in `Asked.prepared`.
    """

    path: str
    handler: Handler
    methods: tuple[str, ...] = ("GET",)
    before: Beforehand | None = None


READ_AND_SEND = ("GET", "POST")
"""For a page with a form that is sent to the page itself."""
