// One tab keeps the record and answers for all. The tab that holds the lock is it; when it is closed the lock passes on.

export class Keeping {
  // lock: its name; begin(): called once, when this tab is the one that keeps the record. `late`: another did before.
  constructor(lock, { begin, follow }) {
    this.keeps = false;
    const hold = (late) => {
      this.keeps = true;
      begin(late);
      return new Promise(() => {}); // until the tab is closed
    };
    navigator.locks.request(lock, { ifAvailable: true }, (held) => {
      if (held) return hold(false);
      follow();
      navigator.locks.request(lock, () => hold(true));
      return undefined;
    });
  }
}
