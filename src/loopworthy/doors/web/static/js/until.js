// A verdict is never shown past its until-time: not on a phone that slept, not on a page that was kept.
// Looks at every [data-until] each second, and whenever the page is seen again.

import { begin, fill, serverNow } from "./clock.js";

const MINUTE = 60000;

function panelOf(time) {
  return time.closest("[data-verdict]");
}

function blank(panel) {
  if ("verdictOver" in panel.dataset) return;
  panel.dataset.verdictOver = "";
  const ended = panel.querySelector("[data-verdict-ended]");
  // Words go, not only from sight: nothing that reads the page may still find "ready".
  for (const live of panel.querySelectorAll("[data-verdict-live]")) live.remove();
  if (!ended) return;
  const text = ended.querySelector("[data-verdict-ended-text]");
  if (text) text.textContent = ended.dataset.text; // a bounded state has its word in place already
  for (const link of ended.querySelectorAll("[data-read-again]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      location.reload();
    });
  }
  ended.hidden = false;
}

export function look(root = document) {
  for (const time of root.querySelectorAll("[data-until]")) {
    const until = Date.parse(time.dataset.until);
    const left = until - serverNow(time);
    if (!(left > 0)) {
      // also when the moment cannot be read: without an end there is no verdict to show
      const panel = panelOf(time);
      if ("untilBlank" in time.dataset && panel) blank(panel);
      continue;
    }
    const words = left < MINUTE ? time.dataset.textLast : fill(time.dataset.textLeft || "", { minutes: Math.floor(left / MINUTE) });
    if (time.textContent !== words) time.textContent = words || "";
  }
}

// Out of sight, verdicts are covered (base.css), so that waking up shows none before its time was looked at.
function cover() {
  document.documentElement.dataset.unseen = "";
}

function lookAgain() {
  look();
  if (document.visibilityState !== "hidden") delete document.documentElement.dataset.unseen;
}

export function start() {
  begin();
  look();
  setInterval(lookAgain, 1000);
  document.addEventListener("visibilitychange", () => (document.visibilityState === "hidden" ? cover() : lookAgain()));
  document.addEventListener("resume", lookAgain);
  window.addEventListener("pagehide", cover);
  for (const event of ["pageshow", "focus", "beforeprint"]) window.addEventListener(event, lookAgain);
}
