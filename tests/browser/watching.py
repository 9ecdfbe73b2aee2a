"""A page that must run without a complaint: no error or warning on its console, nothing that its policy refuses."""

from __future__ import annotations

from playwright.sync_api import ConsoleMessage, Page

IMPATIENT_MS = 15_000
"""Longer than anything here takes on a busy machine, shorter than a person who waits for a red test."""

REFUSED = "status of 422"
"""The browser notes on its console that a form came back; here that is an answer like any other."""


def watched(page: Page, complaints: list[str]) -> Page:
    """The page, with all that it complains of gathered in a list."""

    def heard(said: ConsoleMessage) -> None:
        if said.type in ("error", "warning") and REFUSED not in said.text:
            complaints.append(f"{page.url}: {said.text}")

    page.set_default_timeout(IMPATIENT_MS)
    page.on("console", heard)
    page.on("pageerror", lambda error: complaints.append(f"{page.url}: {error}"))
    return page
