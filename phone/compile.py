"""Compiles the standard library, our packages and our pages under the browser's own Python (see compile.mjs).

Reads /host/stdlib.zip, /host/tree; writes /host/out/python_stdlib.zip, /host/out/app.zip. Archives are stored, not
deflated: the way to the phone is compressed as a whole, which takes fewer bytes, and nothing has to be inflated at each
start. What is written down for readers stays out: it would be a quarter of all bytes.
"""

from __future__ import annotations

import ast
import importlib.util
import marshal
import os
import zipfile
from pathlib import Path
from typing import TypeVar

HOST = Path("/host")
LONG_AGO = (2020, 1, 1, 0, 0, 0)
UNCHECKED_HASH = (1).to_bytes(4, "little") + bytes(8)
AS_SOURCE = {"anyio/__init__.py"}  # its lazy importer reads it
LEFT_OUT_OF_STDLIB = (
    "_pyio.py",
    "_pyrepl/",
    "bdb.py",
    "ctypes/",
    "curses/",
    "dbm/",
    "doctest.py",
    "ensurepip/",
    "ftplib.py",
    "idlelib/",
    "imaplib.py",
    "lib2to3/",
    "mailbox.py",
    "multiprocessing/",
    "nntplib.py",
    "optparse.py",
    "pdb.py",
    "pickletools.py",
    "poplib.py",
    "profile.py",
    "pydoc.py",
    "pydoc_data/",
    "smtplib.py",
    "tkinter/",
    "turtle.py",
    "turtledemo/",
    "unittest/",
    "venv/",
    "webbrowser.py",
    "wsgiref/",
    "xml/dom/",
    "xml/etree/",
    "xmlrpc/",
)
"""Names in the archive begin with one of these: windows, debuggers, servers and processes that a page cannot have."""


Described = TypeVar("Described", ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Module)


class Shorten(ast.NodeTransformer):
    """Takes out what only a reader of the source needs. Statements and assertions stay.

    A class keeps a blank instead, because a dataclass without any text would work one out each time it is made.
    """

    def _shorter(self, node: Described, kept: list[ast.stmt]) -> Described:
        self.generic_visit(node)
        if ast.get_docstring(node, clean=False) is not None:
            node.body = [*kept, *node.body[1:]] or [ast.Pass()]
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        return self._shorter(node, [])

    def visit_AsyncFunctionDef(self, node: ast.AsyncFunctionDef) -> ast.AST:
        return self._shorter(node, [])

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        return self._shorter(node, [ast.Expr(ast.Constant(" "))])

    def visit_Module(self, node: ast.Module) -> ast.AST:
        return self._shorter(node, [ast.Expr(ast.Constant(" "))])


def compiled(source: bytes, name: str) -> bytes:
    """A .pyc that is taken as it is, without looking for its source."""
    shorter = ast.fix_missing_locations(Shorten().visit(ast.parse(source, name)))
    code = compile(shorter, name, "exec", dont_inherit=True, optimize=0)
    return importlib.util.MAGIC_NUMBER + UNCHECKED_HASH + marshal.dumps(code)


def add(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    """One stored entry whose bytes depend on nothing but its name and content."""
    entry = zipfile.ZipInfo(name, LONG_AGO)
    entry.external_attr = 0o644 << 16
    archive.writestr(entry, content)


def pack_stdlib() -> None:
    """The standard library as .pyc, without what no page can reach."""
    with (
        zipfile.ZipFile(HOST / "stdlib.zip") as found,
        zipfile.ZipFile(HOST / "out" / "python_stdlib.zip", "w") as archive,
    ):
        for name in sorted(found.namelist()):
            if name.endswith("/") or name.startswith(LEFT_OUT_OF_STDLIB):
                continue
            content = found.read(name)
            if name.endswith(".py"):
                add(archive, name + "c", compiled(content, f"/lib/python314.zip/{name}"))
            else:
                add(archive, name, content)


def pack_tree() -> None:
    """Our packages and those that they need."""
    tree = HOST / "tree"
    names = sorted(
        os.path.relpath(os.path.join(folder, file), tree) for folder, _, files in os.walk(tree) for file in files
    )
    with zipfile.ZipFile(HOST / "out" / "app.zip", "w") as archive:
        for name in names:
            content = (tree / name).read_bytes()
            if name.endswith(".py") and name not in AS_SOURCE:
                add(archive, name + "c", compiled(content, f"/app/{name}"))
            else:
                add(archive, name, content)


(HOST / "out").mkdir(exist_ok=True)
pack_stdlib()
pack_tree()
