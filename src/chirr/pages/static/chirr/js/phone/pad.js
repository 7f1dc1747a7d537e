// A large number pad for gloved fingers, in the place of the phone's keyboard, whenever a number is asked.
// @ts-check

import { el, shape } from "./el.js";
import { t } from "./words.js";

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "⌫"];

/** @type {HTMLInputElement | null} */
let field = null;
/** @type {HTMLElement | null} */
let pad = null;

/** @param {string} key */
function press(key) {
  if (!field) return;
  const { value } = field;
  if (key === "⌫") field.value = value.slice(0, -1);
  else if (key !== "." || !value.includes(".")) field.value = value + key;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

/** @param {string} key @param {boolean} whole */
function keyOf(key, whole) {
  const name = key === "⌫" ? t("Take the last digit away") : key === "." ? t("point") : null;
  return el("button", {
    type: "button", class: "digit", "aria-label": name, disabled: whole && key === ".",
    onpointerdown: (/** @type {Event} */ e) => e.preventDefault(), // the field keeps the focus
    onclick: () => press(key),
  }, key);
}

function put() {
  pad?.remove();
  if (!field) return;
  const whole = field.dataset.pad === "numeric";
  const last = missing(field).length === 0;
  const done = el("button", {
    type: "button", class: "digit main", onclick: () => { const f = field; away(); onwards(f); },
    onpointerdown: (/** @type {Event} */ e) => e.preventDefault(),
  }, shape("tick"), last ? t("Write it") : t("Next"));
  pad = el("div", { class: "numpad", role: "group", "aria-label": t("Number pad") }, ...KEYS.map((k) => keyOf(k, whole)), done);
  (field.closest("dialog") ?? document.body).append(pad);
  document.body.classList.add("with-pad");
  field.scrollIntoView({ block: "center" });
}

function away() {
  pad?.remove();
  pad = null;
  field = null;
  document.body.classList.remove("with-pad");
}

/** Put the pad away, but not while a finger is down: what it is on would slip from under it. */
function leaveSoon() {
  const from = field;
  setTimeout(() => { if (field === from && document.activeElement !== from) away(); }, 400);
}

/** Fields that are still asked for besides this one. @param {HTMLInputElement | null} from */
function missing(from) {
  const asked = [...(from?.form?.querySelectorAll("[required]") ?? [])];
  return asked.filter((i) => i !== from && !(/** @type {HTMLInputElement} */ (i).value));
}

/** To the next field that is asked for; where there is none, the form is written. @param {HTMLInputElement | null} from */
function onwards(from) {
  const [to] = missing(from);
  const main = from?.form?.querySelector("button.main, button:not([type=button])");
  if (to) /** @type {HTMLElement} */ (to).focus();
  else if (from?.form && main instanceof HTMLButtonElement) from.form.requestSubmit(main);
}

/** Answer number fields with the pad on devices that are touched. */
export function watch() {
  if (!matchMedia("(pointer: coarse)").matches) return;
  document.addEventListener("focusin", (event) => {
    const at = event.target;
    if (at instanceof HTMLInputElement && (at.dataset.pad || ["decimal", "numeric"].includes(at.inputMode))) {
      at.dataset.pad ||= at.inputMode;
      at.inputMode = "none";
      field = at;
      put();
    } else if (!(at instanceof Element && pad?.contains(at))) {
      leaveSoon();
    }
  });
  document.addEventListener("click", (event) => {
    const at = event.target;
    if (pad && at instanceof Element && !pad.contains(at) && !at.closest("label, input")) leaveSoon();
  });
}
