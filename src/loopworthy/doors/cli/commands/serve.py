"""``loopworthy serve``: the pages of a record, for browsers on this computer or on a network one trusts."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Command, helped, option, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import DamagedError, InputError

if TYPE_CHECKING:
    from socket import socket

    from starlette.applications import Starlette

    from loopworthy.desk.workplace import Workplace

HOST, PORT = "127.0.0.1", 8741
_LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})


_FILE = click.Path(dir_okay=False, path_type=Path)


@dataclass(frozen=True, slots=True, kw_only=True)
class Secured:
    """With what an encrypted server shows who it is."""

    certificate: Path
    private_key: Path


@click.command("serve", cls=Command, help=helped("serve"))
@option("--host", key="serve_host", default=HOST, show_default=True, metavar="ADDRESS")
@option("--port", key="serve_port", default=PORT, show_default=True, type=click.IntRange(0, 65_535))
@option("--certificate", key="serve_certificate", type=_FILE, metavar="PATH")
@option("--private-key", key="serve_private_key", type=_FILE, metavar="PATH")
@click.pass_obj
def serve(settings: Settings, host: str, port: int, certificate: Path | None, private_key: Path | None) -> None:
    """Serve until it is stopped with Ctrl-C; a record that cannot be read is served as one page that says so."""
    secured = _secured(certificate, private_key)
    workplace = None
    try:
        workplace = settings.open()
        workplace.book()
    except DamagedError as error:
        _run_damaged(settings, workplace, error, host, port, secured)
        return
    run(settings, workplace, host, port, secured)


def run(settings: Settings, workplace: Workplace, host: str, port: int, secured: Secured | None = None) -> None:
    """Print the address and each unit's verdict, then serve the workplace from one process."""
    from loopworthy.doors.cli import show
    from loopworthy.doors.exchange.client import Means
    from loopworthy.doors.exchange.keys import Verifier
    from loopworthy.doors.exchange.native import send
    from loopworthy.doors.web.app import create_app

    verifier = Verifier()
    app = create_app(workplace, verifier=verifier, means=Means(send=send, verifier=verifier, clock=workplace.now))
    with _listening(host, port, secured) as (listening, url):
        words = settings.words(workplace)
        verdicts = [workplace.verdict(one, words.clock.now) for one in workplace.world.units()]
        settings.answer(
            lambda: {
                "address": url,
                "verdicts": [
                    {"unit": workplace.name(one.unit), "verdict": one.word.value, "cautions": len(one.cautions)}
                    for one in verdicts
                ],
            },
            lambda: [
                say("serving", address=url),
                *([] if host in _LOOPBACK else [say("open_to_others")]),
                *(show.verdict_line(words, one) for one in verdicts),
                say("stop_serving"),
            ],
        )
        _serve(app, listening, secured)


def _run_damaged(
    settings: Settings,
    workplace: Workplace | None,
    error: DamagedError,
    host: str,
    port: int,
    secured: Secured | None,
) -> None:
    """Serve the page that says where the record is damaged, and nothing else."""
    from loopworthy.desk.record_care import check_record
    from loopworthy.doors.web.damaged import create_damaged_app, first_fault

    report = check_record(workplace) if workplace is not None else None
    first = first_fault(error, report)
    app = create_damaged_app(str(settings.path), error, report, clock=settings.now())
    with _listening(host, port, secured) as (listening, url):
        settings.answer(
            lambda: {"address": url, "damaged": first, "verdicts": []},
            lambda: [say("serving", address=url), say("serving_damaged", first=first), say("stop_serving")],
        )
        _serve(app, listening, secured)


@contextmanager
def _listening(host: str, port: int, secured: Secured | None) -> Iterator[tuple[socket, str]]:
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
        yield listening, f"{'https' if secured else 'http'}://{shown}:{listening.getsockname()[1]}/"


def _secured(certificate: Path | None, private_key: Path | None) -> Secured | None:
    """Certificate and key of an encrypted server, looked at before anything is served.

    Raises
    ------
    InputError
        If there is only one of them, or they are none or do not belong together.
    """
    import ssl

    if certificate is None and private_key is None:
        return None
    if certificate is None or private_key is None:
        raise InputError("--certificate", str(certificate or private_key), "given together with --private-key")
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(certificate, private_key)
    except (OSError, ssl.SSLError) as error:
        limit = f"a certificate in PEM form with its private key ({error.strerror or error})"
        raise InputError("--certificate", str(certificate), limit) from error
    return Secured(certificate=certificate, private_key=private_key)


def _serve(app: Starlette, listening: socket, secured: Secured | None) -> None:
    import gc

    import uvicorn

    gc.enable()
    gc.freeze()  # what is there by now stays
    config = uvicorn.Config(
        app,
        log_level="warning",
        workers=1,
        reload=False,
        lifespan="off",
        ssl_certfile=secured.certificate if secured else None,
        ssl_keyfile=secured.private_key if secured else None,
    )
    with suppress(KeyboardInterrupt):  # the ordinary way to stop; it has closed everything by then
        uvicorn.Server(config).run(sockets=[listening])
