// Reads a code with the camera into a field, where the browser can read codes. The camera is asked for only when the
// button is pressed, and let go when the code was read, the button is pressed again, or the page is left or covered.

const LOOK_EVERY_MS = 150;

const formats = "BarcodeDetector" in window && navigator.mediaDevices ? BarcodeDetector.getSupportedFormats() : Promise.resolve([]);

export function attach(part = document) {
  formats.then((known) => {
    if (!known.includes("qr_code")) return;
    for (const button of part.querySelectorAll("[data-scan-into]:not([data-scan-ready])")) {
      button.dataset.scanReady = "";
      button.hidden = false;
      // codes of this program are QR codes; a serial may stand in any code that the browser knows
      const detector = new BarcodeDetector({ formats: button.dataset.scanSend ? ["qr_code"] : known });
      button.addEventListener("click", () => toggle(button, detector));
    }
  });
}

let running = null; // at most one camera

function toggle(button, detector) {
  const same = running && running.button === button;
  stop();
  if (!same) start(button, detector);
}

async function start(button, detector) {
  const view = draw(button);
  const mine = (running = { button, view, stream: null, timer: 0 });
  try {
    const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" }, audio: false });
    if (running !== mine) {
      release(stream); // somebody stopped while the browser was asking
      return;
    }
    mine.stream = stream;
    view.picture.srcObject = stream;
    await view.picture.play();
  } catch {
    if (running !== mine) return;
    stop();
    say(button, button.dataset.scanRefused);
    return;
  }
  look(mine, detector);
}

async function look(mine, detector) {
  if (running !== mine) return;
  let found = [];
  try {
    found = await detector.detect(mine.view.picture);
  } catch {
    // the picture is not there yet
  }
  if (running !== mine) return;
  const done = found.some((one) => take(mine, one.rawValue.trim()));
  if (!done) mine.timer = setTimeout(() => look(mine, detector), LOOK_EVERY_MS);
}

// Whether that was it.
function take(mine, text) {
  const { button } = mine;
  const field = document.getElementById(button.dataset.scanInto);
  if (!text || !field) return false;
  const send = button.dataset.scanSend;
  if (send && !text.startsWith(send)) return false; // some other code in the picture
  fill(field, text);
  stop();
  if (send) button.form.requestSubmit();
  else field.focus();
  return true;
}

function fill(field, text) {
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

// --- what is seen meanwhile

function draw(button) {
  const frame = document.createElement("div");
  frame.className = "scan";
  const picture = document.createElement("video");
  picture.className = "scan__picture";
  picture.muted = true;
  picture.playsInline = true;
  picture.setAttribute("aria-label", button.dataset.scanAim);
  const aim = document.createElement("p");
  aim.className = "scan__aim";
  aim.textContent = button.dataset.scanAim;
  frame.append(picture, aim);
  button.after(frame);
  button.dataset.scanText = button.textContent;
  button.textContent = button.dataset.scanStop;
  said(button).textContent = "";
  return { frame, picture };
}

function said(button) {
  const field = button.parentElement;
  let line = field.querySelector("[data-scan-said]");
  if (!line) {
    line = document.createElement("p");
    line.dataset.scanSaid = "";
    line.className = "scan__said";
    line.setAttribute("role", "status");
    field.append(line);
  }
  return line;
}

function say(button, text) {
  said(button).textContent = text;
}

function stop() {
  if (!running) return;
  const { button, view, stream, timer } = running;
  running = null;
  clearTimeout(timer);
  release(stream);
  view.picture.srcObject = null;
  view.frame.remove();
  button.textContent = button.dataset.scanText;
}

function release(stream) {
  if (stream) for (const track of stream.getTracks()) track.stop();
}

addEventListener("pagehide", stop);
document.addEventListener("visibilitychange", () => document.hidden && stop());
