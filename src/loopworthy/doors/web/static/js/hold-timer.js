// A hold against the clock. It counts by moments, not by ticks, so a page that slept or was reloaded counts on. The bar
// empties; a few words are read out. An attempt that was given up stays and is sent with the form.

import { fill, isoAt, serverNow } from "./clock.js";

const KEPT = "loopworthy-hold:";
const CLOCKS_MAY_DIFFER_MS = 2000;

function labelOf(prompt) {
  const label = prompt.querySelector("label");
  return label ? label.firstChild.textContent.trim() : "";
}

class Hold {
  constructor(box) {
    this.box = box;
    this.key = KEPT + location.pathname + ":" + box.dataset.hold;
    this.length = Number(box.dataset.holdSeconds) * 1000;
    const one = (name) => box.querySelector(`[data-hold-${name}]`);
    this.number = one("number");
    this.bar = one("bar");
    this.says = one("says");
    this.clocks = one("clocks");
    this.buttons = { start: one("start"), stop: one("stop"), again: one("again") };
    this.sent = { started: one("started"), ended: one("ended"), givenUp: one("given-up"), clocks: one("clocks-field") };
    this.prompts = [...box.querySelectorAll("[data-hold-prompt]")];
    this.full = Number(this.bar.getAttribute("width"));
    this.state = this.kept() || this.sentBefore() || { phase: "idle", givenUp: [] };
    this.steady = null; // monotonic start, known only in the visit that started the hold
    this.said = "";

    for (const field of Object.values(this.sent)) field.disabled = false;
    one("live").hidden = false;
    this.buttons.start.addEventListener("click", () => this.begin());
    this.buttons.stop.addEventListener("click", () => this.giveUp());
    this.buttons.again.addEventListener("click", () => this.again());
    const form = box.closest("form");
    if (form) form.addEventListener("submit", (event) => { if (!event.defaultPrevented) this.forget(); });
    this.show();
  }

  // The server refused something else on the form and gives the hold back: it must not be held again for that.
  sentBefore() {
    const started = Date.parse(this.sent.started.value);
    if (Number.isNaN(started)) return null;
    const ended = Date.parse(this.sent.ended.value);
    return {
      phase: Number.isNaN(ended) ? "running" : "held", started, ended: Number.isNaN(ended) ? null : ended,
      wall: Date.now() - (serverNow(this.box) - started), due: -1,
      givenUp: this.sent.givenUp.value.split(" ").filter(Boolean), differ: this.sent.clocks.value,
    };
  }

  kept() {
    try {
      return JSON.parse(sessionStorage.getItem(this.key));
    } catch {
      return null;
    }
  }

  keep() {
    try {
      sessionStorage.setItem(this.key, JSON.stringify(this.state));
    } catch {
      // no storage: the hold lives as long as the page
    }
  }

  forget() {
    try {
      sessionStorage.removeItem(this.key);
    } catch {
      // nothing was kept
    }
  }

  begin() {
    this.steady = performance.now();
    Object.assign(this.state, { phase: "running", wall: Date.now(), started: serverNow(this.box), ended: null, differ: "", due: -1 });
    this.keep();
    this.say(this.box.dataset.textRunning);
    this.show();
  }

  // Time held. The wall clock goes on in sleep, so it decides; where the steady clock says otherwise, both are told.
  held() {
    const wall = Math.max(0, Date.now() - this.state.wall);
    if (this.steady !== null) {
      const steady = performance.now() - this.steady;
      if (Math.abs(wall - steady) > CLOCKS_MAY_DIFFER_MS) {
        this.state.differ = `${Math.round(wall / 1000)} ${Math.round(steady / 1000)}`;
      }
    }
    return wall;
  }

  giveUp() {
    const held = this.held();
    this.state.givenUp.push(`${isoAt(this.state.started, this.box)}/${isoAt(this.state.started + held, this.box)}`);
    this.state.phase = "idle";
    this.keep();
    this.say(fill(this.box.dataset.textGivenUp, { held: Math.floor(held / 1000) }));
    this.show();
  }

  again() {
    this.state.givenUp.push(`${isoAt(this.state.started, this.box)}/${isoAt(this.state.ended, this.box)}`);
    this.begin();
  }

  end(held) {
    this.state.phase = "held";
    this.state.ended = this.state.started + held;
    this.keep();
    this.say(this.box.dataset.textDone);
    if (navigator.vibrate) navigator.vibrate([200, 100, 200]);
  }

  say(words) {
    if (words !== this.said) this.says.textContent = this.said = words;
  }

  // Once a reading falls due, say so; the fields are there all the time.
  prompt(held) {
    for (const [index, prompt] of this.prompts.entries()) {
      const due = held >= Number(prompt.dataset.holdPrompt) * 1000;
      prompt.toggleAttribute("data-due", due);
      if (due && index > this.state.due) {
        this.state.due = index;
        this.keep();
        this.say(fill(this.box.dataset.textPrompt, { label: labelOf(prompt) }));
      }
    }
  }

  show() {
    const { phase } = this.state;
    let left = this.length;
    if (phase === "running") {
      const held = this.held();
      left = Math.max(0, this.length - held);
      this.prompt(held);
      if (left === 0) this.end(held);
      else if (left <= 10000 && this.length > 30000) this.say(this.box.dataset.textTenLeft);
    } else if (phase === "held") {
      left = 0;
      this.prompt(this.length);
      if (!this.said) this.say(this.box.dataset.textDone);
    } else {
      for (const prompt of this.prompts) prompt.removeAttribute("data-due");
    }
    const seconds = Math.ceil(left / 1000);
    const face = this.length > 120000 ? `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`
      : fill(this.box.dataset.textSeconds, { seconds });
    if (this.number.textContent !== face) this.number.textContent = face;
    this.bar.setAttribute("width", String((this.full * left) / this.length));
    this.buttons.start.hidden = this.state.phase !== "idle";
    this.buttons.stop.hidden = this.state.phase !== "running";
    this.buttons.again.hidden = this.state.phase !== "held";
    this.sent.started.value = this.state.phase === "idle" ? "" : isoAt(this.state.started, this.box);
    this.sent.ended.value = this.state.phase === "held" ? isoAt(this.state.ended, this.box) : "";
    this.sent.givenUp.value = this.state.givenUp.join(" ");
    this.sent.clocks.value = this.state.phase === "idle" ? "" : this.state.differ;
    this.clocks.hidden = !this.sent.clocks.value;
    if (!this.clocks.hidden) {
      const [one, other] = this.state.differ.split(" ");
      this.clocks.textContent = fill(this.box.dataset.textClocks, { one, other });
    }
  }
}

const holds = new Map(); // element -> Hold

export function attach(root = document) {
  for (const box of root.querySelectorAll("[data-hold]")) if (!holds.has(box)) holds.set(box, new Hold(box));
}

function tick() {
  for (const [box, hold] of holds) {
    if (!box.isConnected) holds.delete(box);
    else if (hold.state.phase === "running") hold.show();
  }
}

export function start() {
  attach();
  setInterval(tick, 250);
  document.addEventListener("visibilitychange", tick);
  window.addEventListener("pageshow", tick);
}
