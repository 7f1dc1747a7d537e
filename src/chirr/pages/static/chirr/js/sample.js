// The answer of a sampling form while it is filled in. Without scripts its button does the same; nothing is written here.
const form = document.querySelector("form[data-sample]");
let waiting;
let asked;

async function answer() {
  asked?.abort();
  asked = new AbortController();
  const query = new URLSearchParams(new FormData(form));
  query.set("part", "1");
  try {
    const reply = await fetch(`${form.action.split("?")[0]}?${query}`, { signal: asked.signal });
    if (!reply.ok) return;
    const fresh = new DOMParser().parseFromString(await reply.text(), "text/html").querySelector("#answer");
    const shown = form.querySelector("#answer");
    if (fresh && fresh.innerHTML !== shown.innerHTML) shown.replaceChildren(...fresh.childNodes); // a link being tapped stays
  } catch (error) {
    if (error.name !== "AbortError") form.querySelector("#answer").replaceChildren();
  }
}

form.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(answer, 250); });
