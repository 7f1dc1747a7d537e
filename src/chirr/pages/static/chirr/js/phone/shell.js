// Draws the asked-for page from the pocket when the farm's computer does not answer.
// @ts-check

import * as codes from "./codes.js";
import * as deeds from "./deeds.js";
import { el } from "./el.js";
import * as labelled from "./labelled.js";
import { round } from "./stops.js";
import { racks, thing } from "./things.js";
import * as waiting from "./waiting.js";
import { t } from "./words.js";

/** A path in plain letters; one that is no proper writing of any stays as it is. @param {string} path */
function plain(path) {
  try {
    return decodeURIComponent(path);
  } catch {
    return path;
  }
}

/** @param {any} pocket @param {codes.Asked} asked @returns {Promise<{title: string, place: string, page: HTMLElement}>} */
async function thingOf(pocket, asked) {
  const found = await codes.find(pocket, asked);
  const [{ kind, name } = asked] = found;
  const page = found.length > 1 ? labelled.which(found) : found.length === 0 ? labelled.unknown(pocket, asked)
    : kind === "substrate" ? labelled.substrate(pocket, name) : kind === "sheet" ? labelled.sheet(pocket, name)
      : await thing(pocket, /** @type {"bin" | "lot" | "clutch"} */ (kind), name);
  return { title: found.length > 1 ? t("Which one?") : name, place: { substrate: "trays", sheet: "round", clutch: "trays" }[kind] ?? "racks", page };
}

/** @param {any} pocket @param {URL} url @returns {Promise<{title: string, place: string, page: HTMLElement}>} */
async function pageOf(pocket, url) {
  const at = plain(url.pathname);
  if (at === "/phone/waiting") return { title: t("On this phone"), place: "", page: await waiting.draw(pocket) };
  if (!pocket) return { title: t("No answer"), place: "", page: el("section", {}, el("h1", {}, t("No answer from the farm’s computer")), el("p", { class: "lead" }, t("This phone has nothing in its memory yet. Sign in once where there is a signal; then it works without."))) };
  if (at === "/" || at === "/round") return { title: t("Round"), place: "round", page: round(pocket) };
  if (at === "/racks") return { title: t("Racks"), place: "racks", page: racks(pocket) };
  if (at === "/book/add") return { title: t("Write an entry"), place: "book", page: deeds.draw(pocket, url.searchParams) };
  const asked = codes.read(at);
  if (asked) return thingOf(pocket, asked);
  return { title: t("No answer"), place: "", page: el("section", {}, el("h1", {}, t("No answer from the farm’s computer")),
    el("p", { class: "lead" }, t("This page needs it. Without a signal the phone has the Round, the Racks, each bin, lot and clutch, and forms.")),
    el("p", { class: "row" }, el("a", { class: "button main", href: "/round" }, t("Round")), el("a", { class: "button", href: "/racks" }, t("Racks")))) };
}

/** @param {any} pocket */
export async function draw(pocket) {
  const place = document.getElementById("phone");
  if (!place) return;
  const drawn = await pageOf(pocket, new URL(location.href));
  document.title = `${drawn.title} · ${pocket?.farm ?? "Chirr"}`;
  const name = document.querySelector(".farm-name span");
  if (name && pocket) name.textContent = pocket.farm;
  if (pocket && !document.querySelector(".head .who")) document.querySelector(".head")?.append(el("a", { class: "who", href: "/me" }, el("span", {}, pocket.person)));
  for (const link of document.querySelectorAll(".places a")) {
    if (drawn.place && link.getAttribute("href") === `/${drawn.place}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  const fromMemory = pocket && location.pathname !== "/phone/waiting"
    ? el("p", { class: "quiet from-memory" }, t("From this phone’s memory, as of {day}.", { day: pocket.as_of_says })) : null;
  place.replaceChildren(...(fromMemory ? [fromMemory] : []), drawn.page);
  place.removeAttribute("aria-busy");
  if (location.hash) document.getElementById(plain(location.hash.slice(1)))?.scrollIntoView({ block: "center" });
}
