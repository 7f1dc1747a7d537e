// Brings the round that the farm drew up to date by itself, when the hand rests, without anything moving under the thumb.
// @ts-check

import { UNDO_MS } from "./notices.js";
import * as outbox from "./outbox.js";
import { kept } from "./store.js";
import { paint } from "./taps.js";

const REST_MS = UNDO_MS + 500;
const FRESH_MS = 30_000;
/** What the phone carried when the sheet was drawn. @type {string | null} */
let drawnWith = null;
let lastTouch = performance.now();
/** @type {number | undefined} */
let timer;

/** Ask for a fresh sheet once nothing waits and nobody has tapped for a while. */
export function soon() {
  clearTimeout(timer);
  timer = setTimeout(tryNow, Math.max(300, REST_MS - (performance.now() - lastTouch)));
}

async function tryNow() {
  const sheet = document.getElementById("round");
  if (!sheet || document.getElementById("phone") || document.querySelector("dialog[open]")) return;
  if (performance.now() - lastTouch < REST_MS) { soon(); return; }
  if (outbox.toSend(await outbox.all()).length) return;
  const tag = await kept("tag");
  if (!sheet.querySelector(".done")) {
    // nothing was done here; others may have done it, which a changed pocket tells
    if (drawnWith === null || performance.now() < FRESH_MS) { drawnWith = tag; return; }
    if (tag === drawnWith) return;
  }
  drawnWith = tag;
  const [place, top] = firstInSight();
  const held = document.activeElement?.closest("li.item, article.stop")?.id;
  await /** @type {any} */ (window).htmx.ajax("GET", location.pathname + location.search, { target: "#round", swap: "outerHTML" });
  const now = place ? document.getElementById(place) : null;
  if (now) scrollBy({ top: now.getBoundingClientRect().top - top, behavior: "instant" });
  await paint();
  if (held && document.activeElement === document.body) {
    const there = document.getElementById(held) ?? document.getElementById("round");
    /** @type {HTMLElement | null | undefined} */ (there?.querySelector("button, a"))?.focus({ preventScroll: true });
  }
}

/** The first stop on the screen that is still to do, and where it stands. @returns {[string | null, number]} */
function firstInSight() {
  for (const stop of document.querySelectorAll("article.stop:not(.done)")) {
    const { top, bottom } = stop.getBoundingClientRect();
    if (bottom > 60) return [stop.id, top];
  }
  return [null, 0];
}

export function watch() {
  for (const kind of ["pointerdown", "keydown", "scroll"]) {
    document.addEventListener(kind, () => { lastTouch = performance.now(); }, { passive: true, capture: true });
  }
}
