// Starts what a page needs, and again for parts that htmx swapped in. Without scripts everything still works; only the
// live clocks stand still.

import * as clock from "./clock.js";
import * as drafts from "./drafts.js";
import * as fields from "./fields.js";
import * as holds from "./hold-timer.js";
import * as once from "./once.js";
import * as pick from "./pick.js";
import * as scan from "./scan.js";
import * as until from "./until.js";

until.start(); // first: an ended verdict must not be seen at all
fields.attach();
drafts.attach(); // after fields, so that a value filled in again is asked about as well
holds.start();
once.attach();
scan.attach();

document.addEventListener("htmx:load", (event) => {
  // the fragment itself may be the form or the hold, so its parent is searched
  const part = event.target.parentElement || event.target;
  clock.begin(part);
  until.look(part);
  fields.attach(part);
  drafts.attach(part);
  holds.attach(part);
  once.attach(part);
  scan.attach(part);
  // for the page alone: the answer to a choice must not ask again
  if (event.target === document.body) pick.attach();
});
