// Ask at once when a typed value is odd: 104 where 8.5 to 14 is usual was probably 10.4. Asking only; nothing is changed
// or refused here, and the server asks the same with scripts off.

import { fill } from "./clock.js";

const NUMBER = /^[-+\u2212]?\d+(?:[.,]\d+)?$/;

// "10,4" and "10.4" are the same number; anything else is the server's to refuse, with its words.
export function numberOf(typed) {
  const text = typed.trim().replace(/\s/g, "");
  return NUMBER.test(text) ? Number(text.replace("\u2212", "-").replace(",", ".")) : null;
}

// The same digits with the point moved or the other sign, where that falls into the usual range. Digits are moved as
// text: no rounding.
export function guessOf(typed, low, high) {
  const [, sign, whole, part = ""] = /^([-+\u2212]?)(\d+)(?:[.,](\d+))?$/.exec(typed.trim().replace(/\s/g, "")) || [];
  if (whole === undefined) return null;
  const turned = (sign === "-" || sign === "\u2212" ? "" : "-") + whole + (part ? "." + part : "");
  if (Number(turned) >= low && Number(turned) <= high) return turned;
  for (const shift of [-1, 1, -2, 2, -3, 3]) {
    const digits = "0".repeat(4) + whole + part + "0".repeat(4);
    const point = 4 + whole.length + shift;
    const left = digits.slice(0, point).replace(/^0+(?=\d)/, "");
    const right = digits.slice(point).replace(/0+$/, "");
    const guess = (sign === "-" || sign === "\u2212" ? "-" : "") + left + (right ? "." + right : "");
    if (Number(guess) >= low && Number(guess) <= high) return guess;
  }
  return null;
}

// What a question was about: the value as typed, and the unit it was read in.
function askedOf(field) {
  const unit = field.querySelector("[data-odd-unit]");
  return field.querySelector(".field__input").value.trim() + (unit ? ` ${unit.value}` : "");
}

function ask(field) {
  const input = field.querySelector(".field__input");
  const query = field.querySelector("[data-odd-query]");
  if (!input || !query) return;
  const tick = query.querySelector("input");
  const unit = field.querySelector("[data-odd-unit]");
  const usual = unit ? unit.selectedOptions[0].dataset : field.dataset;
  const low = Number(usual.usualLow);
  const high = Number(usual.usualHigh);
  const typed = input.value.trim();
  const value = numberOf(typed);
  const odd = value !== null && (value < low || value > high);
  if (odd && query.dataset.askedOf !== askedOf(field)) {
    const guess = guessOf(typed, low, high);
    query.querySelector("[data-odd-text]").textContent = fill(guess ? query.dataset.textGuess : query.dataset.textPlain, {
      typed, guess, low: usual.usualLow, high: usual.usualHigh, unit: unit ? unit.selectedOptions[0].textContent : query.dataset.unit,
    });
    query.querySelector("[data-odd-confirm]").textContent = fill(query.dataset.textConfirm, { typed });
    query.dataset.askedOf = askedOf(field);
    tick.checked = false; // a confirmation belongs to one value
  }
  query.hidden = !odd;
  tick.disabled = !odd;
  if (!odd) delete query.dataset.askedOf;
}

const seen = new WeakSet();

export function attach(root = document) {
  for (const field of root.querySelectorAll("[data-odd]")) {
    if (seen.has(field)) continue;
    seen.add(field);
    const input = field.querySelector(".field__input");
    if (!input) continue;
    input.addEventListener("change", () => ask(field));
    input.addEventListener("blur", () => ask(field));
    const unit = field.querySelector("[data-odd-unit]");
    if (unit) unit.addEventListener("change", () => ask(field)); // another unit, another usual range
    input.addEventListener("input", () => {
      const query = field.querySelector("[data-odd-query]");
      if (query && !query.hidden) ask(field); // a query in sight follows what is typed
    });
    const query = field.querySelector("[data-odd-query]");
    if (query && !query.hidden) query.dataset.askedOf = askedOf(field); // the server asked: its words stand
    ask(field);
  }
}
