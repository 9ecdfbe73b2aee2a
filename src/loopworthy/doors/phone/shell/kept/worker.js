// The engine: Python with the program and its record, in a thread of the browser that no page can block.
//
// Its settings stand in the worker's name, because a service worker drops query strings of worker addresses:
// {base, engine, door, zone, store, alive}. It says {state, ...} when it stands, and answers {id, ...} to what it is asked.

import { flushesAreLed } from "./flush.js";
import { filesAreOffered, Locked, mountFiles, openFiles } from "./files.js";
import { mountDatabase } from "./database.js";
import { openOutside } from "./outside.js";

const settings = JSON.parse(self.name);
const RECORD = "/record", SCRATCH = "/tmp", APP = "/app";
const NAMES = ["chosen", "a.sqlite", "a.sqlite-journal", "b.sqlite", "b.sqlite-journal"];
const CHANGES = new Set(["begin", "join", "take_in", "go_back"]);
// The engine asks for no packages while it runs; what it has came with app.zip.
const NO_PACKAGES = JSON.stringify({
  info: { abi_version: "2026_0", arch: "wasm32", platform: "emscripten_5_0_3", python: "3.14.2", version: "314.0.7" },
  packages: {},
});

let python, entry, store;
let written = async () => {}; // resolves when what was recorded is stored; files are written through

// As long as this lives the lock is held; whoever waits for it learns of our end, however it came.
navigator.locks.request(settings.alive, () => new Promise(() => {}));

class Gone extends Error {}

async function openStore() {
  const chosen = settings.store;
  if (chosen !== "database" && filesAreOffered()) {
    try {
      return { kind: "files", files: await openFiles(`loopworthy-${settings.door}`, NAMES) };
    } catch (error) {
      const absent = error.name === "SecurityError" || error.name === "NotSupportedError";
      if (!absent || chosen === "files") throw error;
    }
  }
  if (chosen === "files") throw new Gone();
  return { kind: "database" };
}

async function bytesOf(name) {
  const found = await fetch(new URL(name, import.meta.url));
  if (!found.ok) throw new Error(`${name}: ${found.status}`);
  return found.arrayBuffer();
}

async function start() {
  const keeps = settings.door === "open";
  const opening = keeps ? openStore() : Promise.resolve({ kind: "memory" });
  opening.catch(() => {}); // told below, when the engine stands
  const program = bytesOf("app.zip");
  const { loadPyodide } = await import(new URL("pyodide.mjs", settings.engine));
  python = await loadPyodide({
    indexURL: settings.engine,
    lockFileContents: NO_PACKAGES,
    packageBaseUrl: settings.engine,
    env: { PYTHONDONTWRITEBYTECODE: "1", HOME: SCRATCH },
  });
  python.unpackArchive(await program, "zip", { extractDir: APP });
  store = await opening;
  if (store.kind === "files") {
    if (!flushesAreLed()) throw new Error("The engine's flushes do not reach the files");
    mountFiles(python.FS, RECORD, store.files);
  } else if (store.kind === "database") {
    written = await mountDatabase(python.FS, RECORD, "loopworthy-record", NAMES);
  }
  python.runPython(`import sys; sys.path.insert(0, "${APP}")`);
  const asked = { origin: location.origin, root: settings.base + settings.door, zone: settings.zone };
  const outside = keeps ? await openOutside("loopworthy-keys", () => written()) : undefined; // null would be no None there
  entry = python.pyimport("loopworthy.doors.phone.entry").Entry(JSON.stringify(asked), outside);
  const opened = ask(keeps ? "open" : "rehearse");
  if (opened.error) return { state: "refused", ...opened.error };
  return opened.answer ? { state: "ready", facts: opened.answer } : { state: "empty" };
}

function ask(what, values = {}) {
  return JSON.parse(entry.ask(what, JSON.stringify(values)));
}

const standing = start();
standing.then(
  (found) => postMessage({ ...found, store: store.kind }),
  (error) => {
    const state = error instanceof Locked ? "locked" : error instanceof Gone ? "gone" : "failed";
    postMessage({ state, message: String(error.stack || error) });
  },
);

// --- answering, one after the other ----------------------------------------------------------------------------------

async function page({ method, target, headers, body, own }) {
  const found = await entry.page(method, target, headers, body, own);
  const status = found.get(0), told = found.get(1), sent = found.get(2);
  const buffer = sent.getBuffer();
  try {
    return { status, headers: told.toJs(), body: buffer.data.slice() };
  } finally {
    buffer.release();
    for (const proxy of [told, sent, found]) proxy.destroy();
  }
}

async function other({ what, values, bytes }) {
  if (bytes) python.FS.writeFile(`${SCRATCH}/incoming.sqlite`, bytes);
  const answer = what === "join" ? JSON.parse(await entry.join(JSON.stringify(values))) : ask(what, values);
  if (CHANGES.has(what) && !answer.error) await written();
  if ((what === "copy" || what === "raw") && !answer.error) answer.bytes = python.FS.readFile(answer.answer);
  return answer;
}

async function answer({ id, request, ...asked }) {
  await standing.catch(() => {});
  try {
    const began = performance.now();
    const found = request ? await page(request) : await other(asked);
    if (request) found.took = performance.now() - began;
    if (request && request.method !== "GET" && request.method !== "HEAD") await written();
    const moved = [found.body, found.bytes].filter(Boolean).map((one) => one.buffer);
    postMessage({ id, found }, moved);
  } catch (error) {
    const full = error.name === "QuotaExceededError";
    postMessage({ id, failed: full ? "full" : "crashed", message: String(error.stack || error) });
    // The memory is ahead of what is stored, or no longer sound: nothing more may be answered from it.
    if (store.kind === "database" || !full) self.close();
  }
}

let before = Promise.resolve();
self.onmessage = ({ data }) => {
  before = before.then(() => answer(data));
};
