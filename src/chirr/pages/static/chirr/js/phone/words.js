// What the scripts say: English, or what the pocket says for it in another language.
// @ts-check

const inPage = globalThis.document?.getElementById("page-words")?.textContent;
/** @type {Record<string, string>} */
const ofPage = JSON.parse(inPage ?? "{}").sentences ?? {};
/** @type {Record<string, string>} */
let learnt = ofPage;

/** @param {Record<string, string> | undefined} words */
export function learn(words) {
  // a pocket may be from before the language was changed: the page that is open knows better
  learnt = globalThis.document?.documentElement.lang.startsWith("en") ? {} : { ...words, ...ofPage };
}

/**
 * A word that the book keeps (a deed, a duty, a state), as it is shown; the word kept stays as it is.
 *
 * @param {string} kind @param {string} word
 */
export const term = (kind, word) => learnt[`${kind}:${word}`] ?? word;

/**
 * A sentence in the person's language, with what is in braces filled in.
 *
 * @param {string} text
 * @param {Record<string, string | number>} [values]
 */
export function t(text, values = {}) {
  return (learnt[text] ?? text).replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

// Days and times as the language of the page writes them, whatever the language of the phone. [epoch ms]

/** @param {Intl.DateTimeFormatOptions} how */
const written = (how) => (/** @type {number} */ at) => new Date(at).toLocaleString(globalThis.document?.documentElement.lang || [], how);
export const timeOf = written({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
export const dayOf = written({ weekday: "short", day: "numeric", month: "short" });
export const shortDayOf = written({ day: "numeric", month: "short" });
