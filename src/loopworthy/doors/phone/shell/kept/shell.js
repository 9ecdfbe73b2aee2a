// The page that stays while the pages of the program change in its frame. It sees to it that the program is kept on the
// phone, that one tab keeps the record, and that everything that goes wrong is said.

import { Copies, lastCopyText } from "./copies.js";
import { Engine } from "./engine.js";
import { Keeping } from "./keeping.js";
import { act, grave, make, notice, pages, panel, say, sheet, showPages, unnotice } from "./show.js";
import { Updates } from "./updates.js";

const base = new URL(document.baseURI).pathname;
const { version, engine: engineMark } = document.documentElement.dataset;
const asked = new URLSearchParams(location.search);
const door = asked.get("door") === "club" ? "club" : "open";
const root = `${base}${door}/`;
const STORE = "loopworthy-store", ASKED_TO_KEEP = "loopworthy-asked-to-keep";
const ASK_AGAIN_MS = 30 * 86_400_000;

let engine = null; // where this tab keeps the record
let state = { state: "starting" };
let updates = null;
let fetched = ""; // how far the program has been fetched
const waiting = []; // pages asked for while the engine starts
let joinShown = false; // the code in the address is proposed once

// --- the program kept on the phone -----------------------------------------------------------------------------------

function missing() {
  if (!window.isSecureContext) return "https";
  if (!navigator.serviceWorker) return "service workers";
  if (!navigator.locks) return "locks";
  if (typeof WebAssembly !== "object") return "WebAssembly";
  return "";
}

async function keepProgram() {
  let registration = null;
  try {
    registration = await navigator.serviceWorker.register("sw.js", { scope: "./", updateViaCache: "none" });
  } catch (error) {
    if (!navigator.serviceWorker.controller) throw error; // without a network what is kept goes on
    registration = (await navigator.serviceWorker.getRegistration(base)) || null;
  }
  if (!navigator.serviceWorker.controller) {
    const controlled = new Promise((go) => navigator.serviceWorker.addEventListener("controllerchange", go, { once: true }));
    if (registration.installing) await installed(registration.installing);
    if (registration.active) registration.active.postMessage({ claim: true }); // a page that was loaded past it
    await controlled;
  }
  return registration;
}

function installed(worker) {
  return new Promise((resolve, reject) => {
    worker.addEventListener("statechange", () => {
      if (worker.state === "redundant") reject(new Error(fetched));
      else if (worker.state !== "installing") resolve();
    });
  });
}

function showFetching({ done, all }) {
  const mb = (bytes) => (bytes / 1e6).toFixed(1);
  fetched = say("fetching", { done: mb(done), all: mb(all) });
  if (panel.dataset.sheet !== "starting") return;
  panel.querySelector("[data-fetching]").replaceChildren(
    make("p", {}, fetched), make("progress", { class: "fetching", max: all, value: done, "aria-label": fetched }),
  );
}

function showStarting() {
  sheet("starting", say("name"), [make("p", {}, say("starting")), make("div", { "data-fetching": true })]);
}

// --- pages -----------------------------------------------------------------------------------------------------------

function openPages(at = "") {
  pages.title = say("pages");
  pages.src = root + at;
  showPages();
}

// The address bar and the title go with the page in the frame.
function followPage() {
  let there;
  try {
    there = pages.contentWindow.location;
    if (there.pathname.startsWith(root)) history.replaceState(null, "", there.pathname + there.search + there.hash);
    document.title = pages.contentDocument.title || say("name");
  } catch {
    return; // a page that is no page of ours: it keeps its own address
  }
  if (!performance.getEntriesByName("first-page").length) performance.mark("first-page");
  pages.contentDocument.addEventListener("click", (event) => {
    if (event.target.closest("[data-pocket]")) showPhone();
  });
  if (engine && state.state === "ready" && door === "open") copies.remind();
  if (updates) updates.swap();
}

async function answerPage(request, port) {
  port.postMessage({ heard: true });
  if (state.state === "starting" || state.state === "crashed") {
    waiting.push([request, port]);
    return;
  }
  if (state.state !== "ready") {
    port.postMessage({ failed: "no_leader" });
    return;
  }
  const found = await engine.send({ request }, [request.body.buffer]);
  port.postMessage(found, found.body ? [found.body.buffer] : []);
}

navigator.serviceWorker?.addEventListener("message", ({ data, ports }) => {
  if (data.fetching) showFetching(data.fetching);
  if (data.page && data.door === door && engine) answerPage(data.page, ports[0]);
});

// --- the engine ------------------------------------------------------------------------------------------------------

const copies = new Copies(() => engine, (facts) => {
  state = { ...state, state: "ready", facts };
  openPages();
});

function keepRecord(late) {
  unnotice("follower");
  if (late) notice("taking-over", say("taking_over"));
  engine = new Engine(
    {
      base, door, name: `loopworthy ${base}`, engine: new URL(`e/${engineMark}/`, document.baseURI).href,
      zone: Intl.DateTimeFormat().resolvedOptions().timeZone, store: localStorage.getItem(STORE) || "",
    },
    (told) => heard(told, late),
  );
}

function heard(told, late) {
  const first = state.state === "starting" && pages.hidden;
  state = told;
  if (door === "open" && ["ready", "empty"].includes(told.state)) localStorage.setItem(STORE, told.store);
  if (told.state === "crashed") notice("crashed", say("crashed"), [act("close", () => unnotice("crashed"), { plain: true })], { grave: true });
  if (told.state === "starting" || told.state === "crashed") return;
  if (late) {
    unnotice("taking-over");
    notice("taken-over", say("taken_over"), [act("close", () => unnotice("taken-over"), { plain: true })]);
    late = false;
  }
  if (told.state === "ready") {
    for (const [request, port] of waiting.splice(0)) answerPage(request, port);
    askToKeep();
    const code = asked.get("code"); // a hub's code, opened with the camera
    if (first) openPages(code ? `record/exchange?${new URLSearchParams({ code })}` : asked.get("at") || "");
    return;
  }
  for (const [, port] of waiting.splice(0)) port.postMessage({ failed: "no_leader" });
  if (told.state === "empty") showBegin();
  else showTrouble(told);
}

function showTrouble({ state: name, message = "", next_step: step = "" }) {
  const again = act("retry", () => { showStarting(); state = { state: "starting" }; engine.restart(); });
  const details = make("p", { class: "details" }, message);
  const acts = (...more) => make("p", { class: "acts" }, again, ...more);
  if (name === "locked") sheet(name, say("refused"), [grave(say("locked"), say("locked_step")), acts()]);
  else if (name === "gone") sheet(name, say("refused"), [grave(say("store_gone"), say("store_gone_step")), acts()]);
  else if (name === "refused") {
    const raw = act("copy_raw", () => copies.saveAsItIs(), { plain: true });
    const bring = act("restore_button", () => copies.choose({ back: () => showTrouble(state) }), { plain: true });
    sheet(name, say("refused"), [grave(message, step), acts(raw, bring)]);
  } else sheet(name, say("refused"), [grave(say("crashed_again"), say("crashed_again_step")), acts(), details]);
}

// --- beginning -------------------------------------------------------------------------------------------------------

function showBegin() {
  const field = (name) => [
    make("label", { for: name }, say(`begin_${name}`)),
    make("input", { type: "text", id: name, name, value: say(`begin_${name}_default`), maxlength: "60", required: true, autocomplete: "off" }),
    make("p", { class: "quiet" }, say(`begin_${name}_help`)),
  ];
  const said = make("div", { role: "alert" });
  const form = make("form", {}, ...field("record"), ...field("device"), said,
    make("p", { class: "acts" }, make("button", { class: "act", type: "submit", "data-act": "begin" }, say("begin_button"))));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const begun = await engine.ask("begin", { title: form.elements.record.value, device: form.elements.device.value });
    if (begun.error) {
      said.replaceChildren(grave(begun.error.message, begun.error.next_step));
      return;
    }
    state = { ...state, state: "ready", facts: begun.answer };
    askToKeep();
    openPages(asked.get("at") || "");
  });
  if (asked.get("code") && !joinShown) {
    showJoin();
    return;
  }
  const club = make("a", { class: "act act--plain", href: "?door=club", "data-act": "rehearse" }, say("begin_rehearse"));
  sheet("begin", say("begin_title"), [
    make("p", {}, say("begin_text")), form,
    make("p", { class: "acts" }, act("join", showJoin, { plain: true }), act("begin_from_copy", () => copies.choose({ back: showBegin }), { plain: true }), club),
    make("p", { class: "quiet" }, say("begin_rehearse_help")),
  ]);
}

// Take over the record of a hub. Its code, opened with the phone's camera, leads here with ?code=.
function showJoin() {
  joinShown = true;
  // Where a phone got its program from there mostly is the hub as well.
  const hub = base.endsWith("/phone/") ? location.origin + base.slice(0, -"/phone/".length) : "";
  const proposed = { address: hub, code: asked.get("code") || "", device: say("begin_device_default") };
  const field = (name, more = {}) => [
    make("label", { for: name }, say(`join_${name}`)),
    make("input", { type: "text", id: name, name, value: proposed[name], autocomplete: "off", autocapitalize: "off", spellcheck: "false", ...more }),
    make("p", { class: "quiet" }, say(`join_${name}_help`)),
  ];
  const said = make("div", { role: "alert" });
  const send = make("button", { class: "act", type: "submit", "data-act": "join_button" }, say("join_button"));
  const form = make("form", {}, ...field("address", { required: true, inputmode: "url" }), ...field("code"),
    ...field("device", { required: true, maxlength: "60" }), said, make("p", { class: "acts" }, send));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    send.disabled = true;
    said.replaceChildren(make("p", {}, say("joining")));
    const [address, code, device] = ["address", "code", "device"].map((name) => form.elements[name].value);
    const joined = await engine.ask("join", { address, code, device });
    send.disabled = false;
    if (joined.error) {
      said.replaceChildren(grave(joined.error.message, joined.error.next_step));
      return;
    }
    state = { ...state, state: "ready", facts: joined.answer };
    askToKeep();
    openPages();
  });
  sheet("join", say("join"), [make("p", {}, say("join_text")), form], { back: showBegin });
}

// --- this phone ------------------------------------------------------------------------------------------------------

// Browsers that ask a person are not asked to ask every time.
async function askToKeep() {
  if (door !== "open" || !navigator.storage || !navigator.storage.persist || (await navigator.storage.persisted())) return;
  const before = Number(localStorage.getItem(ASKED_TO_KEEP) || 0);
  if (Date.now() - before < ASK_AGAIN_MS) return;
  localStorage.setItem(ASKED_TO_KEEP, String(Date.now()));
  await navigator.storage.persist();
}

async function storageTexts() {
  const texts = [say(localStorage.getItem(STORE) === "database" ? "store_database" : "store_files")];
  if (!navigator.storage || !navigator.storage.persisted) texts.push(say("persistent_unknown"));
  else texts.push(say((await navigator.storage.persisted()) ? "persistent_yes" : "persistent_no"));
  if (navigator.storage && navigator.storage.estimate) {
    const { usage = 0, quota = 0 } = await navigator.storage.estimate();
    const mb = (bytes) => String(Math.round(bytes / 1e6));
    texts.push(say("room", { used: mb(usage), all: mb(quota) }));
  }
  return texts;
}

async function showPhone() {
  const back = showPages;
  const parts = [];
  if (door === "club") {
    parts.push(make("p", {}, say("rehearsal")));
  } else if (engine) {
    const facts = (await engine.ask("facts")).answer;
    parts.push(make("h2", {}, say("copies")), make("p", {}, lastCopyText(facts)));
    parts.push(make("p", { class: "acts" }, act("copy_button", () => copies.make()), act("restore_button", () => copies.choose({ back: showPhone }), { plain: true })));
    if (facts.earlier) {
      parts.push(make("p", {}, say("earlier")), make("p", { class: "acts" }, act("earlier_button", () => copies.goBack({ back: showPhone }), { plain: true })));
    }
  } else {
    parts.push(make("p", {}, say("follower")));
  }
  if (door === "open") parts.push(make("h2", {}, say("store")), ...(await storageTexts()).map((text) => make("p", {}, text)));
  parts.push(make("h2", {}, say("version")), make("p", {}, say("version_now", { version })));
  sheet("phone", say("open"), parts, { back });
}

// --- start -----------------------------------------------------------------------------------------------------------

pages.addEventListener("load", followPage);

async function start() {
  const lacks = missing();
  if (lacks === "https") {
    sheet("not-secure", say("name"), [grave(say("not_secure"), say("not_secure_step"))]);
    return;
  }
  if (lacks) {
    sheet("too-old", say("name"), [grave(say("too_old", { what: lacks }), say("too_old_step"))]);
    return;
  }
  showStarting();
  let registration;
  try {
    registration = await keepProgram();
  } catch (error) {
    sheet("not-fetched", say("name"), [grave(fetched || say("waiting"), String(error.message || error)),
      make("p", { class: "acts" }, act("retry", () => location.reload()))]);
    return;
  }
  updates = new Updates(registration, pages);
  if (door === "club") {
    notice("club", say("rehearsal"), [make("a", { class: "act act--plain", href: "./", "data-act": "leave" }, say("rehearsal_end"))]);
  }
  new Keeping(`loopworthy ${base} ${door}`, {
    begin: keepRecord,
    follow: () => {
      notice("follower", say("follower"), [act("close", () => unnotice("follower"), { plain: true })]);
      openPages(asked.get("at") || "");
    },
  });
}

start();
