"""Reading a JSON request strictly, and saying which key is wrong.

JSON allows more than a calculation may take: NaN in most readers, a key twice, numbers too large for a float. All of
that is refused here, and every refusal names the key with its path, as ``sensors[1].air_mv``.
"""

from __future__ import annotations

import json
import math
import re
import types
import typing
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from typing import Any, NoReturn, TypeVar

import msgspec

from loopworthy.vocabulary.errors import InputError

Request = TypeVar("Request", bound=msgspec.Struct)

LARGEST_REQUEST_BYTES = 8_000_000
"""A trace of an hour at ten samples a second needs three."""

_UNKNOWN = re.compile(r"^Object contains unknown field `(?P<key>.*)`$", re.DOTALL)
_MISSING = re.compile(r"^Object missing required field `(?P<key>.*)`$")
_WRONG_TYPE = re.compile(r"^Expected `(?P<expected>.*)`, got `(?P<got>.*)`$")
_PLACE = re.compile(r"^(?P<problem>.*) - at `\$(?P<path>.*)`$", re.DOTALL)
_TOKEN = re.compile(r"\.(?P<key>[A-Za-z0-9_]+)|\[(?P<index>\d+)\]")
_JSON_WORDS = {
    "float": "a number",
    "str": "a text",
    "bool": "true or false",
    "array": "a list",
    "int": "a whole number",
}


def read_request(request: bytes | str, request_type: type[Request]) -> Request:
    """The request as its struct, or an InputError that names the key."""
    size = len(request)
    if size > LARGEST_REQUEST_BYTES:
        raise InputError("request", f"{size} bytes", f"at most {LARGEST_REQUEST_BYTES} bytes")
    try:
        return _read_tree(_read_json(request), request_type)
    except RecursionError as error:
        raise InputError("request", "a deep nest", "JSON of ordinary depth and numbers") from error


def _read_tree(tree: Any, request_type: type[Request]) -> Request:
    if not isinstance(tree, dict):
        raise InputError("request", _shown(tree), "a JSON object", next_step=_keys_hint(request_type))
    require_finite_tree(tree, "")
    try:
        return msgspec.convert(tree, request_type)
    except msgspec.ValidationError as error:
        _explain(str(error), tree, request_type)


@contextmanager
def inside(path: str, joint: str = ".") -> Iterator[None]:
    """Let an InputError raised within name its key with the path in front."""
    try:
        yield
    except InputError as error:
        raise type(error)(f"{path}{joint}{error.name}", error.value, error.limit, next_step=error.next_step) from error


def require_finite_tree(tree: Any, path: str) -> None:
    """Refuse a number that is not finite, and text that cannot be written, anywhere in a JSON tree."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            _require_whole_letters(key, "key")
            require_finite_tree(value, f"{path}.{key}" if path else str(key))
    elif isinstance(tree, list | tuple):
        for index, value in enumerate(tree):
            require_finite_tree(value, f"{path}[{index}]")
    elif isinstance(tree, str):
        _require_whole_letters(tree, path)
    elif isinstance(tree, int | float) and not isinstance(tree, bool) and not _fits_a_float(tree):
        raise InputError(path, _shown(tree), "a finite number")


def _require_whole_letters(text: str, path: str) -> None:
    """Refuse half of a character pair: no encoding can write it."""
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        raise InputError(path, ascii(text), "text without half characters")


def _fits_a_float(value: int | float) -> bool:
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False


def _read_json(request: bytes | str) -> Any:
    try:
        text = request.decode("utf-8") if isinstance(request, bytes) else request
        return json.loads(text, object_pairs_hook=_keys_once, parse_constant=float)
    except UnicodeDecodeError as error:
        raise InputError("request", f"byte {error.start}", "UTF-8") from error
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}: {error.msg}"
        raise InputError("request", place, "JSON") from error
    except ValueError as error:  # a number of thousands of digits
        raise InputError("request", "a number of thousands of digits", "JSON of ordinary depth and numbers") from error


def _keys_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    tree: dict[str, Any] = {}
    for key, value in pairs:
        if key in tree:
            raise InputError("key", _shown(key), "given once in an object")
        tree[key] = value
    return tree


def _explain(message: str, tree: Any, request_type: type[msgspec.Struct]) -> NoReturn:
    """Turn the reader's message into an InputError with key path, value and limit."""
    placed = _PLACE.match(message)
    problem, path = (placed["problem"], placed["path"]) if placed else (message, "")
    tokens = [match["key"] or int(match["index"]) for match in _TOKEN.finditer(path)]
    name = path.lstrip(".")
    value, kind = _value_at(tree, tokens), _type_at(request_type, tokens)
    if unknown := _UNKNOWN.match(problem):
        allowed = ", ".join(kind.__struct_fields__) if _is_struct(kind) else "a known one"
        where = f"key in {name}" if name else "key"
        raise InputError(where, _shown(unknown["key"]), f"one of {allowed}")
    if missing := _MISSING.match(problem):
        key = f"{name}.{missing['key']}" if name else missing["key"]
        raise InputError(key, None, "given", next_step=f"Add the key {missing['key']}")
    if isinstance(kind, type) and issubclass(kind, Enum):
        raise InputError(name, value, f"one of {', '.join(repr(each.value) for each in kind)}")
    if wrong := _WRONG_TYPE.match(problem):
        words = [
            _JSON_WORDS.get(word, "an object" if word == "object" else word) for word in wrong["expected"].split(" | ")
        ]
        raise InputError(name or "request", _shown(value), " or ".join(words))
    raise InputError(name or "request", _shown(value), f"readable ({problem})")


def _value_at(tree: Any, tokens: list[str | int]) -> Any:
    for token in tokens:
        tree = tree[token]
    return tree


def _type_at(kind: Any, tokens: list[str | int]) -> Any:
    """The type that a path leads to, through structs, tuples and optional values."""
    for token in tokens:
        kind = _without_wrapping(kind)
        kind = typing.get_args(kind)[0] if isinstance(token, int) else typing.get_type_hints(kind)[token]
    return _without_wrapping(kind)


def _without_wrapping(kind: Any) -> Any:
    if typing.get_origin(kind) in (types.UnionType, typing.Union):
        kind = next(each for each in typing.get_args(kind) if each is not type(None))
    return kind


def _is_struct(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, msgspec.Struct)


def _keys_hint(request_type: type[msgspec.Struct]) -> str:
    return f"Keys: {', '.join(request_type.__struct_fields__)}"


def _shown(value: Any) -> Any:
    """A value as an error shows it; long ones are cut."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**18:
        return "a number of more than 18 digits"
    text = repr(value)
    return value if len(text) <= 60 else text[:57] + "..."
