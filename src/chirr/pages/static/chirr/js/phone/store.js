// The phone's own memory: one database with what waits to go up (outbox) and what is kept to draw pages from (kept).
// @ts-check

const NAME = "chirr";
const VERSION = 1;

/** What went wrong with the phone's memory, in a sentence for its owner. */
export class MemoryTrouble extends Error {}

/** @type {Promise<IDBDatabase> | null} */
let opened = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("outbox", { keyPath: "id" });
      asked.result.createObjectStore("kept");
    };
    asked.onsuccess = () => {
      const db = asked.result;
      // A later version of these pages may want to change the database: step aside, nothing is held open for ever.
      db.onversionchange = () => { db.close(); opened = null; };
      db.onclose = () => { opened = null; };
      resolve(db);
    };
    asked.onerror = () => { opened = null; reject(asked.error); };
  });
  return opened;
}

/**
 * Do some work on the stores in one transaction: all of it is kept, or nothing. `work` returns a function that gives
 * the answer once the transaction is through.
 *
 * @template T
 * @param {"readonly" | "readwrite"} mode
 * @param {(outbox: IDBObjectStore, kept: IDBObjectStore) => (() => T)} work
 * @returns {Promise<T>}
 */
export async function transact(mode, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    // "strict": what is confirmed on the screen is on the disk, and outlives a flat battery
    const tx = db.transaction(["outbox", "kept"], mode, { durability: mode === "readwrite" ? "strict" : "default" });
    let answer = work(tx.objectStore("outbox"), tx.objectStore("kept"));
    tx.oncomplete = () => resolve(answer());
    tx.onabort = () => reject(plain(tx.error));
  });
}

/** @param {DOMException | null} error */
function plain(error) {
  if (error?.name === "QuotaExceededError") {
    return new MemoryTrouble("full");
  }
  return new MemoryTrouble(error?.message || "unknown");
}

/** One kept value. @param {string} key @returns {Promise<any>} */
export function kept(key) {
  return transact("readonly", (_, store) => {
    const asked = store.get(key);
    return () => asked.result;
  });
}

/** Keep values, or take them away where they are null. @param {Record<string, any>} values @returns {Promise<void>} */
export function keep(values) {
  return transact("readwrite", (_, store) => {
    for (const [key, value] of Object.entries(values)) {
      if (value === null) store.delete(key);
      else store.put(value, key);
    }
    return () => undefined;
  });
}
