// What a scanned label opens besides bins, lots and clutches: a batch of substrate, a run sheet, a choice, or nothing.
// @ts-check

import { el } from "./el.js";
import { t } from "./words.js";

/** The page of a thing. @param {import("./codes.js").Found} found */
export function pathOf({ kind, name }) {
  const plural = { bin: "/bins", lot: "/lots", clutch: "/clutches", substrate: "/at/substrate", sheet: "/at/sheet" }[kind];
  return `${plural}/${name.split("/").map(encodeURIComponent).join("/")}`;
}

/** Capitals alone tell these apart, and a code has none but capitals. @param {import("./codes.js").Found[]} found */
export function which(found) {
  return el("section", {}, el("h1", {}, t("Which one?")),
    el("p", {}, t("Two names of the farm differ only in capitals, and a code cannot tell them apart. Look at the large letters on the label.")),
    el("p", { class: "row" }, ...found.map((f) => el("a", { class: "button main", href: pathOf(f) }, f.name))));
}

/** @param {any} pocket @param {import("./codes.js").Asked} asked */
export function unknown(pocket, { kind, name }) {
  const said = { bin: t("Bin"), lot: t("Lot"), clutch: t("Clutch"), substrate: t("Substrate batch"), sheet: t("Run sheet"), code: "" }[kind];
  const lay = kind === "clutch" && pocket.may_write
    ? el("p", {}, el("a", { class: "button", href: `/book/add?${new URLSearchParams({ deed: "lay", clutch: name })}` }, t("Lay a tray as {name}", { name }))) : null;
  return el("section", {}, el("h1", {}, t("Not in this phone’s memory")),
    el("p", { class: "lead" }, kind === "code"
      ? t("This phone knows nothing with this code. It may be new or gone; look again where there is a signal.")
      : t("This phone knows no {kind} {name}. It may be new or gone; look again where there is a signal.", { kind: said.toLowerCase(), name })), lay);
}

/** @param {any} pocket @param {string} name */
export function substrate(pocket, name) {
  const it = pocket.substrates[name];
  const lay = pocket.may_write ? el("nav", { class: "quick row", tabindex: "0", "aria-label": t("Write about this") },
    el("a", { class: "button", href: `/book/add?${new URLSearchParams({ deed: "lay", substrate: name })}` }, t("Lay a tray of it"))) : null;
  return el("section", { class: "thing" }, el("h1", {}, `${t("Substrate batch")} ${name}`), el("p", { class: "lead" }, it.says), lay,
    el("dl", { class: "facts slip" }, ...it.facts.map((/** @type {[string, string]} */ [label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, value)))),
    it.trays.length ? el("section", {}, el("h2", {}, t("Trays of it now")), el("p", { class: "row" }, ...it.trays.map((/** @type {string} */ c) =>
      el("a", { class: "button", href: pathOf({ kind: "clutch", name: c }) }, c)))) : null,
    el("p", { class: "caution" }, it.caution));
}

/** @param {any} pocket @param {string} code */
export function sheet(pocket, code) {
  return el("section", {}, el("h1", {}, `${t("Run sheet")} ${code}`), el("p", { class: "lead" }, pocket.sheets[code]),
    el("p", {}, t("Typing it in needs the farm’s computer. Keep the paper and scan its code again where there is a signal; what you tap here meanwhile is kept too.")),
    el("p", { class: "row" }, el("a", { class: "button main", href: "/round" }, t("Round")), el("a", { class: "button", href: "/racks" }, t("Racks"))));
}
