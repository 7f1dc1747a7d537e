// Correcting the marks on a photograph by tapping; the form below carries what changed. Without scripts the count stands as found.
const svg = document.querySelector("svg.marks");
const form = document.querySelector("form.form");
const figure = document.querySelector("[data-count]");
const endsButton = document.querySelector("[data-ends]");
const over = svg.querySelector(".over");
const frame = svg.parentElement;
const reach = Number(svg.dataset.reach);
const THUMB = 18; // a tap this near [CSS px] to a mark is meant for it
const EASY = 26; // the usual thing should be this long [CSS px] to be tapped with a thumb
const field = (name) => form.elements.namedItem(name);
const numbers = (name) => new Set(field(name).value.split(" ").filter(Boolean));
const off = numbers("off");
const on = numbers("on");
let added = field("added").value.split(" ").filter(Boolean);
let ends = field("ends").value.split(" ").filter(Boolean);
let tappingEnds = false;

document.querySelectorAll("[data-how]").forEach((part) => { part.hidden = false; });

function drawn(name, attributes) {
  const part = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, value);
  over.append(part);
}

function show() {
  svg.querySelectorAll("ellipse").forEach((mark) => {
    const { mark: number, sure } = mark.dataset;
    const counted = on.has(number) || (sure && !off.has(number));
    mark.setAttribute("class", counted ? "counted" : sure ? "off" : "doubted");
  });
  svg.querySelectorAll("circle, line").forEach((part) => part.remove());
  for (const place of added) {
    const [cx, cy] = place.split(",");
    drawn("circle", { class: "added", cx, cy, r: reach, "data-added": place });
  }
  if (ends.length === 2) {
    const [[x1, y1], [x2, y2]] = ends.map((end) => end.split(","));
    drawn("line", { x1, y1, x2, y2 });
  }
  figure.textContent = svg.querySelectorAll(".counted, .added").length;
  field("off").value = [...off].join(" ");
  field("on").value = [...on].join(" ");
  field("added").value = added.join(" ");
  field("ends").value = ends.join(" ");
}

function toggle(set, key) {
  if (!set.delete(key)) set.add(key);
}

svg.addEventListener("click", (event) => {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const place = `${Math.max(0, at.x).toFixed(1)},${Math.max(0, at.y).toFixed(1)}`;
  const hit = "mark" in event.target.dataset || "added" in event.target.dataset ? event.target : nearest(event);
  const { mark, sure, added: known } = hit?.dataset ?? {};
  if (tappingEnds) {
    ends = ends.length >= 2 ? [place] : [...ends, place];
    if (ends.length === 2) setTapping(false);
  } else if (mark !== undefined) toggle(sure ? off : on, mark);
  else if (known !== undefined) added = added.filter((one) => one !== known);
  else added.push(place);
  show();
});

function nearest({ clientX, clientY }) {
  let best = null;
  let least = THUMB;
  for (const part of over.querySelectorAll("ellipse, circle")) {
    const box = part.getBoundingClientRect();
    const far = Math.hypot(box.left + box.width / 2 - clientX, box.top + box.height / 2 - clientY);
    if (far < least) [best, least] = [part, far];
  }
  return best;
}

function zoom(by) {
  const wide = Math.min(Math.max(svg.clientWidth * by, frame.clientWidth), 12 * frame.clientWidth);
  const [x, y] = [frame.scrollLeft + frame.clientWidth / 2, frame.scrollTop + frame.clientHeight / 2];
  const ratio = wide / svg.clientWidth;
  svg.style.width = `${wide}px`;
  frame.scrollTo(x * ratio - frame.clientWidth / 2, y * ratio - frame.clientHeight / 2);
}

document.querySelectorAll("[data-zoom]").forEach((button) => {
  button.addEventListener("click", () => zoom(Number(button.dataset.zoom)));
});
const shown = (Number(svg.dataset.usual) * svg.clientWidth) / svg.viewBox.baseVal.width;
if (shown > 0 && shown < EASY) zoom(EASY / shown);

function setTapping(wanted) {
  tappingEnds = wanted;
  endsButton.setAttribute("aria-pressed", String(wanted));
}
endsButton.addEventListener("click", () => { if (!tappingEnds) ends = []; setTapping(!tappingEnds); show(); });
show();
