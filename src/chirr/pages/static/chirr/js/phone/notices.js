// What is said to the person: a sentence at the top of the page, and the strip at the bottom that takes back.
// @ts-check

import { el, shape } from "./el.js";
import { takenBack } from "./feel.js";
import * as outbox from "./outbox.js";
import { MemoryTrouble } from "./store.js";
import { t } from "./words.js";

export const UNDO_MS = 10_000;

/** @param {string} words @param {"error" | "success" | "info"} kind */
export function say(words, kind) {
  const place = document.getElementById("messages");
  place?.replaceChildren(el("p", { class: `word ${kind}` }, words));
  if (kind === "error") place?.scrollIntoView({ block: "nearest" });
}

/** Why something could not be written down on this phone, and what to do. @param {unknown} trouble */
export function reason(trouble) {
  if (trouble instanceof outbox.NobodyIn) return t("Nobody is signed in on this phone, so nothing was written. Sign in first, then do it again.");
  return trouble instanceof MemoryTrouble
    ? t("This phone’s memory is full or fails, so nothing was written. Make room on the phone, then do it again.")
    : t("This phone could not write that down. Open the page afresh and do it again.");
}

/** @param {unknown} trouble */
export const sorry = (trouble) => say(reason(trouble), "error");

function unstrip() {
  document.getElementById("undo")?.remove();
  document.body.classList.remove("with-undo");
}

// Ctrl and Z take back what was just written, from wherever the focus is; in a field they undo the typing.
addEventListener("keydown", (event) => {
  const typing = event.target instanceof Element && event.target.matches("input, textarea, select");
  const button = /** @type {HTMLElement | null} */ (document.querySelector("#undo button"));
  if (!button || typing || event.key.toLowerCase() !== "z" || !(event.ctrlKey || event.metaKey)) return;
  event.preventDefault();
  button.click();
});

/** @type {number | undefined} */
let timer;

/**
 * Offer for ten seconds to take back what was just written.
 *
 * @param {string} words
 * @param {string[]} ids
 */
export function offerUndo(words, ids) {
  clearTimeout(timer);
  unstrip();
  const spoken = document.getElementById("spoken");
  const written = t("Written: {what}", { what: "" }).trim();
  if (spoken) spoken.textContent = words.startsWith(written) ? words : `${written} ${words}`;
  const button = el("button", { type: "button", "aria-keyshortcuts": "Control+Z", onclick: async () => {
    clearTimeout(timer);
    unstrip();
    await outbox.undo(ids).then(takenBack, sorry);
    dispatchEvent(new Event("chirr-written"));
  } }, shape("back"), t("Undo"));
  const strip = el("div", { class: "undo", id: "undo", role: "region", "aria-label": t("Undo") }, el("span", {}, shape("tick"), words), button);
  document.body.append(strip);
  document.body.classList.add("with-undo");
  timer = setTimeout(unstrip, UNDO_MS);
}
