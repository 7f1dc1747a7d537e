// A change of language is done once the phone also carries it: its own empty page and its pocket are fetched before the
// page says so, for a hand changes it at the door and goes in where there is no signal.
// @ts-check

import { ownPath } from "./el.js";
import { say } from "./notices.js";
import { lookIn } from "./sender.js";
import { t } from "./words.js";

const PATIENCE_MS = 20_000;

/**
 * Have the worker in charge whose own page is in a language. Browsers ask for a worker without cookies, so its address
 * says in which. Resolves when it has fetched all that it needs; rejects when it could not.
 *
 * @param {string} language
 */
export async function workIn(language) {
  const kept = await navigator.serviceWorker.register(`/worker.js?language=${language}`, { type: "module", updateViaCache: "none" });
  const worker = kept.installing ?? kept.waiting ?? kept.active;
  if (!worker) throw new Error("no worker");
  await new Promise((done, fail) => {
    const look = () => {
      if (worker.state === "activated") done(true);
      else if (worker.state === "redundant") fail(new Error("the worker could not fetch what it needs"));
    };
    worker.addEventListener("statechange", look);
    look();
  });
}

/** @param {Promise<unknown>} work */
const inTime = (work) => Promise.race([work, new Promise((_, fail) => { setTimeout(fail, PATIENCE_MS, new Error("late")); })]);

/** Change what a form asks for, the language among it. @param {HTMLFormElement} form */
export async function change(form) {
  const asked = new FormData(form);
  say(t("Fetching the pages in the other language."), "info");
  try {
    const answer = await fetch(form.action, { method: "POST", body: asked, redirect: "manual", signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.type !== "opaqueredirect" && !answer.ok) throw new Error(String(answer.status));
  } catch {
    say(t("No answer from the farm’s computer, so nothing was changed. Try again where there is a signal."), "error");
    return;
  }
  try {
    await inTime(workIn(String(asked.get("language"))).then(lookIn));
  } catch {
    say(t("The language is changed, but this phone could not fetch it all. Until it has a signal again, what it shows without one stays as it was."), "error");
    return;
  }
  location.assign(ownPath(asked.get("next")));
}
