// The service worker: answers for the farm's computer when that is out of reach, with the shell and the files it kept.
// It keeps no page that was made for a person; what is drawn offline comes from the pocket, which goes at sign-out.
// @ts-check

import { send } from "./phone/sender.js";
import { kept } from "./phone/store.js";

const PATIENCE_MS = 3000;
const DRAWN = /^\/($|round$|racks$|bins\/|lots\/|clutches\/|book\/add$|at\/|phone\/waiting$)/i;
const OUTSIDE = /^\/(phone\/(shell|now|pocket|entries)|worker\.js|app\.webmanifest)/;

/** @typedef {{version: string, shell: string, statics: string, files: string[]}} Told */

/** @param {Told} told */
async function fill({ version, shell, files }) {
  const cache = await caches.open(`chirr-${version}`);
  await cache.addAll(files.map((file) => new Request(file, { cache: "reload" })));
  // asked without the sign-in, so that it names nobody; its address says in which language
  await cache.put(shell, await fetch(shell, { credentials: "omit", cache: "reload" }));
}

/** @param {Told} told */
async function sweep({ version }) {
  const old = (await caches.keys()).filter((name) => name.startsWith("chirr-") && name !== `chirr-${version}`);
  await Promise.all(old.map((name) => caches.delete(name)));
}

/** @param {Told} told */
async function fromShell({ version, shell }) {
  const page = await (await caches.open(`chirr-${version}`)).match(shell);
  return page ?? Response.error();
}

/** @param {FetchEvent} event @param {Told} told */
async function page(event, told) {
  const answer = (async () => (await event.preloadResponse) ?? fetch(event.request))();
  const drawn = DRAWN.test(new URL(event.request.url).pathname);
  if (drawn && (await kept("tag").catch(() => null))) { // it has a pocket to draw from
    const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE_MS, null); });
    const first = await Promise.race([answer, late]).catch(() => null);
    answer.catch(() => undefined);
    return first && first.status < 500 ? first : fromShell(told);
  }
  return answer.catch(() => fromShell(told));
}

/** @param {FetchEvent} event @param {Told} told */
async function file(event, told) {
  const cached = await (await caches.open(`chirr-${told.version}`)).match(event.request);
  return cached ?? fetch(event.request);
}

/** @param {Told} told */
export function serve(told) {
  const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));
  worker.addEventListener("install", (event) => {
    worker.skipWaiting();
    event.waitUntil(fill(told));
  });
  worker.addEventListener("activate", (event) => {
    event.waitUntil(Promise.all([sweep(told), worker.clients.claim(), worker.registration.navigationPreload?.enable()]));
  });
  worker.addEventListener("fetch", (event) => {
    const url = new URL(event.request.url);
    if (event.request.method !== "GET" || url.origin !== location.origin || OUTSIDE.test(url.pathname)) return;
    if (url.pathname.startsWith(told.statics)) event.respondWith(file(event, told));
    else if (event.request.mode === "navigate") event.respondWith(page(event, told));
  });
  worker.addEventListener("sync", (/** @type {any} */ event) => {
    if (event.tag === "chirr-outbox") event.waitUntil(send().then((well) => { if (!well) throw new Error("later"); }));
  });
}
