// Starts what a phone keeps and does without a network. Where a browser cannot, nothing here acts and the pages work as
// plain pages: every form still goes to the farm's computer by itself. See docs/without-network.md.
//
// This file and what it imports is all that a tap on the round needs, so that the first one is taken as soon as the page
// is drawn. Everything else is in phone/rest.js, which comes when the page is at rest or when it is asked for.
// @ts-check

import * as clock from "./phone/roundclock.js";
import * as taps from "./phone/taps.js";

const page = document.documentElement;
const onShell = document.getElementById("phone") !== null;
let ready = false;
/** @type {Promise<typeof import("./phone/rest.js")> | null} */
let coming = null;

/** All else that the phone does, begun once. */
function rest() {
  coming ??= import("./phone/rest.js").then(async (all) => {
    await all.begin();
    return all;
  }).catch((why) => {
    coming = null; // it may come another time
    throw why;
  });
  return coming;
}

/** Whether a form would change the language of this device. @param {HTMLFormElement} form */
function changesLanguage(form) {
  const wanted = new FormData(form).get("language");
  return typeof wanted === "string" && wanted !== page.lang;
}

/** What is done with a form that the phone takes over; null for one that it leaves alone.
 * @param {HTMLFormElement} form @param {HTMLElement | null} button @returns {(() => unknown) | null} */
function actOf(form, button) {
  const path = new URL(form.action, location.href).pathname;
  if (path === "/round/do" && button) return () => taps.take(button);
  if (path === "/round/clock") return () => clock.turn(button?.getAttribute("value") ?? "start");
  const byRest = path === "/sign-out" ? (/** @type {any} */ all) => all.leave(form)
    : path === "/look" && changesLanguage(form) ? (/** @type {any} */ all) => all.speak(form)
    : form.dataset.deed ? (/** @type {any} */ all) => all.write(form, button) : null;
  return byRest && (() => rest().then(byRest, () => {
    ready = false; // what should do it did not come: the plain way
    form.requestSubmit(button);
  }));
}

/** Forms that the phone takes over, before htmx or the browser sends them. @param {SubmitEvent} event */
function onSubmit(event) {
  const form = event.target;
  const act = ready && form instanceof HTMLFormElement ? actOf(form, event.submitter) : null;
  if (!act) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  act();
}

/** A form asked for by a touch opens over the page, so that the place on the walk is kept. @param {MouseEvent} event */
function onClick(event) {
  const link = event.target instanceof Element ? event.target.closest("main a[href^='/book/add?']") : null;
  if (!ready || !(link instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey) return;
  if (!matchMedia("(pointer: coarse)").matches || link.closest("dialog, .tabs, .deeds") || !link.search.includes("deed=")) return;
  event.preventDefault();
  rest().then((all) => all.open(link), () => location.assign(link.href));
}

async function start() {
  if (onShell) await rest(); // which draws the page
  else if (page.dataset.person) await taps.paint(); // what is done already is not to be done again
  if (onShell || page.dataset.person) {
    ready = true;
    page.dataset.phone = "ready";
  }
  if (document.querySelector("article.stop")) atRest(rest);
  else await rest();
}

/** Do something when the browser has nothing better to do. @param {() => Promise<unknown>} work */
function atRest(work) {
  if ("requestIdleCallback" in window) requestIdleCallback(() => work(), { timeout: 1500 });
  else setTimeout(work, 200);
}

if ("serviceWorker" in navigator && "indexedDB" in window && "locks" in navigator) {
  document.addEventListener("submit", onSubmit, { capture: true });
  document.addEventListener("click", onClick);
  document.addEventListener("htmx:afterSwap", () => { if (ready) { clock.draw(); taps.drawnAfresh(); } });
  addEventListener("chirr-further", () => taps.paint().catch(() => undefined));
  start().catch(() => { ready = false; });
}
