// The stops that a page of the round left out, so that its first ones are there at once: they come when the browser is at
// rest, a few at a time, so that a tap meanwhile is not kept waiting. Without this script a link leads to them.
// @ts-check

const A_FEW = 4;

const loaded = new Promise((done) => {
  if (document.readyState === "complete") done(null);
  else addEventListener("load", done, { once: true });
});

/** @returns {Promise<unknown>} */
const rest = () => new Promise((done) => {
  if ("requestIdleCallback" in window) requestIdleCallback(done, { timeout: 500 });
  else setTimeout(done, 50);
});

/** Where the address points to, if only now it is there and nobody has gone elsewhere meanwhile. */
function follow() {
  const place = document.getElementById(location.hash.slice(1));
  if (place && scrollY === 0) place.scrollIntoView({ behavior: "instant" });
}

/** @param {HTMLAnchorElement} link */
async function fetchFurther(link) {
  const answer = await fetch(link.dataset.further ?? "");
  if (!answer.ok || answer.redirected) return;
  const part = document.createElement("template");
  part.innerHTML = await answer.text();
  const more = [...part.content.children].filter((e) => !e.matches("article") || !document.getElementById(e.id));
  const place = link.closest("p");
  while (more.length && place?.isConnected) {
    place.before(...more.splice(0, A_FEW));
    dispatchEvent(new Event("chirr-further"));
    if (!location.hash) await rest();
  }
  const next = /** @type {HTMLElement | null} */ (document.querySelector("a#further:not([data-further])") ?? place?.previousElementSibling?.querySelector("button, a"));
  if (document.activeElement === link) next?.focus({ preventScroll: true });
  place?.remove();
  if (location.hash) follow();
}

const link = /** @type {HTMLAnchorElement | null} */ (document.querySelector("a[data-further]"));
// who comes for one of them does not wait
const when = location.hash && !document.getElementById(location.hash.slice(1)) ? Promise.resolve() : loaded.then(rest);
if (link) when.then(() => fetchFurther(link)).catch(() => undefined); // the link stays, and leads to all of them
