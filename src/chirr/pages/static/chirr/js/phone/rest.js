// What the phone does besides taking taps: it remembers who uses it, sends what waits, asks for a fresh pocket, opens and
// writes forms, draws the shell, and keeps the worker that answers without a network.
// @ts-check

import * as deeds from "./deeds.js";
import { ownPath } from "./el.js";
import { change, workIn } from "./language.js";
import * as leaving from "./leave.js";
import * as mark from "./mark.js";
import { offerUndo, say } from "./notices.js";
import * as outbox from "./outbox.js";
import * as pad from "./pad.js";
import * as refresh from "./refresh.js";
import * as clock from "./roundclock.js";
import { lookIn, onContact, send } from "./sender.js";
import { keep, kept } from "./store.js";
import * as taps from "./taps.js";
import { learn, t } from "./words.js";

const RETRY_MS = [2_000, 5_000, 10_000, 20_000, 40_000, 60_000];
const GREET_MS = 60_000;
const SAID = "chirr-said";
const page = document.documentElement;
const onShell = document.getElementById("phone") !== null;
let [failures, sending, more] = [0, false, false];
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

/** Write the form of a deed. @param {HTMLFormElement} form @param {HTMLElement | null} submitter */
export async function write(form, submitter) {
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

/** Open the form of a deed over the page. @param {HTMLAnchorElement} link */
export function open(link) {
  if (pocket?.may_write) deeds.openOver(pocket, new URL(link.href).searchParams);
  else location.assign(link.href);
}

export const leave = leaving.ask;
export const speak = change;

async function drawShell() {
  if (!onShell) return;
  const { draw } = await import("./shell.js");
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

/** Begin all of it; resolves when the page is drawn and its forms can be written. What goes to the farm goes later. */
export async function begin() {
  if (!page.dataset.person && !onShell) {
    if ((await outbox.all()).length) mark.watch();
    return;
  }
  await remember();
  await drawShell();
  mark.watch();
  pad.watch();
  refresh.watch();
  clock.run();
  saidBefore();
  onContact(async (/** @type {any} */ news) => {
    if (onShell && drawnFor && news.person && news.person !== drawnFor) location.reload();
    if (news.again) say(t("The farm’s book was put back to an older copy. {n} entries that went up from this phone since go up again.", { n: news.again }), "info");
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
  workIn(page.lang).catch(() => undefined);
  sendSoon().then(() => navigator.storage?.persist?.()).catch(() => undefined);
}
