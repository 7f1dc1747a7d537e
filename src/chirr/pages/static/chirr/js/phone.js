// Starts what a phone keeps and does without a network. Where a browser cannot, nothing here acts and the pages work as
// plain pages: every form still goes to the farm's computer by itself. See docs/without-network.md.
// @ts-check

import * as deeds from "./phone/deeds.js";
import { ownPath } from "./phone/el.js";
import * as leave from "./phone/leave.js";
import * as mark from "./phone/mark.js";
import { offerUndo } from "./phone/notices.js";
import * as outbox from "./phone/outbox.js";
import * as pad from "./phone/pad.js";
import * as refresh from "./phone/refresh.js";
import * as clock from "./phone/roundclock.js";
import { lookIn, onContact, send } from "./phone/sender.js";
import { keep, kept } from "./phone/store.js";
import * as taps from "./phone/taps.js";
import { learn } from "./phone/words.js";

const RETRY_MS = [2_000, 5_000, 10_000, 20_000, 40_000, 60_000];
const GREET_MS = 60_000;
const SAID = "chirr-said";
const page = document.documentElement;
const onShell = document.getElementById("phone") !== null;
let [ready, failures, sending, more] = [false, 0, false, false];
/** @type {number | undefined} */
let retry;
/** @type {any} */
let pocket = null;
/** Whose pocket the shell was first drawn from. @type {string | null} */
let drawnFor = null;

/** Send now, and again ever later until all is up. */
async function sendSoon() {
  clearTimeout(retry);
  more = true;
  if (sending) return;
  sending = true;
  let well = false;
  while (more) {
    more = false;
    well = await send();
  }
  sending = false;
  failures = well ? 0 : failures + 1;
  const waits = outbox.toSend(await outbox.all()).length;
  if (!waits) return;
  retry = setTimeout(sendSoon, RETRY_MS[Math.min(failures, RETRY_MS.length - 1)] * (0.8 + 0.4 * Math.random()));
  const worker = /** @type {any} */ (await navigator.serviceWorker.getRegistration());
  worker?.sync?.register("chirr-outbox").catch(() => undefined); // where a browser has it, it sends with the page closed
}

/** Forms that the phone takes over, before htmx or the browser sends them. @param {SubmitEvent} event */
function onSubmit(event) {
  const form = event.target;
  if (!ready || !(form instanceof HTMLFormElement)) return;
  const path = new URL(form.action, location.href).pathname;
  const act = path === "/round/do" ? () => taps.take(form, event.submitter)
    : path === "/round/clock" ? () => clock.turn(event.submitter?.getAttribute("value") ?? "start")
    : path === "/sign-out" ? () => leave.ask(form)
    : form.dataset.deed ? () => writeDeed(form, event.submitter) : null;
  if (!act) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  act();
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} submitter */
async function writeDeed(form, submitter) {
  await deeds.write(form, submitter, (words, ids) => {
    const dialog = form.closest("dialog");
    if (dialog) {
      dialog.close();
      offerUndo(words, ids);
    } else {
      sessionStorage.setItem(SAID, JSON.stringify({ words, ids, until: Date.now() + 8000 }));
      location.assign(ownPath(new FormData(form).get("next")));
    }
  });
}

/** A form asked for by a touch opens over the page, so that the place on the walk is kept. @param {MouseEvent} event */
function onClick(event) {
  const link = event.target instanceof Element ? event.target.closest("main a[href^='/book/add?']") : null;
  if (!ready || !pocket?.may_write || !(link instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey) return;
  if (!matchMedia("(pointer: coarse)").matches || link.closest("dialog, .tabs, .deeds") || !link.search.includes("deed=")) return;
  event.preventDefault();
  deeds.openOver(pocket, new URL(link.href).searchParams);
}

async function drawShell() {
  if (!onShell) return;
  const { draw } = await import("./phone/shell.js");
  drawnFor ??= (await kept("me"))?.person ?? null;
  await draw(pocket);
  clock.draw();
  await taps.paint();
}

/** Who uses this phone and how, as the farm's page says; the shell knows it from before. */
async function remember() {
  if (page.dataset.person && !onShell) {
    const me = await kept("me");
    if (me?.person !== page.dataset.person) {
      // another person: what was carried for the last one goes; what waits stays, each entry under its own name
      await keep({ me: { person: page.dataset.person, role: page.dataset.role }, pocket: null, tag: null });
    }
    localStorage.setItem("chirr-device", JSON.stringify({ theme: page.dataset.theme, side: page.dataset.side, sound: page.dataset.sound, buzz: page.dataset.buzz }));
  } else if (onShell) {
    Object.assign(page.dataset, JSON.parse(localStorage.getItem("chirr-device") ?? "{}"));
  }
  pocket = await kept("pocket");
  learn(pocket?.words);
  await deeds.look();
}

function saidBefore() {
  const said = JSON.parse(sessionStorage.getItem(SAID) ?? "null");
  sessionStorage.removeItem(SAID);
  if (said && said.until > Date.now()) offerUndo(said.words, said.ids);
}

async function start() {
  if (!page.dataset.person && !onShell) {
    if ((await outbox.all()).length) mark.watch();
    return;
  }
  await remember();
  ready = true;
  page.dataset.phone = "ready";
  await Promise.all([drawShell(), taps.paint()]);
  mark.watch();
  pad.watch();
  refresh.watch();
  clock.run();
  saidBefore();
  outbox.onChange(taps.paint);
  onContact(async (/** @type {any} */ news) => {
    if (onShell && drawnFor && news.person && news.person !== drawnFor) location.reload();
    if (!news.pocket) return;
    pocket = await kept("pocket");
    learn(pocket?.words);
    refresh.soon();
    if (onShell && location.pathname === "/phone/waiting") drawShell();
  });
  outbox.onChange(() => { if (location.pathname === "/phone/waiting") drawShell(); });
  for (const [where, kind] of /** @type {[EventTarget, string][]} */ ([[window, "online"], [document, "visibilitychange"], [window, "chirr-written"]])) {
    where.addEventListener(kind, () => { if (document.visibilityState === "visible") { failures = 0; sendSoon(); } });
  }
  setInterval(() => { if (document.visibilityState === "visible") lookIn().catch(() => undefined); }, GREET_MS);
  // browsers ask for a worker without cookies, so its address says in which language the phone's own pages are to be
  navigator.serviceWorker.register(`/worker.js?language=${page.lang}`, { type: "module", updateViaCache: "none" }).catch(() => undefined);
  await sendSoon();
  navigator.storage?.persist?.().catch(() => undefined);
}

if ("serviceWorker" in navigator && "indexedDB" in window && "locks" in navigator) {
  document.addEventListener("submit", onSubmit, { capture: true });
  document.addEventListener("click", onClick);
  document.addEventListener("htmx:afterSwap", () => { if (ready) { clock.draw(); taps.drawnAfresh(); } });
  start().catch(() => { ready = false; });
}
