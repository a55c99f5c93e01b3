// A reading of the thermometer: tap a figure, type it on the pad, save. It goes into the queue as
// every action does, so it is taken down with the time of the tap, with and without network.

const FIGURES = ["celsius", "humidity_percent", "surface_celsius"];

const form = () => document.querySelector("[data-climate] form.act");
const part = (name) => document.querySelector(`[data-${name}]`);
const field = (name) => form().elements.namedItem(name);
let active = "celsius";

function say(name, words) {
  part(name).textContent = words;
  part(name).hidden = !words;
}

function choose(name) {
  active = name;
  for (const one of FIGURES) field(one).toggleAttribute("data-active", one === name);
}

// Numbers as people type them: a comma, and the long minus of a telephone's keyboard.
const plain = (text) => text.trim().replace(",", ".").replace(/^[−–]/, "-");

function wanting() {
  const texts = FIGURES.map((name) => plain(field(name).value));
  const [air, humidity, panel] = texts.map(Number);
  const { lowest, highest } = form().dataset;
  const between = `between ${Number(lowest)} and ${Number(highest)} °C.`;
  const within = (number) => number >= Number(lowest) && number <= Number(highest);
  if (!texts[0]) return ["celsius", "Give the temperature of the air."];
  if (!within(air)) return ["celsius", `Give the temperature of the air ${between}`];
  if (texts[1] && !(humidity >= 0 && humidity <= 100)) {
    return ["humidity_percent", "Give the humidity between 0 and 100 %."];
  }
  if (texts[2] && !within(panel)) return ["surface_celsius", `Give the panel's temperature ${between}`];
  return null;
}

function type(button) {
  const one = field(active);
  if (button.dataset.digit && one.value.length < one.maxLength) one.value += button.dataset.digit;
  else if ("delete" in button.dataset) one.value = one.value.slice(0, -1);
  else if ("minus" in button.dataset) one.value = one.value.startsWith("-") ? one.value.slice(1) : `-${one.value}`;
  else if ("next" in button.dataset) choose(FIGURES[(FIGURES.indexOf(active) + 1) % FIGURES.length]);
}

document.addEventListener("focusin", (event) => {
  if (FIGURES.includes(event.target.name)) choose(event.target.name);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest(".pad button");
  if (button) type(button);
});

// Before the queue takes it: nothing goes that the service would refuse.
document.addEventListener("submit", (event) => {
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
  const [air, humidity, panel] = FIGURES.map((name) => field(name).value);
  const place = form().querySelector("[name=place]:checked").dataset.says;
  form().dataset.says = `${air} °C${humidity && `, ${humidity} %`}${panel && `, panel ${panel} °C`}, ${place}`;
}, { capture: true });

document.addEventListener("queued", (event) => {
  if (event.detail.kind !== "reading") return;
  document.activeElement.blur(); // else the page would wait for whoever types
  say("taken", `Taken down: ${form().dataset.says}.`);
  choose("celsius");
});

choose(active);
