// The mark in the head of every page: how many entries wait on this phone, and when phone and farm last spoke.
// @ts-check

import { el, shape } from "./el.js";
import * as outbox from "./outbox.js";
import { onContact } from "./sender.js";
import { kept } from "./store.js";
import { shortDayOf, t, timeOf } from "./words.js";

const QUIET_MS = 3 * 60_000;

/** @param {number} ms */
function clock(ms) {
  if (!ms) return "–";
  const [then, now] = [new Date(ms), new Date()];
  return then.toDateString() === now.toDateString() ? timeOf(ms) : `${shortDayOf(ms)} ${timeOf(ms)}`;
}

async function draw() {
  const mark = document.getElementById("contact");
  if (!mark) return;
  const entries = await outbox.all();
  /** @type {import("./sender.js").Contact | undefined} */
  const contact = await kept("contact");
  const refused = outbox.refused(entries).length;
  const waits = outbox.toSend(entries).length;
  const heard = contact?.heard ?? 0;
  const silent = contact?.trouble === "silent" || Date.now() - heard > QUIET_MS;
  const signIn = contact?.trouble === "sign-in" || contact?.trouble === "role";
  const time = clock(heard);
  mark.hidden = false;
  mark.dataset.state = refused || signIn ? "trouble" : waits ? "waits" : silent ? "silent" : "well";
  const words = refused ? t("{n} not taken", { n: refused }) : signIn ? t("Sign in again") : waits ? t("{n} waiting", { n: waits }) : "";
  mark.replaceChildren(
    refused || signIn ? shape("trouble") : waits ? shape("due") : shape(silent ? "open" : "tick"),
    el("span", {}, ...(words ? [el("b", {}, words), " "] : []), time),
  );
  mark.setAttribute("aria-label", [
    t("{n} entries wait on this phone", { n: waits }), refused ? t("{n} not taken", { n: refused }) : "",
    signIn ? t("Sign in again") : "", t("last contact {time}", { time }),
  ].filter(Boolean).join("; "));
}

export function watch() {
  outbox.onChange(draw);
  onContact(draw);
  setInterval(draw, 30_000);
  draw();
}
