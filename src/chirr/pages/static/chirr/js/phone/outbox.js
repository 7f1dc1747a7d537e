// Entries on their way to the book. Each is on the disk before it is confirmed, and stays until the book has it.
// @ts-check

import { uuid7 } from "./ids.js";
import { transact } from "./store.js";

/**
 * @typedef {object} Waiting
 * @property {string} id
 * @property {number} at  the phone's time when it was done [epoch s]
 * @property {string} person  who did it
 * @property {Record<string, string>} values  the columns of the entry as text
 * @property {number} since  the farm's time when phone and farm last spoke before it was made [epoch s]
 * @property {string} says  what it is, in words for the person
 * @property {string} key  the item of the round that it does, "" where it does none
 * @property {number} tries  sendings begun; 0 means that the book cannot have it yet
 * @property {boolean} sent  the book has it; it stays here until the pocket knows of it too
 * @property {string} why  why the book refused it, "" while it did not
 * @property {string} [wrong]  the columns that it refused, with blanks between
 * @property {string} [by]  the entry that was written anew in its place; it waits behind that one, and is seen again
 *   should that one be taken back
 */

/** Nobody is signed in on this phone, and an entry without a person is none. */
export class NobodyIn extends Error {}

/** What went up is kept aside so long: a copy of the book that is put back is rarely older (judgement). */
const KEPT_MS = 14 * 86_400_000;

const changed = new BroadcastChannel("chirr-outbox");
/** @type {Set<(undone: string[]) => void>} */
const listeners = new Set();
changed.onmessage = ({ data }) => listeners.forEach((tell) => tell(Array.isArray(data) ? data : []));

/** Be told whenever the outbox may have changed, here or in another window, and which entries were taken back.
 * @param {(undone: string[]) => void} tell */
export function onChange(tell) {
  listeners.add(tell);
}

/** @param {string[]} [undone] */
function tellAll(undone = []) {
  changed.postMessage(undone);
  listeners.forEach((tell) => tell(undone));
}

/** Whose name the page shows: another window of this browser may meanwhile be somebody else's. @param {any} me */
const personHere = (me) => globalThis.document?.documentElement.dataset.person || me?.person || "";

/**
 * Write entries down on this phone, all or none. Resolves once they are safe. Throws NobodyIn.
 *
 * @param {{values: Record<string, string>, says: string, key?: string}[]} entries
 * @param {string} [instead]  the refused entry whose place the first of them takes, with its time and who did it
 * @returns {Promise<string[]>} their ids
 */
export async function add(entries, instead = "") {
  const ids = entries.map((_, i) => uuid7(Date.now() + i / 1000));
  await transact("readwrite", (outbox, kept) => {
    const [me, contact, refused] = [kept.get("me"), kept.get("contact"), outbox.get(instead)];
    let nobody = false;
    refused.onsuccess = () => {
      const old = refused.result;
      // who may not write in the book cannot be who did it there; else the work stays theirs, whoever mends the words
      const person = (!old?.wrong?.split(" ").includes("person") && old?.person) || personHere(me.result);
      nobody = !person;
      if (nobody) return;
      const [at, since] = [old?.at ?? Math.floor(Date.now() / 1000), old?.since ?? contact.result?.farmNow ?? 0];
      entries.forEach((e, i) => outbox.add({
        id: ids[i], at, person, values: e.values, since, says: e.says, key: e.key ?? "", tries: 0, sent: false, why: "",
      }));
      if (old) outbox.put({ ...old, by: ids[0] });
    };
    return () => { if (nobody) throw new NobodyIn(); };
  });
  tellAll();
  return ids;
}

/** Everything in the outbox, oldest first. @returns {Promise<Waiting[]>} */
export function all() {
  return transact("readonly", (outbox) => {
    const asked = outbox.getAll();
    return () => asked.result;
  });
}

/** Those that the book did not take and that nobody has written anew. @param {Waiting[]} entries */
export const refused = (entries) => entries.filter((e) => e.why && !e.by);

/** Those still to go up, those tried least first, so that one bad entry holds up no other. @param {Waiting[]} entries */
export function toSend(entries) {
  return entries.filter((e) => !e.sent && !e.why).sort((a, b) => a.tries - b.tries || (a.id < b.id ? -1 : 1));
}

/** @param {string[]} ids @param {(entry: Waiting) => Waiting | null} change null takes it away */
async function alter(ids, change, more = (/** @type {IDBObjectStore} */ _kept) => undefined) {
  await transact("readwrite", (outbox, kept) => {
    more(kept);
    for (const id of ids) {
      const asked = outbox.get(id);
      asked.onsuccess = () => {
        if (!asked.result) return;
        const next = change(asked.result);
        if (next) outbox.put(next);
        else outbox.delete(id);
      };
    }
    return () => undefined;
  });
  tellAll();
}

/** Those that wait behind the given entries, which were written anew in their place. @param {IDBObjectStore} outbox
 * @param {string[]} ids @param {(behind: Waiting) => void} act */
function behind(outbox, ids, act) {
  const asked = outbox.getAll();
  asked.onsuccess = () => asked.result.filter((/** @type {Waiting} */ e) => e.by && ids.includes(e.by)).forEach(act);
}

/** A sending of these begins. Resolves to those that are still there: one just taken back must not go up.
 * @param {string[]} ids @returns {Promise<Set<string>>} */
export async function tried(ids) {
  const there = new Set();
  await alter(ids, (e) => {
    there.add(e.id);
    return { ...e, tries: e.tries + 1 };
  });
  return there;
}

/**
 * What the book answered.
 *
 * @param {{id: string, got: "taken" | "there" | "refused", why: string, faults?: Record<string, string>}[]} answers
 */
export function answered(answers) {
  const of = new Map(answers.map((a) => [a.id, a]));
  const last = answers.findLast((a) => a.got === "taken");
  return alter([...of.keys()], (e) => {
    const answer = of.get(e.id);
    if (answer?.got !== "refused") return { ...e, sent: true };
    return { ...e, why: answer.why, wrong: Object.keys(answer.faults ?? {}).join(" ") };
  }, (kept) => { if (last) kept.put(last.id, "last"); });
}

/**
 * The book no longer has what it took last from this phone, so it was put back to an older copy: all that went up lately
 * goes up once more. The book takes each entry once, so it does no harm to those that it still has.
 *
 * @returns {Promise<number>} how many
 */
export async function goAgain() {
  const n = await transact("readwrite", (outbox, kept, gone) => {
    let found = 0;
    const [sent, before] = [outbox.getAll(), gone.getAll()];
    before.onsuccess = () => { // comes after the other
      const back = [...before.result, ...sent.result.filter((/** @type {Waiting} */ e) => e.sent)];
      found = back.length;
      back.forEach((e) => outbox.put({ ...e, sent: false, tries: 1 }));
      gone.clear();
      kept.delete("last");
    };
    return () => found;
  });
  tellAll();
  return n;
}

/** This phone now works for another farm: what went up to the one before is no matter of this one. */
export const forgetGone = () => transact("readwrite", (_, kept, gone) => {
  gone.clear();
  kept.delete("last");
  return () => undefined;
});

/** The pocket now knows of these, or a person threw them away; what they were written in the place of goes with them.
 * Those that the book has are kept aside for some days, should it be put back to an older copy.
 * @param {string[]} ids */
export async function forget(ids) {
  await letGo(ids, true).catch(() => letGo(ids, false)); // a full memory has no room for what is kept aside
  tellAll();
}

/** @param {string[]} ids @param {boolean} aside whether those that the book has are kept aside */
function letGo(ids, aside) {
  return transact("readwrite", (outbox, _, gone) => {
    const asked = outbox.getAll(); // once for all of them: a phone may have thousands
    asked.onsuccess = () => {
      const going = new Set(ids);
      const goesToo = (/** @type {Waiting} */ e) => e.by && going.has(e.by) && !going.has(e.id);
      for (let more = asked.result.filter(goesToo); more.length; more = asked.result.filter(goesToo)) {
        more.forEach((/** @type {Waiting} */ e) => going.add(e.id));
      }
      if (aside) asked.result.forEach((/** @type {Waiting} */ e) => { if (e.sent && going.has(e.id)) gone.put(e); });
      going.forEach((id) => outbox.delete(id));
      old(gone);
    };
    return () => undefined;
  });
}

/** Let go of what went up so long ago that no copy is older. Ids begin with the time at which they were made.
 * @param {IDBObjectStore} gone */
function old(gone) {
  gone.delete(IDBKeyRange.upperBound(uuid7(Date.now() - KEPT_MS)));
}

/** Take away what was never sent as if it had not been written: what it took the place of stands there again.
 * @param {IDBObjectStore} outbox @param {string} id */
function unwrite(outbox, id) {
  outbox.delete(id);
  behind(outbox, [id], ({ by, ...e }) => outbox.put(e));
}

/** The person who has just written it still stands before it, and will mend it. @param {string} id */
export async function withdraw(id) {
  await transact("readwrite", (outbox) => {
    unwrite(outbox, id);
    return () => undefined;
  });
  tellAll([id]);
}

/** Let a refused entry try again, changed or not. @param {string} id */
export const again = (id) => alter([id], (e) => ({ ...e, why: "", wrong: "" }));

/**
 * Take entries back: one that never left is removed; one that may have left is withdrawn by another entry.
 *
 * @param {string[]} ids
 */
export async function undo(ids) {
  await transact("readwrite", (outbox, kept) => {
    const me = kept.get("me");
    const contact = kept.get("contact");
    const at = Math.floor(Date.now() / 1000);
    contact.onsuccess = () => ids.forEach((id) => {
      const asked = outbox.get(id);
      asked.onsuccess = () => {
        const old = asked.result;
        if (old && (old.tries === 0 || old.why)) {
          unwrite(outbox, id);
          return;
        }
        if (old) outbox.put({ ...old, key: "" });
        outbox.add({
          id: uuid7(), at, person: personHere(me.result) || old?.person,
          values: { deed: "correct", replaces: id, note: "taken back on the phone" }, since: contact.result?.farmNow ?? 0,
          says: old?.says ?? "", key: "", tries: 0, sent: false, why: "",
        });
      };
    });
    return () => undefined;
  });
  tellAll(ids);
}
