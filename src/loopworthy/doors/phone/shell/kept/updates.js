// A new version is fetched in the background and offered. It is put in place only when somebody wants it and nothing is
// typed that has not been sent, in this tab or another.

import { act, notice, say, unnotice } from "./show.js";

const LOOK_EVERY_MS = 3_600_000;
const ANSWER_WITHIN_MS = 1500;
const DONE = "loopworthy-updated";

// Whether a page holds something that somebody typed or chose and has not sent.
export function isTyped(document) {
  if (!document) return false;
  for (const form of document.querySelectorAll("form")) {
    if (form.method !== "post") continue;
    for (const field of form.elements) {
      if (field.type === "hidden" || field.type === "submit" || field.disabled) continue;
      if (field.type === "checkbox" || field.type === "radio") {
        if (field.checked !== field.defaultChecked) return true;
      } else if (field.tagName === "SELECT") {
        const chosen = [...field.options].findIndex((one) => one.defaultSelected);
        if (field.selectedIndex !== Math.max(0, chosen)) return true;
      } else if (field.type === "file" ? field.files.length : field.value !== field.defaultValue) {
        return true;
      }
    }
  }
  return false;
}

export class Updates {
  // frame: the iframe with the pages.
  constructor(registration, frame) {
    this.registration = registration;
    this.frame = frame;
    this.wanted = false;
    this.others = new BroadcastChannel(`loopworthy ${new URL(document.baseURI).pathname}`);
    this.others.onmessage = ({ data }) => {
      if (data.typed === "?") this.others.postMessage({ typed: this.typedHere(), asked: data.asked });
      else if (this.answers && data.asked === this.asked) this.answers.push(data.typed);
    };
    // The first worker takes the page without a word; only a later one brings another version.
    let controlled = Boolean(navigator.serviceWorker.controller);
    navigator.serviceWorker.addEventListener("controllerchange", () => {
      if (controlled) this.reload();
      controlled = true;
    });
    if (sessionStorage.getItem(DONE)) {
      sessionStorage.removeItem(DONE);
      notice("updated", say("update_done"), [act("close", () => unnotice("updated"), { plain: true })]);
    }
    if (!registration) return;
    registration.addEventListener("updatefound", () => this.follow(registration.installing));
    if (registration.installing) this.follow(registration.installing);
    this.offer();
    this.look();
    setInterval(() => this.look(), LOOK_EVERY_MS);
  }

  look() {
    this.registration.update().catch(() => {}); // no network: another time
  }

  follow(worker) {
    worker.addEventListener("statechange", () => this.offer());
  }

  offer() {
    if (!this.registration.waiting || !navigator.serviceWorker.controller || this.wanted) return;
    notice("update", say("update_ready"), [act("update_now", () => this.want()), act("copy_later", () => unnotice("update"), { plain: true, name: "update_later" })]);
  }

  want() {
    this.wanted = true;
    this.swap();
  }

  typedHere() {
    return isTyped(this.frame.contentDocument);
  }

  async typedElsewhere() {
    this.asked = crypto.randomUUID();
    this.answers = [];
    this.others.postMessage({ typed: "?", asked: this.asked });
    await new Promise((go) => setTimeout(go, ANSWER_WITHIN_MS));
    return this.answers.some(Boolean);
  }

  // Called when wanted, and again with every page that is shown.
  async swap() {
    if (!this.wanted || !this.registration.waiting) return;
    if (this.typedHere() || (await this.typedElsewhere()) || this.typedHere()) {
      notice("update", say("update_waits"));
      clearTimeout(this.again);
      this.again = setTimeout(() => this.swap(), 5000);
      return;
    }
    unnotice("update");
    this.registration.waiting.postMessage({ activate: true });
  }

  reload() {
    if (isTyped(this.frame.contentDocument)) { // typed in the last moment: the old program goes on in this tab
      clearTimeout(this.again);
      this.again = setTimeout(() => this.reload(), 1000);
      return;
    }
    sessionStorage.setItem(DONE, "yes");
    location.reload();
  }
}
