// An entry's own number, made on the phone: a UUID of version 7 (RFC 9562, section 5.7).
// @ts-check

/**
 * 48 bits of milliseconds, then chance: no two phones ever make the same one.
 *
 * @param {number} [ms] milliseconds since 1970
 * @returns {string}
 */
export function uuid7(ms = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0; i < 6; i += 1) bytes[i] = Math.floor(ms / 2 ** (8 * (5 - i))) % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
