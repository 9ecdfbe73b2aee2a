"""``loopworthy serve``: the pages of a record, for browsers on this computer or on a network one trusts."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Command, helped, option, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import DamagedError

if TYPE_CHECKING:
    from socket import socket

    from starlette.applications import Starlette

    from loopworthy.desk.workplace import Workplace

HOST, PORT = "127.0.0.1", 8741
_LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})


@click.command("serve", cls=Command, help=helped("serve"))
@option("--host", key="serve_host", default=HOST, show_default=True, metavar="ADDRESS")
@option("--port", key="serve_port", default=PORT, show_default=True, type=click.IntRange(0, 65_535))
@click.pass_obj
def serve(settings: Settings, host: str, port: int) -> None:
    """Serve until it is stopped with Ctrl-C; a record that cannot be read is served as one page that says so."""
    workplace = None
    try:
        workplace = settings.open()
        workplace.book()
    except DamagedError as error:
        _run_damaged(settings, workplace, error, host, port)
        return
    run(settings, workplace, host, port)


def run(settings: Settings, workplace: Workplace, host: str, port: int) -> None:
    """Print the address and each unit's verdict, then serve the workplace from one process."""
    from loopworthy.doors.cli import show
    from loopworthy.doors.exchange.client import Means
    from loopworthy.doors.exchange.keys import Verifier
    from loopworthy.doors.exchange.native import send
    from loopworthy.doors.web.app import create_app

    verifier = Verifier()
    app = create_app(workplace, verifier=verifier, means=Means(send=send, verifier=verifier, clock=workplace.now))
    with _listening(host, port) as (listening, url):
        words = settings.words(workplace)
        verdicts = [workplace.verdict(one, words.clock.now) for one in workplace.world.units()]
        settings.answer(
            lambda: {
                "address": url,
                "verdicts": [{"unit": workplace.name(one.unit), "verdict": one.word.value} for one in verdicts],
            },
            lambda: [
                say("serving", address=url),
                *([] if host in _LOOPBACK else [say("open_to_others")]),
                *(show.verdict_line(words, one) for one in verdicts),
                say("stop_serving"),
            ],
        )
        _serve(app, listening)


def _run_damaged(settings: Settings, workplace: Workplace | None, error: DamagedError, host: str, port: int) -> None:
    """Serve the page that says where the record is damaged, and nothing else."""
    from loopworthy.desk.record_care import check_record
    from loopworthy.doors.web.damaged import create_damaged_app, first_fault

    report = check_record(workplace) if workplace is not None else None
    first = first_fault(error, report)
    app = create_damaged_app(str(settings.path), error, report, clock=settings.now())
    with _listening(host, port) as (listening, url):
        settings.answer(
            lambda: {"address": url, "damaged": first, "verdicts": []},
            lambda: [say("serving", address=url), say("serving_damaged", first=first), say("stop_serving")],
        )
        _serve(app, listening)


@contextmanager
def _listening(host: str, port: int) -> Iterator[tuple[socket, str]]:
    """A socket and its address. It is bound before anything is printed: an address that is shown is one that answers.

    Raises
    ------
    OSError
        If the port is taken or the address is none of this computer.
    """
    import socket

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, port))
            listening.listen()
        except OSError as error:
            why = say("cannot_listen", host=host, port=port, why=error.strerror or error)
            raise OSError(error.errno, f"{why}. {say('cannot_listen_next')}") from error
        shown = f"[{host}]" if ":" in host else host
        yield listening, f"http://{shown}:{listening.getsockname()[1]}/"


def _serve(app: Starlette, listening: socket) -> None:
    import gc

    import uvicorn

    gc.enable()
    gc.freeze()  # what is there by now stays
    config = uvicorn.Config(app, log_level="warning", workers=1, reload=False, lifespan="off")
    with suppress(KeyboardInterrupt):  # the ordinary way to stop; it has closed everything by then
        uvicorn.Server(config).run(sockets=[listening])
