// Drawing of the shell: notices in the strip, sheets in front of the pages. All words come from texts.json.

const HERE = new URL("texts.json", import.meta.url);

export const words = await (await fetch(HERE)).json();

export function say(key, values = {}) {
  if (!(key in words)) throw new Error(`There is no text ${key}`);
  return words[key].replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}

export const strip = document.getElementById("notices");
export const panel = document.getElementById("panel");
export const pages = document.getElementById("pages");

export function make(tag, attributes = {}, ...inside) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "onclick") element.addEventListener("click", value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null) element.setAttribute(name, value);
  }
  element.append(...inside.filter((one) => one !== null && one !== ""));
  return element;
}

export function act(key, does, { plain = false, name = key } = {}) {
  return make("button", { type: "button", class: plain ? "act act--plain" : "act", "data-act": name, onclick: does }, say(key));
}

// A notice has a name; the same name replaces it.
export function notice(name, text, acts = [], { grave = false } = {}) {
  unnotice(name);
  strip.append(make("div", { class: grave ? "notice notice--grave" : "notice", "data-notice": name }, make("p", {}, text), ...acts));
}

export function unnotice(name) {
  for (const one of strip.querySelectorAll(`[data-notice="${name}"]`)) one.remove();
}

// The mark in the colour of the shade; the icon has a ground of its own, which is a box on a dark sheet.
function drawnMark() {
  const svg = (name, attributes) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    return one;
  };
  const mark = svg("svg", { viewBox: "0 0 32 32", "aria-hidden": "true", focusable: "false" });
  mark.append(svg("path", { d: "M3 3h10v11h6v5h10v10H3z" }), svg("path", { d: "M16 3h8l5 5v8h-7v-5h-6z" }));
  return mark;
}

// A sheet in front of the pages. With `back` it can be put away again.
export function sheet(name, title, parts, { back = null } = {}) {
  const head = make("h1", { tabindex: "-1" }, title);
  panel.replaceChildren(
    make("p", { class: "mark" }, drawnMark(), say("name")),
    head, ...parts.filter((one) => one !== null && one !== ""),
    ...(back ? [make("p", { class: "acts" }, act("close", back, { plain: true }))] : []),
  );
  panel.dataset.sheet = name;
  panel.hidden = false;
  pages.hidden = true;
  panel.scrollTop = 0;
  head.focus();
}

export function showPages() {
  panel.hidden = true;
  panel.dataset.sheet = "";
  pages.hidden = false;
}

export function grave(message, step = "") {
  return make("div", { class: "grave" }, make("p", {}, message), step ? make("p", {}, step) : "");
}

const DAY_MS = 86_400_000;

export function when(at, now = Date.now()) {
  const midnight = new Date(now).setHours(0, 0, 0, 0);
  if (at >= midnight) return say("when_today");
  const days = Math.ceil((midnight - at) / DAY_MS);
  return days <= 1 ? say("when_yesterday") : say("when_days", { days });
}
