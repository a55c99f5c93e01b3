// Paint readings: tap a panel, type single readings on the pad, save the spot.
// The page may be drawn afresh while it is open, so everything is found anew each time.

import { find, within } from "./elements.js";
import { all } from "./queue.js";

/** @import { Spot } from "./queue.js" */

const HIGHEST = 5000; // microns: beyond it no gauge for paint reads
/** @type {number[]} */
let readings = [];

const measure = () => find("[data-measure]");
/** @param {string} name */
const part = (name) => find(`[data-${name}]`);
/** @param {string} name */
const chosen = (name) => measure().querySelector(`input[name="${name}"]:checked`);
const typed = () => find("input#reading");
const least = () => Number(measure().dataset.least);
const material = () => find('input[name="material"]:checked', measure()).value;
const isPlastic = () => material() === "plastic";
/** @param {number[]} numbers */
const mean = (numbers) => numbers.reduce((sum, number) => sum + number, 0) / numbers.length;

/** @param {string} words */
function say(words) {
  part("missing").textContent = words;
  part("missing").hidden = !words;
}

function draw() {
  part("figures").hidden = isPlastic();
  measure().toggleAttribute("data-no-reload", readings.length > 0);
  const name = chosen("panel")?.dataset.says;
  part("panel-name").textContent = name
    ? name.charAt(0).toUpperCase() + name.slice(1)
    : "No panel tapped yet";
  const left = least() - readings.length;
  const more = left > 0 ? `${left} more to go, close together.` : "Enough; more are welcome.";
  part("count").textContent = readings.length
    ? `${readings.length} taken, mean ${mean(readings).toFixed(0)}. ${more}`
    : `At least ${least()} readings close together.`;
  find(".readings").replaceChildren(
    ...readings.map((reading, index) => {
      const line = document.createElement("li");
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = String(reading);
      button.setAttribute("aria-label", `Take off ${reading}`);
      button.addEventListener("click", () => {
        readings = readings.toSpliced(index, 1);
        draw();
      });
      line.append(button);
      return line;
    }),
  );
}

/**
 * Take the reading that is typed; return whether there was one.
 *
 * @returns {boolean}
 */
function add() {
  const text = typed().value.trim().replace(",", ".");
  const microns = Number(text);
  if (!text || !Number.isFinite(microns) || microns < 0 || microns > HIGHEST) {
    say(`Type a reading of 0 to ${HIGHEST} microns, then Add.`);
    return false;
  }
  readings = [...readings, microns];
  typed().value = "";
  say("");
  draw();
  return true;
}

/**
 * What is queued stands on the drawing too, until the service's own answer does.
 *
 * @param {string} panel
 * @param {string} figure
 */
function mark(panel, figure) {
  const place = document.querySelector(`label[for="panel-${panel}"] [data-figure]`);
  if (!place) return;
  place.textContent = figure;
  find(`label[for="panel-${panel}"]`).dataset.film = "";
}

async function markQueued() {
  const job = find("[data-car]").dataset.car;
  for (const action of await all()) {
    if (action.job !== job || action.kind !== "paint_reading") continue;
    for (const spot of action.body.spots ?? []) {
      mark(spot.panel, spot.readings ? mean(spot.readings).toFixed(0) : "plastic");
    }
  }
}

/**
 * Return what is still wanting, in words; "" for nothing.
 *
 * @returns {string}
 */
function wanting() {
  if (!chosen("panel")) return "Tap the panel first.";
  if (isPlastic() || readings.length >= least()) return "";
  return `Give at least ${least()} readings of the spot; ${readings.length} so far.`;
}

// Begin with the next panel; most panels of a car are of the same material.
function begin() {
  readings = [];
  typed().value = "";
  const panel = chosen("panel");
  if (panel) panel.checked = false;
  for (const choice of measure().querySelectorAll('input[name="material"]')) {
    choice.defaultChecked = choice.checked;
  }
  draw();
  markQueued();
}

document.addEventListener("change", (event) => {
  const radio = within(event, "[data-measure] input[type=radio]");
  if (!radio) return;
  if (radio.name === "panel") {
    readings = [];
    const usual = radio.dataset.material;
    if (usual) find(`input[name="material"][value="${usual}"]`, measure()).checked = true;
  }
  say("");
  draw();
});

document.addEventListener("click", (event) => {
  const button = within(event, ".pad button");
  if (!button) return;
  const field = typed();
  if (button.dataset.digit) field.value += button.dataset.digit;
  else if ("delete" in button.dataset) field.value = field.value.slice(0, -1);
  else add();
});

document.addEventListener("keydown", (event) => {
  if (event.target !== typed() || event.key !== "Enter") return;
  event.preventDefault();
  add();
});

document.addEventListener(
  "submit",
  (event) => {
    const form = within(event, "form[data-save]");
    if (!form) return;
    const wrong =
      typed().value.trim() && !isPlastic() && !add() ? part("missing").textContent : wanting();
    if (wrong) {
      event.preventDefault();
      event.stopPropagation();
      say(wrong);
      return;
    }
    const panel = find('input[name="panel"]:checked', measure());
    /** @type {Spot} */
    const spot = { panel: panel.value, material: material() };
    if (!isPlastic()) spot.readings = readings;
    find("input[name=spots]", form).value = JSON.stringify([spot]);
    form.dataset.says = `Paint, ${panel.dataset.says}: ${spot.readings?.join(", ") ?? "plastic"}`;
  },
  { capture: true },
);

document.addEventListener("queued", (event) => {
  if (event.detail.kind === "paint_reading") begin();
});

begin();
