// Taps on the round: an item, a whole bin, "none yet". Each is written down on the phone, shown as done at once, and sent.
// @ts-check

import { spent, tapped } from "./roundclock.js";
import { written, notWritten } from "./feel.js";
import { offerUndo, sorry } from "./notices.js";
import * as outbox from "./outbox.js";
import { t, term } from "./words.js";

/** @typedef {{key: string, values: Record<string, string>, minutes: number}} Work */

/** What is shown as done on this page, entry by entry: it stays so when the book has it and the outbox forgets it, until
 * it is taken back, here or elsewhere, or the book refuses it. @type {Map<string, string>} */
const doneHere = new Map();
/** Items that are just being written down. @type {Set<string>} */
const inHand = new Set();
outbox.onChange((undone) => {
  for (const id of undone) doneHere.delete(id);
  paint().catch(() => undefined);
});

/** The round has just been drawn afresh by the farm's computer, so it shows by itself what the book has. */
export function drawnAfresh() {
  doneHere.clear();
  return paint();
}

/** @param {string} key */
const itemAt = (key) => /** @type {HTMLElement | null} */ (document.getElementById(key));

/** Keys that the button of a whole bin names. @param {Element | null} button */
const keysOf = (button) => /** @type {string[]} */ (JSON.parse(button?.getAttribute("value") ?? "[]"));

/**
 * What a button of the round stands for: one item, or all that the button of a whole bin names.
 *
 * @param {HTMLElement} button
 * @returns {Work[]}
 */
function workOf(button) {
  const keys = button.getAttribute("name") === "whole" ? keysOf(button) : [button.getAttribute("value") ?? ""];
  return keys.flatMap((name) => {
    const none = name.startsWith("none:");
    const place = itemAt(slug(none ? name.replace("none:", "hatch:") : name));
    const columns = none ? place?.dataset.none : place?.dataset.fill;
    if (!place || !columns || place.classList.contains("done")) return [];
    return [{ key: place.id, values: JSON.parse(columns), minutes: Number(place.dataset.minutes ?? 0) }];
  });
}

/** A key as the id of its place on the page; the same as the pages' own `slug`. @param {string} key */
export function slug(key) {
  return [...key].map((c) => (/[A-Za-z0-9.-]/.test(c) ? c : `_${(c.codePointAt(0) ?? 0).toString(16)}`)).join("");
}

/** Do what a button of the round stands for. @param {HTMLElement} button */
export async function take(button) {
  const work = workOf(button);
  if (!work.length) return;
  const bin = button.closest("article.stop")?.querySelector("h3")?.textContent ?? "";
  const says = work.length > 1 ? t("{bin}: {n} things done", { bin, n: work.length }) : "";
  const minutes = await spent();
  const whole = work.reduce((sum, w) => sum + w.minutes, 0);
  const at = document.activeElement;
  const keys = work.map((w) => w.key);
  keys.forEach((key) => inHand.add(key));
  show(keys);
  keepFocus(at);
  try {
    const ids = await outbox.add(work.map((w) => ({
      key: w.key, says: words(w.values),
      values: minutes !== null && whole > 0 ? { ...w.values, minutes: (minutes * w.minutes / whole).toFixed(2) } : w.values,
    })));
    ids.forEach((id, i) => doneHere.set(id, keys[i]));
    keys.forEach((key) => inHand.delete(key));
    dispatchEvent(new Event("chirr-written"));
    offerUndo(says || itemAt(work[0].key)?.querySelector("strong")?.textContent || words(work[0].values), ids);
    setTimeout(written); // a phone takes its time to start its first sound
    await tapped();
  } catch (trouble) {
    keys.forEach((key) => inHand.delete(key));
    notWritten();
    sorry(trouble);
    await paint().catch(() => undefined);
  }
}

/** A short name of an entry for lists: deed and thing. @param {Record<string, string>} values */
export function words(values) {
  const thing = values.clutch || values.lot || values.bin || "";
  return `${term("deed", values.deed)} ${thing}${values.bin && values.bin !== thing ? ` (${values.bin})` : ""}`.trim();
}

/** @param {string[]} keys */
function show(keys) {
  const items = keys.flatMap((key) => itemAt(key) ?? []);
  for (const item of items) item.classList.add("done");
  finish(new Set(items.flatMap((item) => item.closest("article.stop") ?? [])));
}

/** When what had the focus is gone from sight, the next thing to do has it. @param {Element | null} at */
function keepFocus(at) {
  if (!at || at === document.body || at.checkVisibility()) return;
  const next = [...document.querySelectorAll("#round :is(.item:not(.done) .do, .stop > header) :is(button, .button)")]
    .find((e) => e.checkVisibility() && at.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_FOLLOWING);
  const place = /** @type {HTMLElement | null} */ (next ?? at.closest("article.stop")?.querySelector("h3 a"));
  place?.focus({ preventScroll: !byKeys });
}

let byKeys = false;
addEventListener("keydown", () => { byKeys = true; }, { capture: true });
addEventListener("pointerdown", () => { byKeys = false; }, { capture: true });

/** A stop whose items are all done folds to one line. @param {Set<Element>} stops those where something changed */
function finish(stops) {
  for (const stop of stops) {
    const must = [...stop.querySelectorAll("li.item:not(.soon, .optional)")];
    const items = must.length ? must : [...stop.querySelectorAll("li.item")];
    stop.classList.toggle("done", items.length > 0 && items.every((i) => i.classList.contains("done")));
    const whole = /** @type {HTMLElement | null} */ (stop.querySelector("header .whole"));
    if (whole) {
      whole.hidden = keysOf(whole).map(slug).every((k) => itemAt(k)?.classList.contains("done") ?? true);
    }
  }
  const count = document.getElementById("stops-left");
  if (count) count.textContent = t("{n} stops left", { n: document.querySelectorAll("article.stop:not(.done)").length });
}

/** Mark on the page what the outbox says is done today, or waits since before; only what differs is touched. */
export async function paint() {
  if (!document.querySelector("article.stop")) return;
  const today = new Date().toDateString();
  for (const e of await outbox.all()) {
    if (e.why) doneHere.delete(e.id);
    else if (e.key && (!e.sent || new Date(e.at * 1000).toDateString() === today)) doneHere.set(e.id, e.key);
  }
  const done = new Set([...doneHere.values(), ...inHand]);
  const [shown, stops] = [[...document.querySelectorAll("li.item.done")], /** @type {Set<Element>} */ (new Set())];
  const wrong = [...shown.filter((item) => !done.has(item.id)), ...[...done].flatMap((key) => itemAt(key) ?? []).filter((item) => !item.classList.contains("done"))];
  for (const item of wrong) {
    item.classList.toggle("done", done.has(item.id));
    const stop = item.closest("article.stop");
    if (stop) stops.add(stop);
  }
  finish(stops);
}
