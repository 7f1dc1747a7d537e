// What an address of a thing means, written by a hand or read from a code on paper, as far as this phone's memory goes.
// The rules are those of the farm's computer (desk/codes.py): what it answers with a signal, the phone answers without.
// @ts-check

/** @typedef {"bin" | "lot" | "clutch" | "substrate" | "sheet"} Kind */
/** @typedef {{kind: Kind, name: string}} Found */
/** @typedef {{kind: Kind | "code", name: string, exact: boolean}} Asked */

const KINDS = /** @type {Kind[]} */ (["bin", "lot", "clutch", "substrate", "sheet"]);
const PLURALS = /** @type {Record<string, Kind>} */ ({ bins: "bin", lots: "lot", clutches: "clutch" });
const BASE32 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"; // RFC 4648
const FIGURES = 10;

/** Codes are written in capitals, of the letters A to Z alone. @param {string} name */
const capitals = (name) => name.replace(/[a-z]/g, (letter) => letter.toUpperCase());

/** The thing that a path asks for; null where it is no path of a thing. @param {string} path decoded @returns {Asked | null} */
export function read(path) {
  const [, plural, whole] = path.match(/^\/(bins|lots|clutches)\/(.+)$/) ?? [];
  if (plural) return { kind: PLURALS[plural], name: whole, exact: true };
  const [, kind, name] = path.match(/^\/(?:at|AT)\/([A-Za-z]+)\/(.+)$/) ?? [];
  const small = kind?.toLowerCase();
  const known = KINDS.find((k) => k === small);
  return known || small === "code" ? { kind: known ?? "code", name, exact: kind !== kind.toUpperCase() } : null;
}

/** Every name of a kind that this phone knows. @param {any} pocket @param {Kind} kind @returns {string[]} */
function names(pocket, kind) {
  const some = {
    bin: [pocket.bins], lot: [pocket.lots, pocket.choices.lots], clutch: [pocket.clutches, pocket.choices.clutches],
    substrate: [pocket.substrates], sheet: [pocket.sheets],
  }[kind];
  return [...new Set(some.flatMap((things) => Object.keys(things ?? {})))];
}

/** The figures that stand for a thing with a long name. @param {Kind} kind @param {string} name */
export async function figuresOf(kind, name) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(`${kind}\n${name}`)));
  const bits = [...digest.slice(0, 7)].map((byte) => byte.toString(2).padStart(8, "0")).join("");
  return Array.from({ length: FIGURES }, (_, n) => BASE32[Number.parseInt(bits.slice(5 * n, 5 * n + 5), 2)]).join("");
}

/** What may be meant: nothing, one thing, or several whose names differ only in capitals.
 * @param {any} pocket @param {Asked} asked @returns {Promise<Found[]>} */
export async function find(pocket, { kind, name, exact }) {
  if (kind === "code") {
    const all = KINDS.flatMap((k) => names(pocket, k).map((n) => ({ kind: k, name: n })));
    const figures = await Promise.all(all.map((thing) => figuresOf(thing.kind, thing.name)));
    return all.filter((_, n) => figures[n] === capitals(name));
  }
  const known = names(pocket, kind);
  if (exact && known.includes(name)) return [{ kind, name }];
  return known.filter((n) => capitals(n) === capitals(name)).map((n) => ({ kind, name: n }));
}
