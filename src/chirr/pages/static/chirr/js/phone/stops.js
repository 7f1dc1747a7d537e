// A stop of the round, and the whole round, drawn from the pocket as the farm's own page draws them.
// @ts-check

import { el, shape } from "./el.js";
import { slug } from "./taps.js";
import { t, term } from "./words.js";

/** @param {number} minutes */
export function about(minutes) {
  const whole = Math.round(minutes);
  if (whole < 1) return minutes > 0 ? t("under a minute") : "0 min";
  const [h, m] = [Math.floor(whole / 60), whole % 60];
  return [h ? `${h} h` : "", m ? `${m} min` : ""].filter(Boolean).join(" ");
}

/** @param {any} item @param {any} stop @param {boolean} mayWrite */
function itemOf(item, stop, mayWrite) {
  const ask = new URLSearchParams({ ...item.fill, next: `/round#${slug(item.key)}` });
  const form = `do-${slug(stop.key)}`;
  const own = { tap: () => el("button", { class: "tick", form, name: "key", value: item.key, "aria-label": `${t("Done")}: ${item.what}` }, shape("tick")),
    form: () => el("a", { class: "button", href: `/book/add?${ask}`, "aria-label": `${t("Fill in")}: ${item.what}` }, shape("pen"), t("Fill in")),
    look: () => el("div", { class: "look" }, el("button", { form, name: "key", value: item.key }, t("Pinheads")),
      el("button", { form, name: "key", value: item.key.replace("hatch:", "none:") }, t("None yet"))) };
  const button = mayWrite && item.how in own ? own[/** @type {keyof typeof own} */ (item.how)]() : null;
  const tapped = item.how === "tap" || item.how === "look";
  return el("li", { class: `item ${item.urgency}`, id: slug(item.key), "data-fill": tapped ? JSON.stringify(item.fill) : null,
    "data-none": item.none ? JSON.stringify(item.none) : null, "data-minutes": item.minutes },
  el("div", { class: "what" }, el("p", {}, el("strong", {}, item.what[0].toUpperCase() + item.what.slice(1))),
    el("p", { class: "why" }, item.urgency === "due" ? null : el("span", { class: `chip ${item.urgency}` }, shape(item.urgency), term("urgency", item.urgency)), " ", item.why)),
  button ? el("div", { class: "do" }, button) : null);
}

/** @param {any} stop @param {any} pocket */
export function stopOf(stop, pocket) {
  const name = stop.bin ?? t("Hatch rack");
  const place = slug(stop.key);
  const whole = pocket.may_write && stop.whole.length > 1
    ? el("button", { class: "whole", form: `do-${place}`, name: "whole", value: JSON.stringify(stop.whole) },
      shape("tick"), t("Whole bin"), " ", el("small", {}, String(stop.whole.length)))
    : null;
  return el("article", { class: `stop slip${stop.within ? "" : " beyond"}`, id: place, "data-bin": stop.bin },
    el("form", { method: "post", action: "/round/do", id: `do-${place}`, hidden: true }),
    el("header", {}, el("h3", {}, stop.bin ? el("a", { href: `/bins/${encodeURIComponent(stop.bin)}` }, stop.bin) : name),
      el("p", { class: "quiet" }, `${stop.room} · ${t("stack")} ${stop.stack} · ${t("level")} ${stop.level}${stop.minutes ? ` · ${about(stop.minutes)}` : ""}`), whole),
    stop.level > 3 ? el("p", { class: "quiet high" }, shape("trouble"), t("High up: steps that stand firm, two people for a full bin.")) : null,
    el("ul", { class: "items" }, ...stop.items.map((/** @type {any} */ i) => itemOf(i, stop, pocket.may_write))),
    pocket.may_write && stop.bin ? elseAt(stop, pocket) : null);
}

/** What else there may be at a bin, two taps away. @param {any} stop @param {any} pocket */
export function elseAt(stop, pocket) {
  const link = (/** @type {string} */ deed, /** @type {string} */ words, more = {}) => {
    const ask = new URLSearchParams({ deed, bin: stop.bin, ...(stop.lot ? { lot: stop.lot } : {}), ...more, next: `${location.pathname}#${slug(stop.key ?? `bin:${stop.bin}`)}` });
    return el("a", { class: `button${"ask" in more ? " bad" : ""}`, href: `/book/add?${ask}` }, words);
  };
  return el("details", { class: "else" }, el("summary", {}, t("Something else here")), el("p", { class: "row" },
    ...pocket.under_else.filter((/** @type {string} */ d) => stop.lot || d === "note").map((/** @type {string} */ d) => link(d, term("deed", d))),
    link("note", t("Something is wrong"), { ask: "wrong" })));
}

/** Stops drawn at first, as the farm's own page does: more than a person walks in half a day. */
const LEG = 60;

/** The round of the day. @param {any} pocket */
export function round(pocket) {
  const due = pocket.stops.filter((/** @type {any} */ s) => s.items.some((/** @type {any} */ i) => i.urgency !== "soon"));
  const all = due.length <= LEG || new URLSearchParams(location.search).has("all");
  const leg = all ? due : due.slice(0, LEG);
  let group = "";
  const cards = leg.flatMap((/** @type {any} */ s) => {
    const heading = s.group === group ? null : el("h2", { class: "group" }, shape(s.group), " ", pocket.group_words[s.group] ?? s.group);
    group = s.group;
    return [heading, stopOf(s, pocket)];
  });
  const clock = pocket.may_write ? el("form", { class: "clock", method: "post", action: "/round/clock" }, el("span", { class: "clock-face", role: "timer" })) : null;
  return el("div", { id: "round" },
    el("div", { class: "round-head" }, el("h1", {}, t("Today’s round")),
      el("p", { class: "sum" }, el("span", { class: "figure" }, about(pocket.minutes)), " ", el("span", { id: "stops-left" })), clock),
    ...(cards.length ? cards : [el("p", { class: "lead slip" }, t("Nothing is due."))]),
    all ? null : el("p", { class: "row" }, el("a", { class: "button", href: "/round?all=1" }, t("Show the other {n} stops", { n: due.length - LEG }))));
}
