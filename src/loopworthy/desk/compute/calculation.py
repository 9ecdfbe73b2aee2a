"""One calculation: what it reads, what it answers, and the way of a request through it.

The request is read strictly, because a mistyped optional key would otherwise be a silent default.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import msgspec

from loopworthy.desk.compute.reading import read_request, require_finite_tree
from loopworthy.vocabulary.errors import InputError

Request = TypeVar("Request", bound=msgspec.Struct)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculation(Generic[Request]):
    """A calculation that can be run alone.

    Attributes
    ----------
    name : str
        What it is called by, as ``oxygen-sensor-check``.
    summary : str
        One line on what it answers.
    request_type : type
        The struct that a request is read into; ``msgspec.json.schema`` tells its keys with their units.
    answer_type : type
        The struct or dataclass that is answered.
    example : mapping
        A request that runs.
    run : callable
        From the request to the answer.
    """

    name: str
    summary: str
    request_type: type[Request]
    answer_type: type[Any]
    example: Mapping[str, Any]
    run: Callable[[Request], Any]

    def answer(self, request: bytes | str) -> bytes:
        """Read the JSON request, run the calculation and write the answer; errors as in `calculate`."""
        read = read_request(request, self.request_type)
        answer = self.run(read)
        try:
            require_finite_tree(msgspec.to_builtins(answer), "answer")
        except InputError as unspeakable:  # an answer that JSON cannot say must not become a silent null
            raise InputError("request", self.name, "such that its answer is a finite number") from unspeakable
        return msgspec.json.encode(answer)
