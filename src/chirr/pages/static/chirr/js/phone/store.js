// The phone's own memory: one database with what waits to go up (outbox), what went up lately (gone) and what is kept
// to draw pages from (kept).
// @ts-check

const NAME = "chirr";
const VERSION = 2;

/** The phone could not keep something. A full phone says so in several ways: QuotaExceededError, but DataError or
 * UnknownError when the whole disk is full, so they are all told alike. */
export class MemoryTrouble extends Error {}

/** @type {Promise<IDBDatabase> | null} */
let opened = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = ({ oldVersion }) => {
      if (oldVersion < 1) {
        asked.result.createObjectStore("outbox", { keyPath: "id" });
        asked.result.createObjectStore("kept");
      }
      asked.result.createObjectStore("gone", { keyPath: "id" });
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
 * @param {(outbox: IDBObjectStore, kept: IDBObjectStore, gone: IDBObjectStore) => (() => T)} work
 * @returns {Promise<T>}
 */
export async function transact(mode, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    // "strict": what is confirmed on the screen is on the disk, and outlives a flat battery
    const tx = db.transaction(["outbox", "kept", "gone"], mode, { durability: mode === "readwrite" ? "strict" : "default" });
    tx.onabort = () => reject(new MemoryTrouble(tx.error?.name));
    const answer = work(tx.objectStore("outbox"), tx.objectStore("kept"), tx.objectStore("gone"));
    tx.oncomplete = () => { try { resolve(answer()); } catch (trouble) { reject(trouble); } };
  });
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
