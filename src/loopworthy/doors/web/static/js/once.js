// A form keeps the name that it was first drawn with for as long as its place in the browser's history lasts. Going back
// draws the page anew; the form must still be the one that was sent, or a second press would record a second time.

const KEPT = "once";

function formOf(act) {
  return act.slice(0, act.indexOf(":"));
}

export function attach(root = document) {
  const state = history.state && typeof history.state === "object" ? history.state : {};
  const known = { ...state[KEPT] };
  const before = Object.keys(known).length;
  for (const field of root.querySelectorAll('form[method="post"] input[type="hidden"][name="once"]')) {
    const form = formOf(field.value);
    if (known[form]) field.value = known[form];
    else known[form] = field.value;
  }
  if (Object.keys(known).length !== before) history.replaceState({ ...state, [KEPT]: known }, "", location.href);
}
