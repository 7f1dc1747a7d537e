// Small hands for drawing: an element in one line, a shape of the sprite, and a way on that stays within these pages.
// @ts-check

/**
 * @param {string} tag
 * @param {Record<string, any>} [props] attributes; `on…` listeners; false, null and undefined are left out
 * @param {...(Node | string | null | undefined | false | (Node | string | null | false)[])} children
 * @returns {HTMLElement}
 */
export function el(tag, props = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat()) if (child) made.append(child);
  return made;
}

const SVG = "http://www.w3.org/2000/svg";

/** @param {string} name @param {string} [cls] */
export function shape(name, cls = "shape") {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", cls);
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#s-${name}`);
  svg.append(use);
  return svg;
}

/** An address as a path of these pages; the round where it is none, or leads elsewhere. @param {unknown} address */
export function ownPath(address) {
  try {
    const to = new URL(String(address || "/round"), location.href);
    return to.origin === location.origin ? `${to.pathname}${to.search}${to.hash}` : "/round";
  } catch {
    return "/round";
  }
}
