// The page of what waits on this phone: what is still to go up, and what the book did not take, with what to do about it.
// @ts-check

import { el } from "./el.js";
import * as outbox from "./outbox.js";
import { send } from "./sender.js";
import { t, term } from "./words.js";

/** @param {outbox.Waiting} e @param {...HTMLElement} buttons */
function line(e, ...buttons) {
  const when = new Date(e.at * 1000).toLocaleString([], { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  return el("li", {}, el("p", {}, el("strong", {}, e.says || term("deed", e.values.deed)), " ", el("span", { class: "quiet" }, `${when} · ${e.person}`)),
    e.why ? el("p", { class: "fault" }, e.why) : null, buttons.length ? el("p", { class: "row" }, ...buttons) : null);
}

/** @param {outbox.Waiting} e */
function refused(e) {
  const mend = new URLSearchParams({ ...e.values, next: "/phone/waiting" });
  const away = el("button", { type: "button", class: "bad", onclick: async (/** @type {Event} */ event) => {
    const button = /** @type {HTMLElement} */ (event.currentTarget);
    if (button.dataset.sure) return outbox.forget([e.id]);
    button.dataset.sure = "yes";
    button.textContent = t("Throw it away for good");
    return undefined;
  } }, t("Throw away"));
  return line(e, el("button", { type: "button", onclick: () => outbox.again(e.id).then(send) }, t("Try again")),
    el("a", { class: "button", href: `/book/add?${mend}` }, t("Write it anew")), away);
}

export async function draw() {
  const entries = await outbox.all();
  const [waits, wrong] = [outbox.toSend(entries), entries.filter((e) => e.why)];
  return el("section", { id: "waiting" }, el("h1", {}, t("On this phone")),
    el("p", {}, waits.length ? t("{n} entries wait on this phone. They go up by themselves when the farm’s computer answers.", { n: waits.length }) : t("Nothing waits: the book has everything.")),
    el("p", { class: "row" }, el("button", { type: "button", class: "main", onclick: send }, t("Send now")), el("a", { class: "button", href: "/sign-in" }, t("Sign in again"))),
    wrong.length ? el("div", {}, el("h2", {}, t("Not taken")), el("p", {}, t("The book could not take these. They stay here until you decide.")), el("ul", { class: "plain" }, ...wrong.map(refused))) : null,
    waits.length ? el("div", {}, el("h2", {}, t("Waiting")), el("ul", { class: "plain" }, ...waits.slice(0, 100).map((e) => line(e)))) : null);
}
