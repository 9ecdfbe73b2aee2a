// Hands the record's file to other programs of a phone. Only where the browser can share a file is the button shown;
// everywhere else the link beside it saves the file.

const MOST_MEGABYTES = 11; // a page of the program takes no larger file in

for (const button of document.querySelectorAll("[data-share]")) {
  const probe = new File(["{}\n"], button.dataset.shareName, { type: "text/plain" });
  button.hidden = !(navigator.canShare && navigator.canShare({ files: [probe] }));
  button.addEventListener("click", () => share(button));
}

let made = null; // a share sheet opens only right after a touch, so a file that took long is kept for the next one

async function share(button) {
  const said = document.querySelector("[data-share-said]");
  said.textContent = "";
  button.disabled = true;
  try {
    made = made || (await fetched(button));
    await navigator.share({ files: [made], title: button.dataset.shareName });
  } catch (error) {
    if (error.name !== "AbortError") said.textContent = button.dataset.shareFailed;
  } finally {
    button.disabled = false;
  }
}

async function fetched(button) {
  const answer = await fetch(button.dataset.share, { cache: "no-store" });
  if (!answer.ok) throw new Error(String(answer.status));
  const body = await answer.blob();
  if (body.size > MOST_MEGABYTES * 1024 * 1024) throw new Error("too large");
  // phones hand on only types that they know, and a record is plain text
  return new File([body], button.dataset.shareName.replace(/\.jsonl$/, ".txt"), { type: "text/plain" });
}
