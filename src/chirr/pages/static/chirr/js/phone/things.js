// The racks and the pages of a bin, a lot and a clutch, drawn from the pocket: short facts, what is due, the last lines.
// @ts-check

import { el, shape } from "./el.js";
import * as outbox from "./outbox.js";
import { elseAt, stopOf } from "./stops.js";
import { t, term, timeOf } from "./words.js";

const path = (/** @type {string} */ kind, /** @type {string} */ name) => `/${kind}/${name.split("/").map(encodeURIComponent).join("/")}`;

/** @param {any} pocket */
export function racks(pocket) {
  return el("div", {}, el("h1", {}, t("Racks")), el("div", { class: "rooms" }, ...pocket.rooms.map((/** @type {any} */ room) => {
    const height = Math.max(1, ...room.stacks.flatMap(([, levels]) => levels.map(([n]) => n)));
    return el("section", { class: "room" },
      el("header", { class: "row spread" }, el("h2", {}, room.room), el("p", { class: "temperature" }, room.temperature ? el("strong", {}, room.temperature) : null, " ", el("span", { class: "quiet" }, room.says))),
      room.racked.length ? el("details", {}, el("summary", {}, t("{n} clutches on the hatch rack", { n: room.racked.length })),
        el("ul", { class: "hatch-rack" }, ...room.racked.map((/** @type {string} */ c) => el("li", {}, el("a", { class: "tall", href: path("clutches", c) }, c))))) : null,
      el("div", { class: `stacks tall-${Math.min(height, 12)}` }, ...room.stacks.map(([number, levels]) => stack(pocket, number, levels, height))));
  })));
}

/** @param {any} pocket @param {number} number @param {[number, string[]][]} levels @param {number} height */
function stack(pocket, number, levels, height) {
  const at = new Map(levels);
  const rows = Array.from({ length: height }, (_, i) => height - i).map((n) => {
    const bins = at.get(n);
    return el("li", { class: `level${bins ? "" : " above"}` }, ...(bins ? [el("span", { class: "height" }, el("span", {}, String(n))), el("div", {}, ...bins.map((b) => tile(pocket, b)))] : []));
  });
  return el("div", { class: "stack" }, el("h3", {}, `${t("stack")} ${number}`), el("ol", { class: "levels", reversed: true }, ...rows));
}

/** @param {any} pocket @param {string} name */
function tile(pocket, name) {
  const bin = pocket.bins[name];
  const state = bin.state.replace(" ", "-");
  const drawn = ["empty", "to-clean", "hatching", "ready"].includes(state) ? state : bin.duty;
  return el("a", { class: `tile ${state}${bin.woe ? " trouble" : ""}`, href: path("bins", name) },
    el("span", { class: "top" }, shape(drawn), el("b", {}, name)),
    el("span", { class: "state" }, term("state", bin.state) + (bin.lot ? ` · ${bin.lot}` : "")),
    bin.says && bin.says !== term("state", bin.state) ? el("span", { class: "says" }, bin.says) : null,
    bin.due ? el("span", { class: "due" }, bin.due) : null, bin.woe ? el("span", { class: "woe" }, bin.woe) : null);
}

/** Buttons to the forms that fit a thing. @param {any} pocket @param {"bin" | "lot" | "clutch"} kind @param {string} name */
function quick(pocket, kind, name) {
  if (!pocket.may_write) return null;
  const bin = kind === "bin" ? pocket.bins[name] : null;
  const home = kind === "lot" ? pocket.choices.lots[name] : "";
  const known = { [kind]: name, ...(bin?.lot ? { lot: bin.lot } : {}), ...(home ? { bin: home } : {}) };
  const more = !bin ? [] : bin.lot ? ["count", "weigh", "deaths", "split", "harvest", ...(bin.duty === "breeding" ? ["lay"] : [])] : ["stock"];
  const back = path(`${kind}s`.replace("clutchs", "clutches"), name);
  return el("nav", { class: "quick row", tabindex: "0", "aria-label": t("Write about this") }, ...[...pocket.deeds_of[kind], ...more].map((deed) => {
    const columns = deed === "move" ? { deed, way: { lot: "0", bin: "1", clutch: "2" }[kind], [kind]: name } : { deed, ...known };
    return el("a", { class: "button", href: `/book/add?${new URLSearchParams({ ...columns, next: back })}` }, term("deed", deed));
  }));
}

/** What this phone wrote about a thing and the book may not have yet, each with its way back. @param {string} column @param {string} name */
async function own(column, name) {
  const about = (await outbox.all()).filter((e) => e.values[column] === name || e.values[`to_${column}`] === name);
  if (!about.length) return null;
  return el("section", {}, el("h2", {}, t("Written on this phone")), el("ol", { class: "plain" }, ...about.reverse().map((e) =>
    el("li", { class: "row spread" }, el("span", {}, `${timeOf(e.at * 1000)} · ${e.person} · ${e.says}${e.why ? ` · ${e.why}` : ""}`),
      el("button", { type: "button", onclick: async (/** @type {Event} */ event) => {
        await outbox.undo([e.id]);
        dispatchEvent(new Event("chirr-written"));
        /** @type {HTMLElement} */ (event.currentTarget).closest("li")?.remove();
      } }, shape("back"), t("Undo"))))));
}

/** @param {any} pocket @param {"bin" | "lot" | "clutch"} kind @param {string} name one that the pocket knows @returns {Promise<HTMLElement>} */
export async function thing(pocket, kind, name) {
  const it = { bin: pocket.bins, lot: pocket.lots, clutch: pocket.clutches }[kind][name] ?? { bin: (kind === "lot" ? pocket.choices.lots : pocket.choices.clutches)?.[name] };
  const stop = kind === "bin" ? pocket.stops.find((/** @type {any} */ s) => s.bin === name) : null;
  const facts = it.facts ?? [];
  const binLink = kind !== "bin" && it.bin ? el("p", {}, el("a", { class: "tall", href: path("bins", it.bin) }, `${t("bin")} ${it.bin}`)) : null;
  return el("section", { class: "thing" },
    el("h1", {}, kind === "bin" ? shape(it.duty) : null, ` ${{ bin: t("Bin"), lot: t("Lot"), clutch: t("Clutch") }[kind]} ${name}`),
    it.woe ? el("p", { class: "word error" }, it.woe) : null,
    kind === "bin" ? el("p", { class: "quiet" }, `${it.room} · ${t("stack")} ${it.stack} · ${t("level")} ${it.level}`) : null,
    it.says ? el("p", { class: "lead" }, it.says) : null,
    stop ? stopOf(stop, pocket) : kind === "bin" && pocket.may_write ? elseAt({ bin: name, lot: it.lot }, pocket) : null,
    quick(pocket, kind, name),
    facts.length ? el("dl", { class: "facts slip" }, ...facts.map(([label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, value)))) : null,
    binLink, await own(kind, name),
    it.lines?.length ? el("section", {}, el("h2", {}, t("Last entries")), el("ol", { class: "story plain" }, ...it.lines.map(([when, person, says]) =>
      el("li", {}, el("p", { class: "when" }, `${when}${person ? ` · ${person}` : ""}`), el("p", { class: "says" }, says))))) : null);
}
