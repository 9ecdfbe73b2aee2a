// Keeps one version of the program on the phone and leads each request of its pages to the tab that keeps the record.
// The two values below are put in by phone/build.py.

const VERSION = "@version@";
const FILES = "@files@"; // path -> bytes

const BASE = new URL("./", location).pathname;
const MARK = `loopworthy ${BASE} `;
const CACHE = MARK + VERSION;
const DOORS = ["open", "club"]; // the record; an invented club that is not kept
const SILENT_MS = 5000; // the tab that keeps the record says at once that it has heard
const SLOW_MS = 60_000;
const LOOK_MS = 1000;

// --- keeping the program ---------------------------------------------------------------------------------------------

self.addEventListener("install", (event) => event.waitUntil(keepAll()));

self.addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith(MARK) && name !== CACHE) await caches.delete(name);
  await self.clients.claim();
})()));

self.addEventListener("message", (event) => {
  if (event.data.activate) event.waitUntil(self.skipWaiting());
  if (event.data.claim) event.waitUntil(self.clients.claim());
});

async function keepAll() {
  const cache = await caches.open(CACHE);
  const all = Object.values(FILES).reduce((sum, bytes) => sum + bytes, 0);
  let done = 0;
  for (const [path, bytes] of Object.entries(FILES)) {
    if (!(await cache.match(BASE + path))) await cache.put(BASE + path, await fetched(path));
    done += bytes;
    await tellAll({ fetching: { done, all } });
  }
}

// A file whose address names its content is taken from an earlier version, where that has it.
async function fetched(path) {
  const named = path.startsWith("v/") || path.startsWith("e/");
  const kept = named && (await caches.match(BASE + path));
  if (kept) return kept;
  const answer = await fetch(BASE + path, { cache: named ? "default" : "no-cache" });
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  if (path === "index.html" && !(await answer.clone().text()).includes(VERSION)) {
    throw new Error("another version was put there meanwhile");
  }
  return answer.redirected ? new Response(answer.body, { headers: answer.headers }) : answer;
}

async function tellAll(message) {
  for (const client of await self.clients.matchAll({ type: "window", includeUncontrolled: true })) client.postMessage(message);
}

async function kept(path, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(BASE + path)) || fetch(request);
}

// --- answering -------------------------------------------------------------------------------------------------------

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== location.origin || !url.pathname.startsWith(BASE)) return;
  const path = url.pathname.slice(BASE.length);
  const door = path.split("/", 1)[0];
  if (DOORS.includes(door)) {
    // Whatever is opened as a tab's own page gets the shell, which opens the same address inside it. Nothing that
    // another site sends into a tab of its own reaches the record this way.
    if (request.mode === "navigate" && request.destination === "document") event.respondWith(toShell(door, path, url));
    else event.respondWith(page(request, url, door));
  } else if (path === "" || path === "index.html") {
    event.respondWith(kept("index.html", request));
  } else if (path in FILES) {
    event.respondWith(kept(path, request));
  }
});

function toShell(door, path, url) {
  const to = new URL(BASE, location);
  to.searchParams.set("at", path.slice(door.length + 1) + url.search);
  if (door !== DOORS[0]) to.searchParams.set("door", door);
  return Response.redirect(to, 302);
}

async function page(request, url, door) {
  const reads = request.method === "GET" || request.method === "HEAD";
  const body = reads ? new Uint8Array() : new Uint8Array(await request.arrayBuffer());
  const asked = {
    method: request.method, target: url.pathname + url.search, headers: [...request.headers], body,
    own: reads || request.referrer.startsWith(location.origin + BASE),
  };
  const found = await fromKeeper(asked, door, reads);
  if (found.failed) return failure(request, url, found, reads);
  const led = found.headers.find(([name]) => name === "location");
  if (led && found.status >= 300 && found.status < 400) return Response.redirect(new URL(led[1], url), found.status);
  const headers = [...found.headers, ["server-timing", `engine;dur=${found.took.toFixed(1)}`]];
  const empty = found.status === 204 || found.status === 304 || request.method === "HEAD";
  return new Response(empty ? null : found.body, { status: found.status, headers });
}

// Every tab hears of it; only the one that keeps the record answers. A tab that was closed meanwhile is noticed, and a
// page that was only asked for is asked for again from the tab that took over.
async function fromKeeper(asked, door, reads) {
  const until = Date.now() + SLOW_MS;
  for (;;) {
    const shells = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
    const tops = shells.filter((one) => one.frameType === "top-level" && new URL(one.url).pathname.startsWith(BASE));
    if (!tops.length) return { failed: "no_leader" };
    const found = await ask(tops, asked, door, until);
    if (!(found.failed === "closed" && reads && Date.now() < until)) return found;
  }
}

function ask(shells, asked, door, until) {
  return new Promise((resolve) => {
    let keeper = null;
    const channels = [];
    const timers = [];
    const done = (found) => {
      for (const timer of timers) { clearTimeout(timer); clearInterval(timer); }
      for (const channel of channels) channel.port1.close();
      resolve(found);
    };
    for (const shell of shells) {
      const channel = new MessageChannel();
      channels.push(channel);
      channel.port1.onmessage = ({ data }) => {
        if (data.heard) keeper = shell.id;
        else done(data);
      };
      shell.postMessage({ page: asked, door }, [channel.port2]);
    }
    timers.push(setTimeout(() => { if (!keeper) done({ failed: "leader_silent" }); }, SILENT_MS));
    timers.push(setTimeout(() => done({ failed: "engine_slow", seconds: SLOW_MS / 1000 }), until - Date.now()));
    timers.push(setInterval(async () => {
      if (keeper && !(await self.clients.get(keeper))) done({ failed: "closed" });
    }, LOOK_MS));
  });
}

// --- a page that could not be had ------------------------------------------------------------------------------------

const WORDS_FOR = { crashed: "crashed_page", closed: "crashed_page" };

async function failure(request, url, found, reads) {
  const words = await (await kept(`v/${VERSION}/texts.json`, `${BASE}v/${VERSION}/texts.json`)).json();
  const key = WORDS_FOR[found.failed] || found.failed;
  const escaped = (text) => text.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`);
  const said = (name) => escaped((words[name] || "").replace("{seconds}", String(found.seconds)));
  const again = reads ? url.pathname + url.search : request.referrer || BASE;
  const html = `<!doctype html><html lang="${words.lang}"><head><meta charset="utf-8"><title>${said("page_failed")}</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><script src="${BASE}v/${VERSION}/shade.js"></script>
<link rel="stylesheet" href="${BASE}v/${VERSION}/tokens.css"><link rel="stylesheet" href="${BASE}v/${VERSION}/shell.css"></head>
<body data-failed="${escaped(found.failed)}"><main class="sheet"><h1>${said("page_failed")}</h1><p>${said(key)}</p><p>${said(`${key}_step`)}</p>
<p class="acts"><a class="act" href="${escaped(again)}">${said("retry")}</a></p></main></body></html>`;
  return new Response(html, {
    status: 503,
    headers: {
      "Content-Type": "text/html; charset=utf-8", "Cache-Control": "no-store", "Referrer-Policy": "same-origin",
      "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; base-uri 'none'; frame-ancestors 'self'",
    },
  });
}
