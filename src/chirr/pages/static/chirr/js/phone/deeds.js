// The form of a deed: drawn from the pocket, or found on a page of the farm's; filled by a person, written to the outbox.
// @ts-check

import { el, ownPath } from "./el.js";
import { notWritten, written } from "./feel.js";
import { reason } from "./notices.js";
import * as outbox from "./outbox.js";
import { sendOne } from "./sender.js";
import { words } from "./taps.js";
import { t, term } from "./words.js";

const PATIENCE_MS = 3500;
const NOT_COLUMNS = new Set(["csrfmiddlewaretoken", "id", "next", "way", "ask", "instead"]);
const WRONG = () => [t("too hot"), t("too cold"), t("wet"), t("mould"), t("bad smell"), t("mites"), t("escaped"), t("many dead"), t("broken")];

/** Lists that many forms share are kept once. @param {any} pocket @param {[string, string][]} options */
function spread(pocket, options) {
  const lists = pocket.choices;
  const where = (/** @type {Record<string, string>} */ map) => Object.entries(map).map(([n, at]) => [n, at ? `${n}, ${at}` : n]);
  const named = new Set(options.map(([key]) => key));
  return options.flatMap(([key, words_]) => {
    const name = key.slice(1);
    if (key === "@lots") return where(lists.lots);
    if (key === "@breeders") return named.has("@lots") ? [] : where(Object.fromEntries(lists.breeders.map((/** @type {string} */ n) => [n, lists.lots[n]])));
    if (key === "@clutches") return where(lists.clutches);
    return key.startsWith("@") ? lists[name].map((/** @type {string} */ n) => [n, n]) : [[key, words_]];
  });
}

/** @param {any} pocket @param {any} f @param {Record<string, string>} values */
function field(pocket, f, values) {
  const [id, value] = [`f-${f.name}`, values[f.name] ?? ""];
  const hint = (f.hint ?? "").replace(/@(next_\w+)/, (/** @type {string} */ _, /** @type {string} */ n) => pocket.choices[n]);
  const common = { id, name: f.name, required: f.required, "aria-describedby": hint ? `h-${f.name}` : null };
  const options = spread(pocket, f.options ?? []);
  /** @type {(Node | null)[]} */
  let box;
  if (f.kind === "select") {
    const known = options.some(([key]) => key === value) || !value;
    box = [el("select", common, f.blank === undefined ? null : el("option", { value: "" }, f.blank),
      known ? null : el("option", { value, selected: true }, value),
      ...options.map(([key, said]) => el("option", { value: key, selected: key === value }, said)))];
  } else if (f.kind === "area") {
    box = [el("textarea", { ...common, rows: 3 }, value)];
  } else {
    const mode = f.kind === "decimal" ? "decimal" : f.kind === "whole" ? "numeric" : null;
    const list = f.kind === "list" ? `l-${f.name}` : null;
    box = [
      el("input", { ...common, value, inputmode: mode, list, autocomplete: "off", type: f.kind === "moment" ? "datetime-local" : null }),
      list ? el("datalist", { id: list }, ...options.map(([key, said]) => el("option", { value: key }, said === key ? null : said))) : null,
    ];
  }
  return el("div", { class: "field" }, el("label", { for: id }, f.label), hint ? el("small", { id: `h-${f.name}` }, hint) : null, ...box);
}

/** Names of trays that wait on this phone, which the pocket cannot know of. @type {Set<string>} */
let waiting = new Set();
/** See what waits; forms are drawn with the names of that moment. */
export const look = async () => { waiting = new Set((await outbox.all()).map((e) => e.values.clutch)); };
outbox.onChange(() => look().catch(() => undefined));

/** The name for the next tray: counted on past those that wait and those that the round gives out. @param {any} pocket */
function nextClutch(pocket) {
  const given = new Set(pocket.stops.flatMap((/** @type {any} */ s) => s.items.map((/** @type {any} */ i) => i.fill?.clutch)));
  let name = String(pocket.choices.next_clutch ?? "");
  while (/\d/.test(name) && (waiting.has(name) || given.has(name))) {
    name = name.replace(/(\d+)(\D*)$/, (_, n, rest) => String(Number(n) + 1).padStart(n.length, "0") + rest);
  }
  return name;
}

/** What the pocket can guess before a person fills the form. @param {any} pocket @param {Record<string, string>} given */
function guess(pocket, given) {
  const values = { ...given };
  const [room, stack, level] = (values.to_place ?? "").match(/^(.+)\/(\d+)\/(\d+)$/)?.slice(1) ?? [];
  if (room) Object.assign(values, { to_room: room, to_stack: stack, to_level: level });
  if (values.deed === "lay") {
    values.clutch ||= nextClutch(pocket);
    const here = pocket.choices.breeders.filter((/** @type {string} */ n) => pocket.choices.lots[n] === values.bin);
    if (here.length === 1) values.lot ||= here[0];
  }
  if (values.deed === "count") values.unit ||= values.clutch ? "eggs" : "crickets";
  values.bin ||= pocket.choices.lots[values.lot] ?? "";
  return values;
}

/** The way of a deed that the given columns come nearest to. @param {any} deed @param {Record<string, string>} values */
function nearest(deed, values) {
  const missing = deed.ways.map((/** @type {any} */ way) => way.needed.filter((/** @type {any} */ f) => !values[f.name]).length);
  return Number(values.way ?? missing.indexOf(Math.min(...missing)));
}

/**
 * Draw the form of a deed.
 *
 * @param {any} pocket
 * @param {URLSearchParams} asked deed, columns known already, `way`, `next`, `ask`
 * @returns {HTMLElement}
 */
export function draw(pocket, asked) {
  const given = Object.fromEntries(asked);
  const deed = pocket.deeds[given.deed];
  if (!deed) return choose(pocket, asked);
  const values = guess(pocket, given);
  const number = nearest(deed, values);
  const way = deed.ways[number] ?? deed.ways[0];
  const tab = (/** @type {number} */ n) => { const to = new URLSearchParams(asked); to.set("way", String(n)); return `/book/add?${to}`; };
  const form = el("form", { class: "form", method: "post", action: "/book/add", novalidate: true, "data-deed": given.deed },
    el("input", { type: "hidden", name: "deed", value: given.deed }),
    ...["next", "instead"].map((name) => given[name] ? el("input", { type: "hidden", name, value: given[name] }) : null),
    given.ask === "wrong" ? wrong() : null,
    el("div", { class: "two" }, ...way.needed.map((/** @type {any} */ f) => field(pocket, f, values))),
    el("p", { class: "row" }, el("button", { class: "main" }, t("Write it")), el("a", { class: "button leave", href: ownPath(given.next) }, t("Leave it"))),
    el("details", {}, el("summary", {}, t("More")),
      el("div", { class: "two" }, ...way.more.map((/** @type {any} */ f) => field(pocket, f, values)),
        field(pocket, { name: "at", label: t("When"), kind: "moment", hint: given.instead ? t("Leave empty for when it was first written. Farm time.") : t("Leave empty for now. Farm time.") }, values))));
  return el("section", { class: "deed" },
    el("h1", {}, given.ask === "wrong" ? t("Something is wrong") : term("deed", given.deed)), el("p", { class: "quiet" }, deed.says),
    ...deed.cautions.map((/** @type {string} */ c) => el("p", { class: "caution" }, c)),
    deed.ways.length > 1 ? el("ul", { class: "tabs" }, ...deed.ways.map((/** @type {any} */ w, /** @type {number} */ n) =>
      el("li", {}, el("a", { href: tab(n), "aria-current": n === number ? "true" : null }, w.words)))) : null,
    form);
}

/** What is most often wrong, each written by one tap. */
function wrong() {
  return el("div", { class: "row wrong" }, ...WRONG().map((w) => el("button", { type: "submit", name: "note", value: t("something is wrong: {what}", { what: w }) }, w)));
}

/** @param {any} pocket @param {URLSearchParams} asked */
function choose(pocket, asked) {
  const more = new URLSearchParams([...asked].filter(([k]) => ["bin", "lot", "clutch", "next"].includes(k))).toString();
  return el("section", {}, el("h1", {}, t("What was done?")), ...pocket.groups.map(([said, deeds]) => el("div", {}, el("h2", {}, said),
    el("ul", { class: "deeds plain" }, ...deeds.map((/** @type {string} */ name) =>
      el("li", {}, el("a", { href: `/book/add?deed=${name}${more ? `&${more}` : ""}` }, el("strong", {}, term("deed", name)), " ", el("span", {}, pocket.deeds[name].says))))))));
}

/** Sentences beside the fields that they are about. @param {HTMLFormElement} form @param {Record<string, string>} faults */
function showFaults(form, faults) {
  form.querySelectorAll(".fault").forEach((f) => f.remove());
  form.querySelectorAll("[aria-invalid]").forEach((f) => f.removeAttribute("aria-invalid"));
  let first = null;
  for (const [name, said] of Object.entries(faults)) {
    const box = name ? form.querySelector(`[name="${CSS.escape(name === "to_place" ? "to_room" : name)}"]`) : null;
    const place = box?.closest(".field");
    const line = el("span", { class: "fault", role: "alert", id: `e-${name}` }, said);
    if (place && box) {
      box.setAttribute("aria-invalid", "true");
      box.setAttribute("aria-describedby", `e-${name}`);
      place.closest("details")?.setAttribute("open", "");
      place.append(line);
      first ??= box;
    } else form.prepend(el("p", { class: "word error", role: "alert" }, line));
  }
  /** @type {HTMLElement | null} */ (first)?.focus();
}

/**
 * Write a filled form: safe on the phone first, then sent at once if the farm answers, so that a fault is told here.
 *
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 * @param {(words: string, ids: string[]) => void} done
 */
export async function write(form, submitter, done) {
  if (form.dataset.busy) return;
  const data = new FormData(form, submitter);
  const values = Object.fromEntries([...data].filter(([k, v]) => !NOT_COLUMNS.has(k) && String(v).trim()).map(([k, v]) => [k, String(v)]));
  const needed = [...form.querySelectorAll("[required]")].map((f) => /** @type {HTMLInputElement} */ (f).name);
  const empty = needed.filter((name) => !values[name]);
  if (empty.length) {
    notWritten();
    showFaults(form, Object.fromEntries(empty.map((name) => [name, t("Fill this in.")])));
    return;
  }
  form.dataset.busy = "yes";
  try {
    const next = String(data.get("next") ?? "");
    const [id] = await outbox.add([{ values, says: words(values), key: next.split("#")[1] ?? "" }], String(data.get("instead") ?? ""));
    const answer = await sendOne(id, PATIENCE_MS);
    if (answer?.got === "refused") {
      notWritten();
      showFaults(form, answer.faults);
      return;
    }
    written();
    if (!answer) dispatchEvent(new Event("chirr-written"));
    done(answer ? t("Written: {what}", { what: words(values) }) : t("Kept on this phone: {what}", { what: words(values) }), [id]);
  } catch (trouble) {
    notWritten();
    showFaults(form, { "": reason(trouble) }); // beside what was filled in, which stays
  } finally {
    delete form.dataset.busy;
  }
}

/** Show a form over the page that the hand is on, and stay there when it is written. @param {any} pocket @param {URLSearchParams} asked */
export function openOver(pocket, asked) {
  document.getElementById("sheet")?.remove();
  const dialog = /** @type {HTMLDialogElement} */ (el("dialog", { id: "sheet", class: "sheet" }, draw(pocket, asked)));
  dialog.addEventListener("close", () => dialog.remove());
  dialog.addEventListener("click", (event) => {
    const link = event.target instanceof Element ? event.target.closest("a") : null;
    if (!link) return;
    event.preventDefault();
    if (link.classList.contains("leave")) dialog.close();
    else dialog.replaceChildren(draw(pocket, new URL(/** @type {HTMLAnchorElement} */ (link).href).searchParams));
  });
  document.body.append(dialog);
  dialog.showModal();
  /** @type {HTMLElement | null} */ (dialog.querySelector("input[inputmode][required], .wrong button"))?.focus();
}
