// A reading of the thermometer: tap a figure, type it on the pad, save. It goes into the queue as
// every action does, so it is taken down with the time of the tap, with and without network.

import { find, within } from "./elements.js";

/** @typedef {"celsius" | "humidity_percent" | "surface_celsius"} Figure */

/** @type {[Figure, Figure, Figure]} */
const FIGURES = ["celsius", "humidity_percent", "surface_celsius"];

const form = () => find("[data-climate] form.act");
/** @param {string} name */
const part = (name) => find(`[data-${name}]`);
/** @param {string} name */
const field = (name) => find(`input[name=${name}]`, form());
/** @type {Figure} */
let active = "celsius";

/**
 * @param {string} name
 * @param {string} words
 */
function say(name, words) {
  part(name).textContent = words;
  part(name).hidden = !words;
}

/** @param {Figure} name */
function choose(name) {
  active = name;
  for (const figure of FIGURES) field(figure).toggleAttribute("data-active", figure === name);
}

/**
 * Numbers as people type them: a comma, and the long minus of a telephone's keyboard.
 *
 * @param {string} text
 */
const plain = (text) => text.trim().replace(",", ".").replace(/^[−–]/, "-");

/**
 * Return what is typed: of the air, its humidity, and a panel; "" for what is not.
 *
 * @returns {[string, string, string]}
 */
function typed() {
  const [air, humidity, panel] = FIGURES;
  return [plain(field(air).value), plain(field(humidity).value), plain(field(panel).value)];
}

/**
 * Return which figure is wrong and what to say of it; null where all are right.
 *
 * @returns {[Figure, string] | null}
 */
function wanting() {
  const [air, humidity, panel] = typed();
  const { lowest, highest } = form().dataset;
  const between = `between ${Number(lowest)} and ${Number(highest)} °C.`;
  /** @param {string} text */
  const fits = (text) => Number(text) >= Number(lowest) && Number(text) <= Number(highest);
  if (!air) return ["celsius", "Give the temperature of the air."];
  if (!fits(air)) return ["celsius", `Give the temperature of the air ${between}`];
  if (humidity && !(Number(humidity) >= 0 && Number(humidity) <= 100)) {
    return ["humidity_percent", "Give the humidity between 0 and 100 %."];
  }
  if (panel && !fits(panel)) return ["surface_celsius", `Give the panel's temperature ${between}`];
  return null;
}

/** @param {HTMLElement} button */
function type(button) {
  const figure = field(active);
  if (button.dataset.digit && figure.value.length < figure.maxLength) {
    figure.value += button.dataset.digit;
  } else if ("delete" in button.dataset) figure.value = figure.value.slice(0, -1);
  else if ("minus" in button.dataset) {
    figure.value = figure.value.startsWith("-") ? figure.value.slice(1) : `-${figure.value}`;
  } else if ("next" in button.dataset) choose(FIGURES[FIGURES.indexOf(active) + 1] ?? FIGURES[0]);
}

document.addEventListener("focusin", (event) => {
  const name = FIGURES.find((figure) => event.target === field(figure));
  if (name) choose(name);
});

document.addEventListener("click", (event) => {
  const button = within(event, ".pad button");
  if (button) type(button);
});

// Before the queue takes it: nothing goes that the service would refuse.
document.addEventListener(
  "submit",
  (event) => {
    if (event.target !== form()) return;
    const wrong = wanting();
    say("taken", "");
    say("missing", wrong?.[1] ?? "");
    if (wrong) {
      event.preventDefault();
      event.stopPropagation();
      choose(wrong[0]);
      return;
    }
    for (const name of FIGURES) field(name).value = plain(field(name).value);
    const [air, humidity, panel] = typed();
    const place = find("input[name=place]:checked", form()).dataset.says;
    const more = `${humidity && `, ${humidity} %`}${panel && `, panel ${panel} °C`}`;
    form().dataset.says = `${air} °C${more}, ${place}`;
  },
  { capture: true },
);

document.addEventListener("queued", (event) => {
  if (event.detail.kind !== "reading") return;
  // Else the page would wait for whoever types.
  if (document.activeElement instanceof HTMLElement) document.activeElement.blur();
  say("taken", `Taken down: ${form().dataset.says}.`);
  choose("celsius");
});

choose(active);
