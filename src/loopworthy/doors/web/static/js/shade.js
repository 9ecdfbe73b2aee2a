// Sun, dusk, or as the phone has it. Loaded early and plainly (no module) so that no page flashes in the wrong shade.
// The choice is kept on this device only; without storage it holds for the page.
(function () {
  "use strict";
  const KEY = "loopworthy-shade";
  const GROUND = { sun: "#fbfaf5", dusk: "#0e1318" }; // --paper of css/tokens.css, for the phone's own bar
  const root = document.documentElement;

  function kept() {
    try {
      return localStorage.getItem(KEY) || "auto";
    } catch {
      return "auto";
    }
  }

  function apply(shade) {
    if (shade === "sun" || shade === "dusk") root.dataset.shade = shade;
    else delete root.dataset.shade;
    for (const meta of document.querySelectorAll('meta[name="theme-color"]')) {
      const own = meta.media.includes("dark") ? GROUND.dusk : GROUND.sun;
      meta.content = GROUND[shade] || own;
    }
  }

  apply(kept());

  document.addEventListener("DOMContentLoaded", function () {
    for (const chooser of document.querySelectorAll("[data-shade-chooser]")) {
      chooser.hidden = false;
      for (const choice of chooser.querySelectorAll("input")) {
        choice.checked = choice.value === kept();
        choice.addEventListener("change", function () {
          try {
            localStorage.setItem(KEY, choice.value);
          } catch {
            // private window: the choice holds for this page
          }
          apply(choice.value);
        });
      }
    }
  });
})();
