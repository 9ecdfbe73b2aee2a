"""What is looked at on every page: its width, the size of what is touched, and what axe-core finds."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

THUMB_PX = 48
"""Least width and height of what is touched (docs/identity.md, "Targets")."""
GRAVE = frozenset({"serious", "critical"})

UNFOLD = "() => { for (const fold of document.querySelectorAll('details')) fold.open = true; }"

TOO_WIDE = """
() => {
    const wide = document.documentElement.clientWidth, all = document.documentElement.scrollWidth;
    const found = all > wide ? [`the page: ${all} px`] : [];
    for (const one of document.querySelectorAll("body *")) {
        const box = one.getBoundingClientRect();
        if (!box.width || !one.checkVisibility({ visibilityProperty: true })) continue;
        if (one.closest(".scroll, .unseen, .skip")) continue;
        if (box.right > wide + 1 || box.left < -1) {
            const span = `${Math.round(box.left)} to ${Math.round(box.right)} px`;
            found.push(`${one.tagName}.${one.className}: ${span}, ${one.textContent.trim().slice(0, 60)}`);
        }
    }
    return found.slice(0, 5);
}
"""
"""Whatever reaches over the edge of the screen. A table in a box of its own may be pushed aside."""

TOO_SMALL = """
least => {
    const touchable = "a[href], button, input:not([type=hidden]), select, textarea, summary";
    const inSentence = one => {
        if (getComputedStyle(one).display !== "inline") return false;
        const block = one.closest("p, li, dd, dt, td, th, span, div, label");
        return !!block && block.textContent.trim() !== one.textContent.trim();
    };
    const touched = one => {
        if (["checkbox", "radio"].includes(one.type)) return one.closest("label") || one;
        const spread = getComputedStyle(one, "::after");  // a link whose whole row is touched
        const isRow = spread.content !== "none" && spread.position === "absolute" && spread.inset === "0px";
        return isRow ? one.offsetParent : one;
    };
    const found = [];
    for (const one of document.querySelectorAll(touchable)) {
        if (!one.checkVisibility({ visibilityProperty: true }) || one.classList.contains("skip")) continue;
        if (one.matches("a") && inSentence(one)) continue;
        const { width, height } = touched(one).getBoundingClientRect();
        if (width >= least - 0.5 && height >= least - 0.5) continue;
        const words = (one.innerText || "").trim().slice(0, 50);
        found.push(`${one.tagName}.${one.className} ${one.name || ""}: ${width} x ${height} px, ${words}`);
    }
    return found;
}
"""
"""Whatever is touched and smaller than a thumb; links inside sentences are as high as their line."""


def width_problems(page: Page) -> list[str]:
    """What reaches over the edge of the screen."""
    return [f"too wide: {one}" for one in page.evaluate(TOO_WIDE)]


def thumb_problems(page: Page) -> list[str]:
    """What is too small for a thumb."""
    return [f"too small: {one}" for one in page.evaluate(TOO_SMALL, THUMB_PX)]


def axe_problems(page: Page, *rules: str) -> list[str]:
    """What axe-core holds for serious or critical; with rules only by these.

    Text is asked for 7:1 (WCAG 2.2, 1.4.6, contrast of enhanced level), as docs/identity.md says.
    """
    options: dict[str, Any] = {"rules": {"color-contrast-enhanced": {"enabled": True}}, "resultTypes": ["violations"]}
    if rules:
        options = {"runOnly": {"type": "rule", "values": list(rules)}, "resultTypes": ["violations"]}
    found = Axe().run(page, options=options).response["violations"]
    return [
        f"axe {one['id']} ({one['impact']}): {one['help']}: {one['nodes'][0]['html'][:200]}"
        + (f" and {len(one['nodes']) - 1} more" if len(one["nodes"]) > 1 else "")
        for one in found
        if one["impact"] in GRAVE
    ]
