// What was typed and not yet recorded survives a call, a dead battery or a wrong tap. It is filled in again only for a
// while, and says that it was: a reading typed long ago is not a reading of now. Kept on this device, dropped when sent.

import { clockFace, fill, serverNow } from "./clock.js";

const KEPT = "loopworthy-draft:";
const MINUTE = 60000;
const DEFAULT_MINUTES = 60;

function fieldsOf(form) {
  return [...form.elements].filter(
    (field) => field.name && !field.closest("[data-no-draft]") && !["hidden", "file", "password", "submit", "button"].includes(field.type) && field.tagName !== "FIELDSET",
  );
}

function isTick(field) {
  return field.type === "checkbox" || field.type === "radio";
}

// The server refused what was sent, and shows it again.
function isRefused() {
  return document.querySelector("[data-refused]") !== null;
}

// Only what differs from the page as the server made it; of a refused form everything, for it was all typed.
function typedIn(form, refused) {
  const typed = [];
  for (const field of fieldsOf(form)) {
    if (isTick(field)) {
      if (field.checked !== (!refused && field.defaultChecked)) typed.push([field.name, field.value, field.checked]);
    } else if (field.tagName === "SELECT") {
      const drawn = (!refused && [...field.options].find((option) => option.defaultSelected)) || field.options[0] || {};
      if (field.value !== drawn.value) typed.push([field.name, field.value, null]);
    } else if (field.value !== (refused ? "" : field.defaultValue)) {
      typed.push([field.name, field.value, null]);
    }
  }
  return typed;
}

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function write(key, draft) {
  try {
    if (draft) localStorage.setItem(key, JSON.stringify(draft));
    else localStorage.removeItem(key);
  } catch {
    // no storage: what is typed lives as long as the page
  }
}

function restore(form, typed) {
  let count = 0;
  for (const [name, value, checked] of typed) {
    for (const field of fieldsOf(form)) {
      if (field.name !== name) continue;
      if (isTick(field)) {
        if (field.value !== value) continue;
        field.checked = checked;
      } else {
        if (field.value && field.tagName !== "SELECT") continue; // the server filled it: its word goes first
        field.value = value;
      }
      const box = field.closest(".field");
      if (box) box.classList.add("field--restored");
      field.dispatchEvent(new Event("change", { bubbles: true }));
      count += 1;
    }
  }
  return count;
}

function look(form) {
  const key = KEPT + form.dataset.draft;
  const note = form.querySelector("[data-draft-note]");
  const draft = read(key);
  if (draft) {
    const minutes = Math.max(0, Math.round((Date.now() - draft.wall) / MINUTE));
    const old = minutes > Number(form.dataset.draftMinutes || DEFAULT_MINUTES) || Date.now() < draft.wall;
    const said = { minutes, time: clockFace(serverNow(form) - minutes * MINUTE, form) };
    const filled = old ? 0 : restore(form, draft.typed);
    if (note && (old || filled)) {
      note.querySelector("[data-draft-text]").textContent = fill(old ? note.dataset.textOld : note.dataset.text, said);
      note.hidden = false;
    }
    if (old) write(key, null);
  }

  const refused = isRefused();
  let wall = draft ? draft.wall : null;
  const keep = (event) => {
    if (event && !event.isTrusted) return; // filling in again is not typing
    const typed = typedIn(form, refused);
    wall = Date.now();
    write(key, typed.length ? { wall, typed } : null);
  };
  if (refused && !draft) keep(); // sending took the draft away, but nothing was recorded
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
  form.addEventListener("submit", (event) => {
    if (!event.defaultPrevented) write(key, null);
  });
  form.addEventListener("htmx:afterRequest", (event) => {
    // only the form's own sending counts, not a part of it that asked the server something
    if (event.detail && event.detail.elt === form && event.detail.successful) write(key, null);
  });
  const clear = note && note.querySelector("[data-draft-clear]");
  if (clear) {
    clear.addEventListener("click", () => {
      write(key, null);
      form.reset();
      for (const box of form.querySelectorAll(".field--restored")) box.classList.remove("field--restored");
      for (const field of fieldsOf(form)) field.dispatchEvent(new Event("change", { bubbles: true }));
      note.hidden = true;
    });
  }
}

// A refused form is the answer to a POST, which a browser would want to send again when somebody goes back to it. The
// form has a page of its own at the same address: going back opens that, with what was typed as its draft.
function settle() {
  if (isRefused()) history.replaceState(history.state, "", location.href);
}

const seen = new WeakSet();

export function attach(root = document) {
  if (root === document) settle();
  for (const form of root.querySelectorAll("form[data-draft]")) {
    if (seen.has(form)) continue;
    seen.add(form);
    look(form);
  }
}
