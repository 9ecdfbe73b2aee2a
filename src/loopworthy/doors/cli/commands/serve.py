"""``loopworthy serve``: the pages of a record, for browsers on this computer or on a network one trusts."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Command, helped, option, say
from loopworthy.doors.cli.settings import Settings

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace

HOST, PORT = "127.0.0.1", 8741
_LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})


@click.command("serve", cls=Command, help=helped("serve"))
@option("--host", key="serve_host", default=HOST, show_default=True, metavar="ADDRESS")
@option("--port", key="serve_port", default=PORT, show_default=True, type=click.IntRange(0, 65_535))
@click.pass_obj
def serve(settings: Settings, host: str, port: int) -> None:
    """Serve until it is stopped with Ctrl-C."""
    run(settings, settings.open(), host, port)


def run(settings: Settings, workplace: Workplace, host: str, port: int) -> None:
    """Print the address and each unit's verdict, then serve the workplace from one process."""
    import gc
    import socket

    import uvicorn

    from loopworthy.doors.cli import show
    from loopworthy.doors.exchange.client import Means
    from loopworthy.doors.exchange.keys import Verifier
    from loopworthy.doors.exchange.native import send
    from loopworthy.doors.web.app import create_app

    verifier = Verifier()
    app = create_app(workplace, verifier=verifier, means=Means(send=send, verifier=verifier, clock=workplace.now))
    # Bound before anything is printed: an address that is shown is one that answers.
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((host, port))
            listening.listen()
        except OSError as error:
            why = say("cannot_listen", host=host, port=port, why=error.strerror or error)
            raise OSError(error.errno, f"{why}. {say('cannot_listen_next')}") from error
        bound = listening.getsockname()[1]
        shown = f"[{host}]" if ":" in host else host
        url = f"http://{shown}:{bound}/"
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
        gc.enable()
        gc.freeze()  # what is there by now stays
        config = uvicorn.Config(app, log_level="warning", workers=1, reload=False, lifespan="off")
        with suppress(KeyboardInterrupt):  # the ordinary way to stop; it has closed everything by then
            uvicorn.Server(config).run(sockets=[listening])
