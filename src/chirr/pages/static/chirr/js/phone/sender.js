// Sends what waits, in any order, until the book has it; asks for a fresh pocket; knows when phone and farm last spoke.
// Runs in the page and in the worker; a lock of the browser's lets only one of them send at a time.
// @ts-check

import * as outbox from "./outbox.js";
import { keep, kept } from "./store.js";

/** Held while something is sent or fetched, or somebody signs out: one at a time, over all windows and the worker. */
export const LOCK = "chirr-send";
const AT_ONCE = 250;
const PATIENCE_MS = 25_000;

/**
 * How phone and farm stand: `farmNow` [epoch s] and `heard` [epoch ms] of the last answer; `trouble` is "" or one of
 * "sign-in" (nobody is signed in), "role" (whoever is may not write), "silent" (no answer).
 *
 * @typedef {{farmNow: number, heard: number, trouble: string, csrf: string, person: string | null}} Contact
 */

/** @type {Set<(contact: Contact) => void>} */
const listeners = new Set();

/** @param {(contact: Contact) => void} tell */
export function onContact(tell) {
  listeners.add(tell);
}

/** @param {Partial<Contact>} news */
async function note(news) {
  const contact = { farmNow: 0, heard: 0, csrf: "", person: null, ...(await kept("contact")), ...news };
  await keep({ contact }).catch(() => undefined); // a full memory must not stop the sending
  listeners.forEach((tell) => tell(contact));
  return contact;
}

/** @param {string} path @param {RequestInit} [more] */
function ask(path, more = {}) {
  return fetch(path, { redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS), ...more });
}

/** Ask the farm who is signed in here and what time it is. Throws when nobody answers. @returns {Promise<Contact>} */
async function greet() {
  const [last, book] = [await kept("last"), await kept("book")];
  const answer = await ask(last ? `/phone/now?last=${last}` : "/phone/now");
  if (!answer.ok) throw new Error(String(answer.status));
  const told = await answer.json();
  if (told.book && book && told.book !== book) await outbox.forgetGone();
  else if (told.has === false) await putBack();
  if (told.book && told.book !== book) await keep({ book: told.book });
  const me = await kept("me");
  if (told.person && me && me.person !== told.person) {
    await keep({ me: { person: told.person, role: told.role }, pocket: null, tag: null }); // somebody else came in
  }
  return note({
    farmNow: told.now, heard: Date.now(), csrf: told.csrf ?? "", person: told.person,
    trouble: told.person === null ? "sign-in" : "",
  });
}

/** The book was put back to an older copy: what it lost of this phone's goes up again, and the person is told. */
async function putBack() {
  const n = await outbox.goAgain();
  listeners.forEach((tell) => tell(/** @type {any} */ ({ again: n })));
}

/** @param {Contact} contact @param {outbox.Waiting[]} part @param {boolean} mend */
async function post(contact, part, mend) {
  const entries = part.map(({ id, at, person, values, since }) => ({ id, at, person, values, since }));
  return ask("/phone/entries", {
    method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": contact.csrf },
    body: JSON.stringify({ now: Math.floor(Date.now() / 1000), entries, mend }),
  });
}

/** Send everything that waits. Resolves to whether there is nothing left to try. Never throws. */
export async function send() {
  return navigator.locks.request(LOCK, async () => {
    try {
      return await sendAll();
    } catch {
      await note({ trouble: "silent" }).catch(() => undefined);
      return false;
    }
  });
}

/** @param {{got: string}} answer */
const isIn = (answer) => answer.got !== "refused";

async function sendAll() {
  const contact = await greet();
  if (contact.trouble) return false;
  let size = AT_ONCE;
  const held = new Set();
  for (;;) {
    const part = outbox.toSend(await outbox.all()).filter((e) => !held.has(e.id)).slice(0, size);
    if (part.length === 0) break;
    const ids = part.map((e) => e.id);
    const there = await outbox.tried(ids).catch(() => new Set(ids)); // a full memory must not stop the sending
    const going = part.filter((e) => there.has(e.id));
    if (going.length === 0) continue;
    const answer = await post(contact, going, false);
    if (answer.ok) {
      const { answers } = await answer.json();
      await outbox.answered(answers).catch(() => {
        answers.filter((/** @type {any} */ a) => !isIn(a)).forEach((/** @type {any} */ a) => held.add(a.id));
        return outbox.forget(answers.filter(isIn).map((/** @type {any} */ a) => a.id));
      });
    } else if (answer.status >= 500 || answer.status === 413 || answer.status === 422) {
      // something in this part upsets the farm's computer: halve it until it is alone, and let the others pass
      if (part.length === 1) held.add(part[0].id);
      size = Math.max(1, Math.floor(part.length / 2));
    } else {
      await note({ trouble: answer.status === 403 ? "role" : "sign-in" });
      return false;
    }
  }
  await note({ heard: Date.now(), trouble: "" });
  await refreshPocket().catch(() => undefined);
  return held.size === 0;
}

/**
 * Send one fresh entry while the person who wrote it looks on.
 *
 * @param {string} id
 * @param {number} waitMs
 * @returns {Promise<{got: string, why: string, faults: Record<string, string>} | null>} null: no answer, it waits
 */
export async function sendOne(id, waitMs) {
  if (!navigator.onLine) return null; // no need to wait for what cannot come
  let late = false; // once the hand was told that it waits, it is for the ordinary sending to see it into the book
  const work = navigator.locks.request(LOCK, async () => {
    const contact = await greet();
    const entry = (await outbox.all()).find((e) => e.id === id);
    if (late || contact.trouble || !entry || entry.sent) return null;
    if (!(await outbox.tried([id])).has(id)) return null;
    const answer = await post(contact, [entry], true);
    if (!answer.ok) return null;
    const [said] = (await answer.json()).answers;
    if (said.got !== "refused") await outbox.answered([said]);
    else if (!late) await outbox.withdraw(id);
    return said;
  }).catch(() => null);
  return Promise.race([work, new Promise((resolve) => {
    setTimeout(() => { late = true; resolve(null); }, waitMs);
  })]);
}

/** See how things stand while nothing waits; not while another window sends or signs out. Throws when nobody answers. */
export function lookIn() {
  return navigator.locks.request(LOCK, () => greet().then(refreshPocket));
}

/** Fetch what the phone carries, and forget the sent entries that it now knows of. */
async function refreshPocket() {
  const sent = (await outbox.all()).filter((e) => e.sent).map((e) => e.id);
  const [pocket, tag] = [await kept("pocket"), await kept("tag")];
  const answer = await ask("/phone/pocket", { headers: pocket && tag ? { "If-None-Match": tag } : {} });
  if (answer.status === 200) {
    const fresh = await answer.json();
    await keep({ pocket: fresh, tag: answer.headers.get("ETag") ?? "", me: { person: fresh.person, role: fresh.role } });
  } else if (answer.status !== 304) {
    return;
  }
  if (sent.length) await outbox.forget(sent);
  await keep({ fetched: Date.now() });
  listeners.forEach((tell) => tell(/** @type {any} */ ({ pocket: true })));
}
