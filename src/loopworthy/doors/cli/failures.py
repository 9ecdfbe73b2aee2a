"""Errors as a person and as a program read them: one line, or one JSON object, on standard error, and an exit code.

Standard output holds answers only. Bad input ends with 2, anything unexpected with 1; what is recorded is recorded
whole or not at all, so there is nothing to clean up after either.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import click

from loopworthy.doors.cli.base import PROGRAM, Exit, say
from loopworthy.vocabulary.errors import (
    ConflictError,
    DamagedError,
    FileEntryError,
    InputError,
    LoopworthyError,
    OutOfReachError,
    StoreError,
    UnknownNameError,
)

MOST_KNOWN = 12
"""So many known names are listed where none is near; a longer list helps nobody."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """Why a command did not do what was asked.

    Attributes
    ----------
    name, value, limit : str, object, str
        What is wrong, what was given for it, and what it must be; empty or None where that means nothing.
    message, next_step : str
        One sentence, and what to do about it.
    code : Exit
    """

    name: str
    value: Any
    limit: str
    message: str
    next_step: str
    code: Exit

    def line(self) -> str:
        """One line for a person."""
        text = f"{PROGRAM}: {self.message.rstrip('.')}."
        if self.next_step:
            text += f" {self.next_step.rstrip('.')}{'' if self.next_step.endswith('?') else '.'}"
        return " ".join(text.split())

    def plain(self) -> dict[str, Any]:
        """The same for a program."""
        return {
            "error": {
                "name": self.name,
                "value": self.value,
                "limit": self.limit,
                "message": self.message,
                "next_step": self.next_step,
            }
        }


def failure_of(error: BaseException) -> Failure:
    """What to say about an error."""
    if isinstance(error, InputError):
        error = _with_option(error)
        return _refused(error, name=error.name, value=error.value, limit=error.limit)
    if isinstance(error, UnknownNameError):
        return _unknown(error)
    if isinstance(error, FileEntryError):
        return _refused(error, name=f"{error.file}: {error.entry}: {error.key}", value=None, limit="")
    if isinstance(error, StoreError | ConflictError):
        code = Exit.NOT_WHOLE if isinstance(error, DamagedError) else Exit.FAILED
        return Failure(name="record", value=None, limit="", message=error.message, next_step=error.next_step, code=code)
    if isinstance(error, OutOfReachError):
        return replace(_refused(error, name="hub", value=None, limit=""), code=Exit.FAILED)
    if isinstance(error, LoopworthyError):
        return _refused(error, name="refused", value=None, limit="")
    if isinstance(error, click.ClickException):
        return _usage(error)
    if isinstance(error, click.Abort | KeyboardInterrupt | EOFError):
        return Failure(
            name="interrupted", value=None, limit="", message=say("interrupted"), next_step="", code=Exit.FAILED
        )
    if isinstance(error, OSError) and error.strerror:
        about = f"{error.strerror}: {error.filename}" if error.filename else error.strerror
        return Failure(name="system", value=None, limit="", message=about, next_step="", code=Exit.FAILED)
    return Failure(
        name="unexpected",
        value=None,
        limit="",
        message=say("unexpected", kind=type(error).__name__, what=str(error) or "-"),
        next_step=say("unexpected_next"),
        code=Exit.FAILED,
    )


@contextmanager
def ended(args: Sequence[str] | None) -> Iterator[None]:
    """Turn an error within into its line or JSON on standard error, and its exit code."""
    given = sys.argv[1:] if args is None else list(args)
    as_json = "--json" in (given[: given.index("--")] if "--" in given else given)
    try:
        yield
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        raise SystemExit(Exit.REFUSED) from error
    except Exception as error:
        if os.environ.get("LOOPWORTHY_TRACEBACK", "").strip() and failure_of(error).code is Exit.FAILED:
            raise
        failure = failure_of(error)
        if as_json:
            from loopworthy.doors.cli.plain import to_json

            click.echo(to_json(failure.plain()), err=True)
        else:
            click.echo(failure.line(), err=True)
        raise SystemExit(failure.code) from error


def nearest(word: str, known: Sequence[str]) -> str:
    """The known name that was probably meant; empty where none is near."""
    import difflib

    by_lower = {one.lower(): one for one in known}
    found = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[found[0]] if found else ""


def _refused(error: LoopworthyError, *, name: str, value: Any, limit: str) -> Failure:
    shown = value if value is None or isinstance(value, str | int | float | bool) else str(value)
    return Failure(
        name=name, value=shown, limit=limit, message=error.message, next_step=error.next_step, code=Exit.REFUSED
    )


def _with_option(error: InputError) -> InputError:
    """The error with the name of the option that it is about, where a use case cannot know it."""
    if error.name != "occurred_at":
        return error
    from loopworthy.desk.late import LateMomentError

    step = say("confirm_time") if isinstance(error, LateMomentError) else error.next_step
    return InputError("--at", error.value, error.limit, next_step=step)


def _unknown(error: UnknownNameError) -> Failure:
    near = nearest(error.name, error.known)
    if near:
        step = say("did_you_mean", name=near)
    elif error.known and len(error.known) <= MOST_KNOWN:
        step = say("known_names", names=", ".join(error.known))
    elif error.known:
        step = say("some_known_names", names=", ".join(error.known[:MOST_KNOWN]), more=len(error.known) - MOST_KNOWN)
    else:
        step = error.next_step
    limit = f"one of {', '.join(error.known)}" if error.known else say("known_here", what=error.what)
    return Failure(
        name=error.what, value=error.name, limit=limit, message=error.message, next_step=step, code=Exit.REFUSED
    )


def _usage(error: click.ClickException) -> Failure:
    context = getattr(error, "ctx", None)
    path = context.command_path if isinstance(context, click.Context) else PROGRAM
    step = say("see_help", command=path)
    name, value, message = "command line", None, error.format_message()
    if isinstance(error, click.NoSuchOption):
        name, value = "option", error.option_name
        message = say("no_option", name=error.option_name, command=path)
        if near := nearest(error.option_name, tuple(error.possibilities or ())):
            step = say("did_you_mean", name=near)
    elif isinstance(error, click.MissingParameter | click.BadParameter) and error.param is not None:
        name = error.param_hint if isinstance(error.param_hint, str) else error.param.make_metavar(context)  # type: ignore[arg-type]
        if isinstance(error.param, click.Option):
            name = error.param.opts[0]
        if isinstance(error, click.MissingParameter):
            message = say("missing", name=name)
    return Failure(name=name, value=value, limit="", message=message, next_step=step, code=Exit.REFUSED)
