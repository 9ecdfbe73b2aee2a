// The server's clock, as far as a page can know it.
//
// A page says when it was made (data-now, ISO 8601 with offset, on <html> or on a part that was swapped in). From then on
// two clocks of the phone count: the wall clock (Date), which may be set wrong but goes on while the phone sleeps, and the
// monotonic one (performance), which cannot be set but on many phones stands still in sleep. Only differences are used,
// so a phone whose clock is wrong, or a demo whose clock is fixed, still counts right.

const KEPT = "loopworthy-seen:";

const starts = new WeakMap(); // element with data-now -> {stamp, wall, steady}

// When this stamp was first seen on this device. A page kept by the browser and opened again carries its old stamp: time
// has passed since then, though both clocks of this visit begin now.
function firstSeen(stamp, now) {
  try {
    const kept = Number(sessionStorage.getItem(KEPT + stamp));
    if (kept && kept <= now) return kept;
    sessionStorage.setItem(KEPT + stamp, String(now));
  } catch {
    // no storage: this visit's clocks must do
  }
  return now;
}

// When this page was asked for: the server made it no earlier, so a slow network cannot lengthen a verdict.
function asked() {
  const [navigation] = performance.getEntriesByType("navigation");
  return navigation ? navigation.requestStart : 0;
}

function startOf(element) {
  const holder = element.closest("[data-now]");
  if (!holder) return null;
  const stamp = holder.dataset.now;
  let start = starts.get(holder);
  if (!start || start.stamp !== stamp) {
    const fixed = "clockFixed" in document.documentElement.dataset;
    const steady = holder === document.documentElement ? asked() : performance.now();
    const wall = Date.now() - Math.max(0, performance.now() - steady);
    start = { stamp, wall: fixed ? wall : firstSeen(stamp, wall), steady };
    starts.set(holder, start);
  }
  return start;
}

// Note when the page was first seen, before anything asks.
export function begin(root = document) {
  for (const holder of root.querySelectorAll("[data-now]")) startOf(holder);
}

// Milliseconds since the page was made: whichever clock says that more time has passed. Never too little.
export function passedSince(element) {
  const start = startOf(element);
  if (!start) return 0;
  return Math.max(0, Date.now() - start.wall, performance.now() - start.steady);
}

// The server's moment now, in milliseconds of the epoch; the phone's own where the page carries none.
export function serverNow(element) {
  const start = startOf(element);
  const made = start ? Date.parse(start.stamp) : NaN;
  return Number.isNaN(made) ? Date.now() : made + passedSince(element);
}

// A moment as ISO 8601 with the offset that the page was made in.
export function isoAt(milliseconds, element) {
  const start = startOf(element);
  const offset = /([+-])(\d\d):?(\d\d)$/.exec(start ? start.stamp : "");
  const minutes = offset ? (offset[1] === "-" ? -1 : 1) * (Number(offset[2]) * 60 + Number(offset[3])) : 0;
  const local = new Date(milliseconds + minutes * 60000).toISOString().slice(0, 19);
  return local + (offset ? `${offset[1]}${offset[2]}:${offset[3]}` : "Z");
}

// "09:12" of such a moment, in the page's own offset.
export function clockFace(milliseconds, element) {
  return isoAt(milliseconds, element).slice(11, 16);
}

// Fill {name} in a text that the server prepared.
export function fill(text, values) {
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}
