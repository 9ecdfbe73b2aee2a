// What the engine asks the browser for: keys that never leave it, signatures made and checked with them, requests.
//
// Keys (Ed25519) lie in the browser's database and cannot be taken out of it; a copy of the record holds none. One
// spare key is made ahead, for a chain is opened at once, and a browser makes keys in its own time.

const STORE = "keys";
const SILENT_MS = 30_000;

const toHex = (bytes) => Array.from(new Uint8Array(bytes), (one) => one.toString(16).padStart(2, "0")).join("");
const fromHex = (text) => Uint8Array.from(text.match(/../g) || [], (two) => parseInt(two, 16));

function opened(name) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(name, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "publicKey" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

function kept(database, mode, act) {
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(STORE, mode, { durability: "strict" });
    const asked = act(transaction.objectStore(STORE));
    transaction.oncomplete = () => resolve(asked.result);
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = () => reject(transaction.error);
  });
}

// Resolves to null where this browser cannot sign: its chains are not signed then, and it takes no signed ones.
export async function openOutside(name, written) {
  let database, keys;
  try {
    await crypto.subtle.generateKey({ name: "Ed25519" }, false, ["sign", "verify"]);
    database = await opened(name);
    keys = new Map((await kept(database, "readonly", (store) => store.getAll())).map((one) => [one.publicKey, one]));
  } catch {
    return null;
  }
  let spare = "";
  const make = async () => {
    const pair = await crypto.subtle.generateKey({ name: "Ed25519" }, false, ["sign", "verify"]);
    const publicKey = toHex(await crypto.subtle.exportKey("raw", pair.publicKey));
    const made = { publicKey, privateKey: pair.privateKey, used: false, signed: null };
    await kept(database, "readwrite", (store) => store.put(made));
    keys.set(publicKey, made);
    spare = publicKey;
  };
  // A spare of an earlier start may have been taken just before that start ended: it is never offered again.
  await make();

  return {
    known: () => JSON.stringify([...keys.values()].map(({ publicKey, signed }) => ({ publicKey, signed }))),
    spare: () => spare,
    use(publicKey) {
      spare = "";
      const used = { ...keys.get(publicKey), used: true };
      keys.set(publicKey, used);
      kept(database, "readwrite", (store) => store.put(used)).then(make).catch(() => {}); // without a spare: not signed
    },
    async sign(publicKey, message) {
      return toHex(await crypto.subtle.sign("Ed25519", keys.get(publicKey).privateKey, fromHex(message)));
    },
    async remember(publicKey, sequence, event) {
      const remembered = { ...keys.get(publicKey), used: true, signed: { sequence, event } };
      await kept(database, "readwrite", (store) => store.put(remembered));
      keys.set(publicKey, remembered);
    },
    async verify(publicKey, message, signature) {
      try {
        const key = await crypto.subtle.importKey("raw", fromHex(publicKey), { name: "Ed25519" }, false, ["verify"]);
        return await crypto.subtle.verify("Ed25519", key, fromHex(signature), fromHex(message));
      } catch {
        return false; // no key, or no signature
      }
    },
    post: (address, headers, body, most) => post(address, JSON.parse(headers), body, most),
    written: () => written(),
  };
}

async function post(address, headers, body, most) {
  const none = (why) => ({ status: 0, headers: "{}", why, body: null });
  const buffer = body.getBuffer();
  const sent = buffer.data.slice();
  buffer.release();
  const ends = new AbortController();
  let timer = setTimeout(() => ends.abort(), SILENT_MS);
  try {
    const answer = await fetch(address, {
      method: "POST", headers, body: sent, signal: ends.signal,
      credentials: "omit", redirect: "error", cache: "no-store", referrerPolicy: "no-referrer",
    });
    const pieces = [];
    let bytes = 0;
    for (const reader = answer.body.getReader(); ; ) {
      const { done, value } = await reader.read();
      if (done) break;
      clearTimeout(timer);
      timer = setTimeout(() => ends.abort(), SILENT_MS);
      pieces.push(value);
      bytes += value.length;
      if (bytes > most) {
        ends.abort();
        return none(`its answer is larger than ${most} bytes`);
      }
    }
    const whole = new Uint8Array(await new Blob(pieces).arrayBuffer());
    return { status: answer.status, headers: JSON.stringify(Object.fromEntries(answer.headers)), why: "", body: whole };
  } catch (error) {
    if (ends.signal.aborted) return none("it did not answer in time");
    // A browser tells no page why a request failed ("Failed to fetch"); that it was not reached is all there is to say.
    return none(error instanceof TypeError ? "" : String(error.message || error));
  } finally {
    clearTimeout(timer);
  }
}
