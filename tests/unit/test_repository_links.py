"""A page that points to another file of the repository points to one that is there, heading included."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from urllib.parse import unquote

import pytest

ROOT = Path(__file__).parents[2]
LINK = re.compile(r"!?\[[^\]]*\]\(\s*<?([^)\s>]+)")
FENCE = re.compile(r"^(```|~~~).*?^\1", re.MULTILINE | re.DOTALL)


def anchors(text: str) -> set[str]:
    """The names by which the headings of a page can be linked to."""
    headings = re.findall(r"^#+ +(.+?) *$", FENCE.sub("", text), flags=re.MULTILINE)
    plain = (re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings)
    return set(plain) | set(re.findall(r'(?:id|name)="([^"]+)"', text))


def broken_links(page: Path) -> list[str]:
    """The links of this page into the repository that lead nowhere."""
    broken = []
    for target in LINK.findall(FENCE.sub("", page.read_text(encoding="utf-8"))):
        if re.match(r"[a-z][a-z0-9+.-]*:", target, re.IGNORECASE):
            continue  # another place on the web, or a mail address
        name, _, anchor = unquote(target).partition("#")
        file = page.parent / name if name else page
        if not file.exists() or (anchor and file.suffix == ".md" and anchor not in anchors(file.read_text("utf-8"))):
            broken.append(target)
    return broken


def test_every_link_of_every_page_leads_somewhere() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z", "*.md"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    pages = [ROOT / name for name in listed.stdout.decode().split("\0") if name]
    assert ROOT / "README.md" in pages
    broken = {str(page.relative_to(ROOT)): broken_links(page) for page in pages if page.is_file()}
    assert {page: links for page, links in broken.items() if links} == {}


@pytest.mark.parametrize(
    ("link", "is_broken"),
    [
        ("[a](there.md)", False),
        ("[a](there.md#the-second-heading-o2)", False),
        ("[a](#here)", False),
        ("[a](https://example.org/none)", False),
        ("```\n[a](none.md)\n```", False),
        ("[a](none.md)", True),
        ("![a](none.svg)", True),
        ("[a](there.md#third)", True),
        ("[a](#nowhere)", True),
    ],
)
def test_only_a_link_that_leads_nowhere_is_broken(tmp_path: Path, link: str, is_broken: bool) -> None:
    (tmp_path / "there.md").write_text("# There\n\n## The second heading (O2)\n", encoding="utf-8")
    page = tmp_path / "page.md"
    page.write_text(f"# Here\n\n{link}\n", encoding="utf-8")
    assert bool(broken_links(page)) is is_broken
