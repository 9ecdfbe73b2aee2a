// For a browser without files of its own: the record lies in memory, and all of it is written to the browser's database
// in one transaction before anything is acknowledged.

const STORE = "files";

function opened(name) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(name, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

// Fill the folder from the database; returns a function that writes it back and resolves when it is stored.
export async function mountDatabase(FS, place, databaseName, names) {
  FS.mkdirTree(place);
  const database = await opened(databaseName);
  await new Promise((resolve, reject) => {
    const reading = database.transaction(STORE).objectStore(STORE);
    for (const name of names) {
      const asked = reading.get(name);
      asked.onsuccess = () => {
        if (asked.result) FS.writeFile(`${place}/${name}`, asked.result);
      };
    }
    reading.transaction.oncomplete = resolve;
    reading.transaction.onerror = () => reject(reading.transaction.error);
  });
  return () => new Promise((resolve, reject) => {
    const transaction = database.transaction(STORE, "readwrite", { durability: "strict" });
    const writing = transaction.objectStore(STORE);
    for (const name of names) {
      const path = `${place}/${name}`;
      if (FS.analyzePath(path).exists) writing.put(FS.readFile(path), name);
      else writing.delete(name);
    }
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = () => reject(transaction.error);
  });
}
