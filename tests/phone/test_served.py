"""The phone's folder as a server hands it out, and the build's small parts."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from pathlib import Path

import brotli
import httpx
import pytest
from starlette.applications import Starlette

from loopworthy.doors.phone.served import FOLDER_VARIABLE
from loopworthy.doors.texts import Texts
from loopworthy.doors.web.guard import CONTENT_SECURITY_POLICY
from phone.build import put_together, version_of
from tests.web.conftest import make_shop

say = Texts.load().say


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with little in it."""
    built = tmp_path / "phone"
    (built / "v" / "1").mkdir(parents=True)
    (built / "index.html").write_text("<title>shell</title>")
    (built / "v" / "1" / "shell.js").write_text("'shell'")
    (built / "v" / "1" / "shell.js.br").write_bytes(brotli.compress(b"'shell'"))
    (tmp_path / "secret.txt").write_text("not to be handed out")
    monkeypatch.setenv(FOLDER_VARIABLE, str(built))
    return built


@dataclass
class Visitor:
    """Somebody who asks a server for its files."""

    app: Starlette

    def get(self, path: str, headers: dict[str, str] | None = None) -> httpx.Response:
        """The answer as it is, redirects included."""

        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://loop.test") as client:
                return await client.get(path, headers=headers)

        return asyncio.run(asked())


@pytest.fixture
def visitor() -> Visitor:
    """Somebody on the pages of a server."""
    return Visitor(make_shop(day=False, confirmed=False).app)


def test_a_folder_that_was_not_built_is_told_with_how_to_build_it(
    visitor: Visitor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "none"))
    answer = visitor.get("/phone/")
    assert answer.status_code == 404
    assert "make phone" in answer.text


def test_the_shell_may_compile_its_engine_and_other_pages_may_not(visitor: Visitor, folder: Path) -> None:
    shell = visitor.get("/phone/")
    assert shell.status_code == 200
    assert shell.text == "<title>shell</title>"
    assert "'wasm-unsafe-eval'" in shell.headers["content-security-policy"]
    assert "unsafe-eval'" not in visitor.get("/").headers["content-security-policy"].replace("wasm-", "")
    assert visitor.get("/").headers["content-security-policy"] == CONTENT_SECURITY_POLICY


def test_files_named_after_their_content_are_kept_and_sent_compressed_where_that_is_read(
    visitor: Visitor, folder: Path
) -> None:
    sent = visitor.get("/phone/v/1/shell.js", headers={"accept-encoding": "gzip, br"})
    assert sent.headers["content-encoding"] == "br"
    assert "immutable" in sent.headers["cache-control"]
    plain = visitor.get("/phone/v/1/shell.js", headers={"accept-encoding": "identity"})
    assert plain.text == "'shell'"
    assert visitor.get("/phone/").headers["cache-control"] == "no-cache"
    again = visitor.get("/phone/", headers={"if-none-match": visitor.get("/phone/").headers["etag"]})
    assert again.status_code == 304


@pytest.mark.parametrize("path", ["/phone/../secret.txt", "/phone/%2e%2e/secret.txt", "/phone/none.js", "/phone/v/1"])
def test_nothing_outside_the_folder_is_handed_out(visitor: Visitor, folder: Path, path: str) -> None:
    answer = visitor.get(path)
    assert answer.status_code == 404
    assert "not to be handed out" not in answer.text


def test_a_page_of_the_phone_asked_of_the_server_leads_to_the_shell(visitor: Visitor, folder: Path) -> None:
    answer = visitor.get("/phone/open/unit/12ab/do/oxygen?step=U02")
    assert answer.status_code == 302
    assert answer.headers["location"] == "/phone/?at=unit%2F12ab%2Fdo%2Foxygen%3Fstep%3DU02"


# --- building -------------------------------------------------------------------------------------------------------

NAMED = {
    "index.html": b"@version@ @engine@ @no_script@",
    "sw.js": b'const V = "@version@"; const FILES = "@files@";',
    "manifest.webmanifest": b"@description@",
}
TEXTS = b'{"no_script": "scripts & engine", "about": "evidence"}'


def test_the_version_changes_with_any_byte_or_name() -> None:
    files = {"a.js": b"1", "b.js": b"2"}
    others = [{"a.js": b"1", "b.js": b"3"}, {"a.js": b"1", "c.js": b"2"}, {"a.js": b"1"}, {"a.js": b"12", "b.js": b""}]
    assert len({version_of(one) for one in [files, *others]}) == 5
    assert version_of(dict(reversed(files.items()))) == version_of(files)


def test_the_engine_keeps_its_address_when_only_the_program_changes() -> None:
    engine = {"engine.wasm": b"wasm"}
    (first, before), (second, after) = (
        put_together(engine, {"texts.json": TEXTS, "app.zip": app}, NAMED) for app in (b"one", b"two")
    )
    assert first != second
    assert {path for path in before if path.startswith("e/")} == {path for path in after if path.startswith("e/")}
    assert before["index.html"].startswith(first.encode())
    assert b"scripts &amp; engine" in before["index.html"]
    assert f'"v/{first}/app.zip": 3'.encode() in before["sw.js"]
