"""What a handler answers with: a page as its template and context, or a way on to another one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from starlette.responses import Response


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page that is still to be drawn.

    Attributes
    ----------
    template : str
        File below templates/.
    context : object
        A frozen dataclass; the template sees it as ``it``, and its ``frame`` as ``page``.
    status : int
        HTTP status.
    """

    template: str
    context: object
    status: int = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeOther:
    """Something was recorded; the browser goes on to another page, so that going back does not record it twice."""

    address: str
    cookies: Mapping[str, str] = field(default_factory=dict)
    """Name to value; '' forgets it."""


Answer = Page | SeeOther | Response
"""What a handler may return."""
