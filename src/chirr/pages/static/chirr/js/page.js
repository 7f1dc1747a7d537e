// What every page does where the browser runs scripts; each of these works without it too.

const words = JSON.parse(document.getElementById("page-words")?.textContent ?? "{}");

/** A sentence in the language of the page. */
const t = (text) => words.sentences?.[text] ?? text;

// Forms whose choice takes effect at once: theme, day, number of people.
document.addEventListener("change", (event) => {
  const form = event.target.closest?.("form[data-at-once]");
  if (form) form.requestSubmit();
});

// A form that the server refuses keeps its place: the first fault is brought into sight.
document.querySelector("[aria-invalid='true']")?.focus({ preventScroll: false });

// A swap by htmx tells screen readers and leaves the focus where the hand was.
document.addEventListener("htmx:afterSwap", (event) => {
  const stop = event.detail.requestConfig?.triggeringEvent?.submitter?.closest("article.stop")?.id;
  if (stop && document.activeElement === document.body) {
    document.getElementById(stop)?.querySelector("button, a")?.focus({ preventScroll: true });
  }
});

document.addEventListener("htmx:responseError", (event) => {
  const place = document.getElementById("messages");
  if (place) {
    const line = document.createElement("p");
    line.className = "word error";
    line.textContent = event.detail.xhr.status === 0
      ? t("No answer from the farm's computer. Nothing was written; try again when the signal is back.")
      : t("That did not work, and nothing was written. Open the page afresh and try again.");
    place.replaceChildren(line);
  }
});
document.addEventListener("htmx:sendError", () => {
  const place = document.getElementById("messages");
  if (!place) return;
  const line = document.createElement("p");
  line.className = "word error";
  line.textContent = t("No answer from the farm's computer. Nothing was written; try again when the signal is back.");
  place.replaceChildren(line);
});

// The clock of the round runs on between two answers of the server.
let shownAt = performance.now();
function tick() {
  const face = document.querySelector("[data-clock]");
  const start = Number.parseFloat(face?.dataset.clock ?? "");
  if (!Number.isFinite(start)) return;
  const seconds = Math.floor(start * 60 + (performance.now() - shownAt) / 1000);
  const [h, m, s] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  face.textContent = `${h ? `${h}:` : ""}${String(m).padStart(h ? 2 : 1, "0")}:${String(s).padStart(2, "0")}`;
}
document.addEventListener("htmx:afterSwap", () => { shownAt = performance.now(); tick(); });
setInterval(tick, 1000);
tick();

// A new farm is most likely in the zone of the machine it is set up on.
const zone = document.querySelector(".set-up #f-timezone");
if (zone && !zone.value) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
