// The page of what waits on this phone: what is still to go up, and what the book did not take, with what to do about it.
// @ts-check

import * as deeds from "./deeds.js";
import { el } from "./el.js";
import * as outbox from "./outbox.js";
import { send } from "./sender.js";
import { dayOf, t, term, timeOf } from "./words.js";

/** @param {outbox.Waiting} e @param {...(HTMLElement | null)} buttons */
function line(e, ...buttons) {
  const when = `${dayOf(e.at * 1000)}, ${timeOf(e.at * 1000)}`;
  return el("li", {}, el("p", {}, el("strong", {}, e.says || term("deed", e.values.deed)), " ", el("span", { class: "quiet" }, `${when} · ${e.person}`)),
    e.why ? el("p", { class: "fault" }, e.why) : null, buttons.length ? el("p", { class: "row" }, ...buttons) : null);
}

/** @param {any} pocket @param {outbox.Waiting} e */
function refused(pocket, e) {
  const anew = pocket?.deeds[e.values.deed] && pocket.may_write ? el("button", { type: "button",
    onclick: () => deeds.openOver(pocket, new URLSearchParams({ ...e.values, next: "/phone/waiting", instead: e.id })) }, t("Write it anew")) : null;
  const away = el("button", { type: "button", class: "bad", onclick: async (/** @type {Event} */ event) => {
    const button = /** @type {HTMLElement} */ (event.currentTarget);
    if (button.dataset.sure) return outbox.forget([e.id]);
    button.dataset.sure = "yes";
    button.textContent = t("Throw it away for good");
    return undefined;
  } }, t("Throw away"));
  return line(e, el("button", { type: "button", onclick: () => outbox.again(e.id).then(send) }, t("Try again")),
    anew, away);
}

/** @param {any} pocket */
export async function draw(pocket) {
  const entries = await outbox.all();
  const [waits, wrong] = [outbox.toSend(entries), outbox.refused(entries)];
  return el("section", { id: "waiting" }, el("h1", {}, t("On this phone")),
    el("p", {}, waits.length ? t("{n} entries wait on this phone. They go up by themselves when the farm’s computer answers.", { n: waits.length })
      : wrong.length ? t("Nothing else waits to go up.") : t("Nothing waits: the book has everything.")),
    el("p", { class: "row" }, el("button", { type: "button", class: "main", onclick: send }, t("Send now")), el("a", { class: "button", href: "/sign-in" }, t("Sign in again"))),
    wrong.length ? el("div", {}, el("h2", {}, t("Not taken")), el("p", {}, t("The book could not take these. They stay here until you decide.")), el("ul", { class: "plain" }, ...wrong.map((e) => refused(pocket, e)))) : null,
    waits.length ? el("div", {}, el("h2", {}, t("Waiting")), el("ul", { class: "plain" }, ...waits.slice(0, 100).map((e) => line(e)))) : null);
}
