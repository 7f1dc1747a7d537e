// The clock of a round on the phone: start, pause, stop, and the minutes since the last tap, which the farm learns from.
// @ts-check

import { say } from "./notices.js";
import { keep, kept } from "./store.js";
import { t } from "./words.js";

const LONGEST_GAP_MIN = 20;

/** `began` and `last` in epoch ms, null while it stands; `banked` ms of earlier runs.
 * @typedef {{began: number | null, last: number | null, banked: number}} Clock */

/** @returns {Promise<Clock>} */
const held = async () => (await kept("clock")) ?? { began: null, last: null, banked: 0 };

/** @param {Clock} clock */
const ran = (clock) => clock.banked + (clock.began === null ? 0 : Math.max(0, Date.now() - clock.began));

/** Minutes that what was just tapped took; null while the clock stands. @returns {Promise<number | null>} */
export async function spent() {
  const clock = await held();
  if (clock.began === null || clock.last === null) return null;
  return Math.min(LONGEST_GAP_MIN, Math.max(0, Date.now() - clock.last) / 60_000);
}

/** Something was just done. */
export async function tapped() {
  const clock = await held();
  if (clock.began !== null) await keep({ clock: { ...clock, last: Date.now() } }).catch(() => undefined);
}

/** @param {string} what start, pause or stop */
export async function turn(what) {
  const [clock, now] = [await held(), Date.now()];
  if (what === "start" && clock.began === null) await keep({ clock: { ...clock, began: now, last: now } });
  if (what === "pause") await keep({ clock: { began: null, last: null, banked: ran(clock) } });
  if (what === "stop") {
    say(t("The round took {n} minutes.", { n: Math.round(ran(clock) / 60_000) }), "info");
    await keep({ clock: null });
  }
  await draw();
}

/** Draw the clock into its form, wherever the page came from. */
export async function draw() {
  const form = document.querySelector("form.clock");
  if (!form) return;
  const clock = await held();
  const [face, buttons] = [form.querySelector(".clock-face"), form.querySelectorAll("button")];
  const runs = clock.began !== null;
  const says = runs ? [["pause", t("Pause")], ["stop", t("Stop")]]
    : clock.banked ? [["start", t("Go on")], ["stop", t("Stop")]] : [["start", t("Start")]];
  buttons.forEach((b) => b.remove());
  for (const [value, words] of says) {
    const button = document.createElement("button");
    Object.assign(button, { name: "do", value, textContent: words });
    form.append(button);
  }
  if (face instanceof HTMLElement) {
    face.classList.toggle("runs", runs);
    face.removeAttribute("data-clock");
    face.textContent = runs || clock.banked ? digits(ran(clock) / 1000) : t("clock off");
  }
}

/** @param {number} seconds */
function digits(seconds) {
  const [h, m, s] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, Math.floor(seconds % 60)];
  return `${h ? `${h}:` : ""}${String(m).padStart(h ? 2 : 1, "0")}:${String(s).padStart(2, "0")}`;
}

/** Keep the face going once a second. */
export function run() {
  draw();
  setInterval(async () => {
    const face = document.querySelector("form.clock .clock-face.runs");
    if (face) face.textContent = digits(ran(await held()) / 1000);
  }, 1000);
}
