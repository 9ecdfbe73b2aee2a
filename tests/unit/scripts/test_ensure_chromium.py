"""The finder of a browser gives a path that starts, or says why it cannot; it never passes in silence.

The computer it looks at is a folder of small fakes: PATH holds nothing else.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

FINDER = Path(__file__).parents[3] / "scripts" / "ensure-chromium"


def put(folder: Path, name: str, body: str) -> Path:
    """A fake command; the shell and its built-ins are all that it needs."""
    path = folder / name
    path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    path.chmod(0o755)
    return path


def put_package_manager(folder: Path, *, brings: str) -> None:
    """An apt-get that notes how it was called, and whose install makes a chromium with the given body."""
    chromium = folder / "chromium"
    body = f"""echo "$@" >> "{folder}/apt-get.calls"
case "$1" in install)
    printf '#!/bin/sh\\n{brings}\\n' > "{chromium}"
    /bin/chmod 755 "{chromium}";;
esac"""
    put(folder, "apt-get", body)


def ensure(folder: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(FINDER), *arguments],
        env={"PATH": str(folder), **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_an_installed_browser_that_starts_is_the_answer(tmp_path: Path) -> None:
    browser = put(tmp_path, "chromium", "exit 0")
    found = ensure(tmp_path)
    assert (found.returncode, found.stdout, found.stderr) == (0, f"{browser}\n", "")


def test_a_browser_that_does_not_start_is_passed_over_for_one_that_does(tmp_path: Path) -> None:
    put(tmp_path, "chromium", "exit 1")
    works = put(tmp_path, "chromium-browser", "exit 0")
    found = ensure(tmp_path)
    assert (found.returncode, found.stdout) == (0, f"{works}\n")
    assert "chromium is there but does not start" in found.stderr


def test_a_named_browser_is_the_only_one_tried(tmp_path: Path) -> None:
    put(tmp_path, "chromium", "exit 0")
    named = put(tmp_path, "another", "exit 0")
    assert ensure(tmp_path, LOOPWORTHY_CHROMIUM=str(named)).stdout == f"{named}\n"
    refused = ensure(tmp_path, LOOPWORTHY_CHROMIUM=str(tmp_path / "absent"))
    assert (refused.returncode, refused.stdout) == (1, "")
    assert f"LOOPWORTHY_CHROMIUM={tmp_path}/absent does not start" in refused.stderr


def test_a_missing_browser_is_installed_by_root(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 0")
    put_package_manager(tmp_path, brings="exit 0")
    found = ensure(tmp_path)
    assert (found.returncode, found.stdout) == (0, f"{tmp_path}/chromium\n")
    calls = (tmp_path / "apt-get.calls").read_text(encoding="utf-8").splitlines()
    assert calls == ["update", "install --yes --no-install-recommends chromium"]


def test_a_missing_browser_is_installed_through_sudo_that_asks_no_password(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 1000")
    put(tmp_path, "true", "exit 0")
    put(tmp_path, "sudo", 'shift; "$@"')
    put_package_manager(tmp_path, brings="exit 0")
    assert ensure(tmp_path).stdout == f"{tmp_path}/chromium\n"


def test_without_the_right_to_install_the_finder_fails_and_says_so(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 1000")
    put(tmp_path, "sudo", "exit 1")
    put_package_manager(tmp_path, brings="exit 0")
    refused = ensure(tmp_path)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "no right to install it" in refused.stderr
    assert not (tmp_path / "apt-get.calls").exists()


def test_without_a_package_manager_the_finder_fails_and_says_so(tmp_path: Path) -> None:
    refused = ensure(tmp_path)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "no apt-get to install it with" in refused.stderr


def test_a_failed_installation_is_a_failure(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 0")
    put(tmp_path, "apt-get", "echo 'cannot reach the index' >&2; exit 100")
    refused = ensure(tmp_path)
    assert (refused.returncode, refused.stdout) == (100, "")
    assert "cannot reach the index" in refused.stderr


def test_a_package_whose_browser_does_not_start_is_a_failure(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 0")
    put_package_manager(tmp_path, brings="exit 1")
    refused = ensure(tmp_path)
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "no Chromium starts" in refused.stderr


def test_finding_alone_never_installs(tmp_path: Path) -> None:
    put(tmp_path, "id", "echo 0")
    put_package_manager(tmp_path, brings="exit 0")
    refused = ensure(tmp_path, "--find")
    assert refused.returncode == 1
    assert "run scripts/ensure-chromium to install it" in refused.stderr
    assert not (tmp_path / "apt-get.calls").exists()
