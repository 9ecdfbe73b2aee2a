"""What a page is asked with: the request, read completely, before any plain function sees it.

Handlers are plain functions and run in the event loop's own thread: the store stays in one thread, and the same code
answers in a browser where there are no others. Uploads stay in memory for the same reason.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from starlette.datastructures import Headers, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import Request

from loopworthy.desk import people
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.quantities import METRIC
from loopworthy.doors.web.links import Links
from loopworthy.doors.words import Words
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

if TYPE_CHECKING:
    from loopworthy.doors.web.site import Site

PERSON_COOKIE = "person"
LARGEST_BODY = 12 * 1024 * 1024
MOST_FIELDS = 1500


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A file that came with a form."""

    name: str
    body: bytes


class Form:
    """What a form holds: texts by name, in the order in which they came, and files.

    Parameters
    ----------
    fields : iterable of (str, str)
    files : mapping of str to Upload
        Empty file fields are left out.
    """

    def __init__(self, fields: Iterable[tuple[str, str]] = (), files: Mapping[str, Upload] | None = None) -> None:
        self._texts: dict[str, list[str]] = {}
        for name, text in fields:
            self._texts.setdefault(name, []).append(text)
        self.files: dict[str, Upload] = dict(files or {})

    def get(self, name: str, default: str = "") -> str:
        """The last text of that name, without blanks around it."""
        return self._texts[name][-1].strip() if name in self._texts else default

    def all(self, name: str) -> tuple[str, ...]:
        """Every text of that name, blank ones left out."""
        return tuple(text.strip() for text in self._texts.get(name, ()) if text.strip())

    def ticked(self, name: str) -> bool:
        """Whether a box was ticked."""
        return self.get(name) in ("yes", "on", "true", "1")

    def names(self) -> tuple[str, ...]:
        """Every name that came."""
        return tuple(self._texts)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """One request, with everything that answering it takes.

    Attributes
    ----------
    site : Site
    method, path : str
        ``GET`` or ``POST``; the path below the root.
    values : mapping
        What the route's address holds by name.
    query, form : Form
    cookies : mapping
    links : Links
    now : Moment
        The present moment, the same throughout the request.
    origin : str
        Under which the program was asked: ``https://hub.example``.
    prepared : object
        What the door waited for beforehand (`routes.Door.before`); None where it waited for nothing.
    """

    site: Site
    method: str
    path: str
    values: Mapping[str, str] = field(default_factory=dict)
    query: Form = field(default_factory=Form)
    form: Form = field(default_factory=Form)
    cookies: Mapping[str, str] = field(default_factory=dict)
    links: Links = field(default_factory=Links)
    now: Moment
    origin: str = ""
    prepared: object = None

    @property
    def workplace(self) -> Workplace:
        """The record open for work."""
        return self.site.workplace

    @property
    def posts(self) -> bool:
        """Whether something is to be recorded."""
        return self.method == "POST"

    @cached_property
    def person(self) -> ThingId:
        """Who chose to be the one reading on this device; '' when nobody did, or the record does not know them."""
        chosen = self.cookies.get(PERSON_COOKIE, "")
        known = {one for one in people.people(self.workplace) if not self.workplace.world.thing(one).retired}
        return chosen if chosen in known else ""

    @cached_property
    def display_units(self) -> str:
        """``metric`` or ``us``, as the person reading wants it."""
        return people.display_units(self.workplace, self.person) if self.person else METRIC

    @cached_property
    def words(self) -> Words:
        """Words for the person reading, at the moment of the request."""
        return Words(self.workplace, self.site.texts, now=self.now, display_units=self.display_units)

    @cached_property
    def unit(self) -> ThingId:
        """The unit that the address names.

        Raises
        ------
        UnknownNameError
            If there is none.
        """
        return self.workplace.unit(self.values["unit"])

    def say(self, key: str, /, **values: object) -> str:
        """A text of the site's language."""
        return self.site.texts.say(key, **values)

    def event(self, text: str) -> EventId:
        """The identity of the event that an address names by its first digits.

        Raises
        ------
        UnknownNameError
            If there is none.
        """
        try:
            return self.workplace.record.get(text).id
        except InputError as error:  # no identity at all, or the beginning of several: the address leads nowhere
            raise UnknownNameError("event", text, next_step=error.next_step) from error


async def read_request(request: Request, site: Site) -> Asked:
    """Read a request completely.

    Raises
    ------
    InputError
        If its body is too large or cannot be read.
    """
    root = request.scope.get("root_path", "").rstrip("/")
    form = await _read_form(request) if request.method == "POST" else Form()
    return Asked(
        site=site,
        method=request.method,
        path=request.scope["path"].removeprefix(root) or "/",
        values=request.path_params,
        query=Form(request.query_params.multi_items()),
        form=form,
        cookies=request.cookies,
        links=Links(root=root),
        now=site.workplace.now(),
        origin=f"{request.url.scheme}://{request.headers.get('host', '')}",
    )


class _InMemoryParser(MultiPartParser):
    spool_max_size = LARGEST_BODY + 1  # beyond it Starlette would move a file to disk with the help of a thread


async def _read_form(request: Request) -> Form:
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_BODY:
            limit = f"at most {LARGEST_BODY // (1024 * 1024)} MB"
            step = "Send a smaller photo or a thinner trace; merge a record of that size on the command line"
            raise InputError("form", "larger", limit, next_step=step)
    if request.headers.get("content-type", "").startswith("multipart/form-data"):
        return await _read_multipart(request.headers, body)
    try:
        fields = parse_qsl(body.decode("utf-8"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except (UnicodeDecodeError, ValueError) as error:
        raise InputError("form", "unreadable", f"a form of at most {MOST_FIELDS} fields in UTF-8") from error
    return Form(fields)


async def _read_multipart(headers: Headers, body: bytes) -> Form:
    async def stream() -> AsyncIterator[bytes]:
        yield body

    parser = _InMemoryParser(
        headers,
        stream(),  # type: ignore[arg-type]  # an async generator; only its iteration is used
        max_files=50,
        max_fields=MOST_FIELDS,
    )
    try:
        parsed = await parser.parse()
    except MultiPartException as error:
        raise InputError("form", "unreadable", "a form as a browser sends it", next_step=error.message) from error
    fields, files = [], {}
    for name, value in parsed.multi_items():
        if isinstance(value, UploadFile):
            content = value.file.read()
            if content:
                files[name] = Upload(name=value.filename or name, body=content)
        else:
            fields.append((name, value))
    await parsed.close()
    return Form(fields, files)
