// Signing out: a warning while entries wait; the phone forgets what it carried for the person, never what waits.
// @ts-check

import { el } from "./el.js";
import * as outbox from "./outbox.js";
import { LOCK } from "./sender.js";
import { keep } from "./store.js";
import { say } from "./notices.js";
import { t } from "./words.js";

const PATIENCE_MS = 8000;

/** After whatever is just being sent, and never beside it: its answer must not come to a phone that has forgotten.
 * @param {HTMLFormElement} form */
async function leave(form) {
  try {
    await navigator.locks.request(LOCK, { signal: AbortSignal.timeout(PATIENCE_MS) }, () => signOut(form));
  } catch {
    say(t("This phone is just sending, so you are still signed in. Sign out again in a moment."), "error");
  }
}

/** @param {HTMLFormElement} form */
async function signOut(form) {
  try {
    const answer = await fetch(form.action, { method: "POST", body: new FormData(form), redirect: "manual", signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.type !== "opaqueredirect" && !answer.ok) throw new Error(String(answer.status));
  } catch {
    say(t("No answer from the farm’s computer, so you are still signed in. Sign out where there is a signal."), "error");
    return;
  }
  await keep({ pocket: null, tag: null, me: null }).catch(() => undefined);
  location.href = "/sign-in";
}

/** @param {HTMLFormElement} form */
export async function ask(form) {
  const n = outbox.toSend(await outbox.all()).length;
  if (n === 0) return leave(form);
  document.getElementById("leaving")?.remove();
  const dialog = /** @type {HTMLDialogElement} */ (el("dialog", { id: "leaving", class: "sheet" },
    el("h2", {}, t("{n} entries wait on this phone", { n })),
    el("p", {}, t("They are not in the book yet. They stay on this phone and go up when somebody who may write signs in.")),
    el("p", { class: "row" },
      el("button", { type: "button", class: "main", onclick: () => dialog.close() }, t("Stay signed in")),
      el("button", { type: "button", class: "bad", onclick: () => { dialog.close(); leave(form); } }, t("Sign out all the same")))));
  document.body.append(dialog);
  dialog.showModal();
  return undefined;
}
