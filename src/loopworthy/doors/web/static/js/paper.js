// The button that prints a sheet. With scripts off the browser's own menu does it, and the button stays hidden.

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
