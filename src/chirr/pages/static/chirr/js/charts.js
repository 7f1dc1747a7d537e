// Draws every <figure data-chart>: its specification stands beside it as JSON, its colours come from the page.

const COLOURS = ["--chart-1", "--chart-2", "--chart-3", "--chart-4", "--chart-5"];
const drawn = new Map();
const words = JSON.parse(document.getElementById("page-words")?.textContent ?? "{}");

/** The colour that a custom property of the page has now, light or dark, as the browser computes it. */
function colour(name) {
  const probe = document.createElement("i");
  probe.style.color = `var(${name})`;
  document.body.append(probe);
  const value = getComputedStyle(probe).color;
  probe.remove();
  return value;
}

/** The look of every chart, taken from the page. */
function look() {
  const ink = colour("--ink");
  const soft = colour("--soft");
  const rule = colour("--rule");
  const font = getComputedStyle(document.body).fontFamily;
  const text = { labelColor: soft, titleColor: soft, labelFont: font, titleFont: font, labelFontSize: 13, titleFontSize: 13, titleFontWeight: 600 };
  const first = colour(COLOURS[0]);
  return {
    background: "transparent",
    font,
    view: { stroke: null },
    axis: { ...text, gridColor: rule, domainColor: rule, tickColor: rule },
    legend: { ...text, orient: "top" },
    header: text,
    title: { color: ink, font },
    text: { color: ink, font },
    range: { category: COLOURS.map(colour), ordinal: COLOURS.map(colour) },
    mark: { color: first },
    style: {
      band80: { color: first },
      band50: { color: first },
      middle: { color: first },
      window: { color: first },
      fact: { color: ink },
    },
    line: { color: first, strokeWidth: 2.5 },
    area: { color: first },
    rule: { color: soft },
    point: { color: ink, size: 60 },
    bar: { color: first },
  };
}

const bubble = document.createElement("div");
bubble.className = "chart-word";
bubble.hidden = true;
document.body.append(bubble);

/** Words beside the finger: plain text, set as text. */
function speak(_handler, event, _item, value) {
  if (value === null || value === undefined || value === "") {
    // a finger leaves the glass the moment it has touched: its words stay until it touches elsewhere
    if (!event || event.pointerType === "mouse") bubble.hidden = true;
    return;
  }
  bubble.textContent = typeof value === "object"
    ? Object.entries(value).map(([name, words]) => `${name}: ${words}`).join("\n")
    : String(value);
  bubble.hidden = false;
  const box = bubble.getBoundingClientRect();
  bubble.style.left = `${Math.max(4, Math.min(event.clientX + 14, innerWidth - box.width - 4))}px`;
  bubble.style.top = `${Math.max(4, event.clientY - box.height - 14)}px`;
}

/** Draw one figure, or draw it again. */
async function draw(figure) {
  const source = figure.querySelector("script[type='application/json']");
  const place = figure.querySelector("[data-drawing]");
  if (!source || !place || !window.vegaEmbed) return;
  const spec = JSON.parse(source.textContent);
  spec.width ??= "container";
  spec.autosize ??= { type: "fit", contains: "padding" };
  spec.config = { ...look(), ...spec.config };
  try {
    drawn.get(figure)?.finalize();
    const result = await window.vegaEmbed(place, spec, {
      ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: speak, mode: "vega-lite",
      ...(words.number ? { formatLocale: words.number, timeFormatLocale: words.time } : {}),
    });
    // Vega speaks when a pointer moves; a finger that only touches does not move
    result.view.addEventListener("pointerdown", (event, item) => speak(null, event, item, item?.tooltip));
    drawn.set(figure, result);
    const svg = place.querySelector("svg");
    svg?.setAttribute("role", "img");
    svg?.setAttribute("aria-label", figure.querySelector("figcaption")?.textContent ?? "chart");
  } catch (fault) {
    const text = "The chart could not be drawn here; its figures are in the table below.";
    place.textContent = words.sentences?.[text] ?? text;
    throw fault;
  }
}

let queue = Promise.resolve();

/** Draw all figures, one after another; a second call waits for the first. What is folded away has no width yet. */
export function drawAll(root = document) {
  for (const figure of root.querySelectorAll("figure[data-chart]")) {
    if (figure.closest("details:not([open])")) continue;
    queue = queue.catch(() => {}).then(() => draw(figure));
  }
  return queue;
}

drawAll();
document.addEventListener("toggle", (event) => {
  if (event.target.open && !event.target.closest("figure")) drawAll(event.target);
}, true);
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => drawAll());
addEventListener("pointerdown", (event) => {
  if (!event.target.closest?.("[data-drawing]")) bubble.hidden = true;
});
addEventListener("scroll", () => { bubble.hidden = true; }, { passive: true });
addEventListener("beforeprint", () => { bubble.hidden = true; });
