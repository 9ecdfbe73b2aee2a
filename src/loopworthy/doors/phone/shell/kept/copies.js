// Copies of the record: made in one tap, brought in from a file, and asked for when the last one is old.

import { act, grave, make, notice, say, sheet, unnotice, when } from "./show.js";

const DAY_MS = 86_400_000;
const OLD_DAYS = 7, MANY_EVENTS = 25;
const LAST = "loopworthy-copied", LATER = "loopworthy-copy-later";

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function lastOf(facts) {
  const last = read(LAST);
  return last && last.record === facts.record ? last : null;
}

export function lastCopyText(facts) {
  const last = lastOf(facts);
  return last ? say("last_copy", { when: when(last.at), events: last.events, now: facts.events }) : say("never_copied");
}

function stampedName(facts) {
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  const stamp = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}-${two(now.getHours())}${two(now.getMinutes())}`;
  const title = facts ? facts.title.replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "").toLowerCase() : "record";
  return `${title || "record"}-${stamp}.sqlite`;
}

// Hands the bytes on: by the phone's own sharing where it takes such a file, as a download otherwise.
async function handOn(bytes, name) {
  const file = new File([bytes], name, { type: "application/octet-stream" });
  if (navigator.canShare && navigator.canShare({ files: [file] })) {
    try {
      await navigator.share({ files: [file] });
      return say("copy_shared");
    } catch (error) {
      if (error.name === "AbortError") return "";
    }
  }
  const address = URL.createObjectURL(file);
  const link = make("a", { href: address, download: name, hidden: true });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  return say("copy_saved", { name });
}

export class Copies {
  // engine(): the engine where this tab keeps the record; changed(facts): after another record came into use.
  constructor(engine, changed) {
    this.engine = engine;
    this.changed = changed;
  }

  async make() {
    const { answer: facts } = await this.engine().ask("facts");
    const found = await this.engine().ask("copy");
    if (found.error) {
      notice("copy", `${say("copy_failed", { why: found.error.message })} ${found.error.next_step}`, [act("close", () => unnotice("copy"), { plain: true })], { grave: true });
      return;
    }
    const said = await handOn(found.bytes, stampedName(facts));
    if (!said) return; // somebody closed the sheet of the phone: no copy was made
    localStorage.setItem(LAST, JSON.stringify({ record: facts.record, at: Date.now(), events: facts.events }));
    unnotice("copy-old");
    notice("copy", said, [act("close", () => unnotice("copy"), { plain: true })]);
  }

  async saveAsItIs() {
    const found = await this.engine().ask("raw");
    if (found.error) notice("copy", say("copy_failed", { why: found.error.message }), [], { grave: true });
    else notice("copy", await handOn(found.bytes, stampedName(null)));
  }

  // With every page: whether a copy should be asked for.
  async remind() {
    const { answer: facts } = await this.engine().ask("facts");
    if (!facts || facts.invented) return;
    const last = lastOf(facts);
    const news = facts.events - (last ? last.events : 0);
    const old = last ? news > 0 && Date.now() - last.at > OLD_DAYS * DAY_MS : news >= MANY_EVENTS;
    const later = read(LATER);
    if (!old || (later && Date.now() - later < DAY_MS)) {
      unnotice("copy-old");
      return;
    }
    const text = last ? say("copy_old", { events: news, when: when(last.at) }) : say("copy_none", { events: news });
    const put = () => {
      localStorage.setItem(LATER, JSON.stringify(Date.now()));
      unnotice("copy-old");
    };
    notice("copy-old", text, [act("copy_button", () => this.make(), { name: "copy_now" }), act("copy_later", put, { plain: true })]);
  }

  // Ask for a file, check it, say what it holds, and take it in when somebody agrees.
  choose({ back }) {
    const picker = make("input", { type: "file", hidden: true, accept: ".sqlite,application/octet-stream,application/vnd.sqlite3" });
    picker.addEventListener("change", async () => {
      const file = picker.files[0];
      picker.remove();
      if (file) await this.look(file, back);
    });
    document.body.append(picker);
    picker.click();
  }

  async look(file, back) {
    const engine = this.engine();
    const found = await engine.ask("examine", {}, new Uint8Array(await file.arrayBuffer()));
    if (found.error) {
      sheet("restore", say("restore_button"), [grave(say("restore_refused", { why: found.error.message }), found.error.next_step)], { back });
      return;
    }
    const now = (await engine.ask("facts")).answer;
    const take = async () => {
      const taken = await engine.ask("take_in");
      if (taken.error) {
        sheet("restore", say("restore_button"), [grave(say("restore_refused", { why: taken.error.message }), taken.error.next_step)], { back });
        return;
      }
      this.changed(taken.answer);
      notice("copy", say("restored"), [act("close", () => unnotice("copy"), { plain: true })]);
    };
    sheet("restore", say("restore_button"), [
      make("p", {}, say("restore_found", found.answer)),
      now ? make("p", {}, say("restore_replaces", now)) : "",
      make("p", { class: "acts" }, act("restore_yes", take), act("cancel", back, { plain: true })),
    ]);
  }

  goBack({ back }) {
    const go = async () => {
      const gone = await this.engine().ask("go_back");
      if (gone.error) sheet("restore", say("earlier_button"), [grave(gone.error.message, gone.error.next_step)], { back });
      else this.changed(gone.answer);
    };
    sheet("restore", say("earlier_button"), [
      make("p", {}, say("earlier_sure")),
      make("p", { class: "acts" }, act("earlier_button", go, { name: "earlier_yes" }), act("cancel", back, { plain: true })),
    ]);
  }
}
