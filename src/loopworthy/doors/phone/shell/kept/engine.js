// The shell's side of the worker: starts it, asks it, notices its end, starts it again.

const RESTARTS = 3, WITHIN_MS = 60_000;

export class Engine {
  // settings: as worker.js takes them; tell(state): every state that it comes to.
  constructor(settings, tell) {
    this.settings = settings;
    this.tell = tell;
    this.waiting = new Map(); // id -> {resolve, sent}
    this.next = 1;
    this.ends = [];
    this.start();
  }

  start() {
    const alive = `${this.settings.name} engine ${crypto.randomUUID()}`;
    const worker = new Worker(new URL("worker.js", import.meta.url), {
      type: "module", name: JSON.stringify({ ...this.settings, alive }),
    });
    this.worker = worker;
    this.ready = false;
    worker.onmessage = ({ data }) => this.heard(worker, data);
    worker.onerror = (event) => {
      event.preventDefault();
      this.ended(worker, event.message);
    };
    this.watch(worker, alive);
    this.tell({ state: "starting" });
  }

  // The worker holds the lock as long as it lives.
  async watch(worker, alive) {
    for (let tried = 0; tried < 200 && this.worker === worker; tried += 1) {
      const { held } = await navigator.locks.query();
      if (held.some((one) => one.name === alive)) break;
      await new Promise((go) => setTimeout(go, 50));
    }
    await navigator.locks.request(alive, () => {});
    this.ended(worker, "");
  }

  heard(worker, data) {
    if (worker !== this.worker) return;
    if (data.state) {
      this.ready = data.state === "ready";
      if (data.store !== undefined) this.settings.store = this.settings.door === "open" ? data.store : this.settings.store;
      this.tell(data);
      return;
    }
    const asked = this.waiting.get(data.id);
    this.waiting.delete(data.id);
    if (asked) asked.resolve(data.failed ? { failed: data.failed, message: data.message } : data.found);
  }

  ended(worker, message) {
    if (worker !== this.worker) return;
    this.worker = null;
    worker.terminate();
    for (const { resolve } of this.waiting.values()) resolve({ failed: "crashed", message });
    this.waiting.clear();
    const now = Date.now();
    this.ends = [...this.ends.filter((at) => now - at < WITHIN_MS), now];
    if (this.ends.length > RESTARTS) {
      this.tell({ state: "given-up", message });
    } else {
      this.tell({ state: "crashed", message });
      this.start();
    }
  }

  restart() {
    this.ends = [];
    const worker = this.worker;
    if (worker) {
      this.worker = null;
      worker.terminate();
      for (const { resolve } of this.waiting.values()) resolve({ failed: "crashed", message: "" });
      this.waiting.clear();
    }
    this.start();
  }

  // Resolves to what worker.js answers, or to {failed}.
  send(asked, moved = []) {
    if (!this.worker) return Promise.resolve({ failed: "crashed", message: "" });
    return new Promise((resolve) => {
      const id = this.next++;
      this.waiting.set(id, { resolve });
      this.worker.postMessage({ id, ...asked }, moved);
    });
  }

  // Resolves to {answer}, {error: {message, next_step}}.
  async ask(what, values = {}, bytes = null) {
    const found = await this.send({ what, values, bytes }, bytes ? [bytes.buffer] : []);
    return found.failed ? { error: { message: found.message || found.failed, next_step: "" } } : found;
  }
}
