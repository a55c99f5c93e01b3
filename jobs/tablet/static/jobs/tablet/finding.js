// A finding in three taps. The steps are parts of one form, so it works without network; what was
// chosen stays in sight and can be changed. By keyboard the arrows choose and "Next" goes on.

import { find, within } from "./elements.js";

const FIRST = ["First tap where on the car it is.", "First choose a phrase, or own words."];
const form = find("form.finding");
/** @param {string} name */
const part = (name) => find(`[data-${name}]`, form);
/** @param {string} name */
const chosen = (name) => form.querySelector(`input[name="${name}"]:checked`);
/**
 * @param {"area" | "phrase" | "photo"} name
 * @param {Event} event
 */
const isOf = (name, event) => within(event, `input[name="${name}"]`) !== null;
const kind = find("select[name=kind]", form);
const noticed = find("textarea[name=noticed]", form);
const keptAt = find('input[name="belonging.kept_at"]', form);
const wiped = find('select[name="belonging.wiped"]', form);

/**
 * @param {HTMLFieldSetElement} fields
 * @param {boolean} shown
 */
function show(fields, shown) {
  fields.hidden = !shown;
  fields.disabled = !shown;
}

/**
 * @param {string} words
 * @returns {string}
 */
function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/**
 * Go to a step, or to the first before it where something is missing.
 *
 * @param {number} step
 * @param {{ focus?: boolean }} [how]
 */
function go(step, { focus = true } = {}) {
  const lacking = ["area", "phrase"].findIndex(
    (name, before) => before + 1 < step && !chosen(name),
  );
  const to = lacking < 0 ? step : lacking + 1;
  for (const fieldset of form.querySelectorAll("[data-step-part]")) {
    fieldset.hidden = Number(fieldset.dataset.stepPart) !== to;
  }
  form.dataset.step = String(to);
  summarise(to);
  say(FIRST[lacking] ?? "");
  if (focus) find(`[data-step-part="${to}"] legend`, form).focus({ preventScroll: true });
  form.scrollIntoView({ block: "start" });
}

/** @param {number} step */
function summarise(step) {
  const words = ["", chosen("area")?.dataset.says ?? "", wordsOfPhrase()];
  for (const line of form.querySelectorAll("[data-chosen]")) {
    const number = Number(line.dataset.chosen);
    line.hidden = !words[number] || number >= step;
    find("span", line).textContent = capital(words[number] ?? "");
  }
}

/** @returns {string} */
function wordsOfPhrase() {
  const phrase = chosen("phrase");
  if (!phrase) return "";
  return "own" in phrase.dataset ? "Own words" : (phrase.dataset.says ?? "");
}

/** @param {string} words */
function say(words) {
  part("missing").textContent = words;
  part("missing").hidden = !words;
}

// Put the phrases that fit the area first; the others stay one tap away.
function sortPhrases() {
  const kinds = (chosen("area")?.dataset.kinds ?? "").split(" ");
  const phrases = [...form.querySelectorAll(".phrases .choice")];
  /** @param {HTMLElement} phrase */
  const place = (phrase) => kinds.indexOf(phrase.dataset.of ?? "");
  const fitting = phrases.filter((phrase) => place(phrase) >= 0);
  part("fitting").replaceChildren(...fitting.sort((a, b) => place(a) - place(b)));
  part("rest").replaceChildren(...phrases.filter((phrase) => place(phrase) < 0));
  find("details[data-others]", form).open = false;
  if (kinds[0] && kinds[0] !== "provenance") kind.value = kinds[0];
}

// Ask for what the phrase asks for: own words, belongings; and say what "do not drive" does.
function askFor() {
  const phrase = chosen("phrase");
  const own = Boolean(phrase && "own" in phrase.dataset);
  show(find("fieldset[data-own-words]", form), own);
  const about = own ? kind.value : phrase?.dataset.kind;
  const weight = own ? chosen("weight")?.value : phrase?.dataset.weight;
  const stops = weight === "do_not_drive";
  part("stops").hidden = !stops;
  form.toggleAttribute("data-urgent", stops);
  form.dataset.says = stops ? "Do not drive: {area}" : "Finding: {area}";
  show(find("fieldset[data-belongings]", form), about === "belongings");
  const thing = "thing" in find('input[name="belonging.what"]:checked', form).dataset;
  part("kept").hidden = !thing;
  keptAt.disabled = !thing;
  part("wiped").hidden = thing;
  wiped.disabled = thing;
}

function countPictures() {
  const count = find("input[name=photo]", form).files?.length ?? 0;
  part("pictures").textContent = count
    ? `${count} picture${count > 1 ? "s" : ""} taken. Tap again to take ${count > 1 ? "others" : "another"} instead.`
    : "No picture yet; you may send without one.";
}

/**
 * Return the field that has still to be filled in before the finding can be sent, and what to say.
 *
 * @returns {[HTMLElement, string] | null}
 */
function missing() {
  if (!noticed.matches(":disabled") && !noticed.value.trim()) {
    return [noticed, "Say in your own words what you noticed."];
  }
  if (!keptAt.matches(":disabled") && !keptAt.value.trim()) {
    return [keptAt, "Say where it is kept."];
  }
  return null;
}

form.addEventListener("change", (event) => {
  if (isOf("area", event)) sortPhrases();
  if (isOf("photo", event)) countPictures();
  askFor();
});

// A finger goes on by itself; keys only choose, since each arrow would leave the step.
form.addEventListener("click", (event) => {
  const button = within(event, "[data-to-step]");
  if (button) go(Number(button.dataset.toStep));
  const label = within(event, ".step .choice label, .picker label");
  const radio = label && event.detail > 0 ? document.getElementById(label.htmlFor) : null;
  if (radio?.matches('[name="area"]')) setTimeout(() => go(2));
  if (radio?.matches('[name="phrase"]')) setTimeout(() => go(3));
});

form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !within(event, "input[type=radio]")) return;
  event.preventDefault();
  if (isOf("area", event)) go(2);
  if (isOf("phrase", event)) go(3);
});

// Before the queue takes it: nothing goes that the service would refuse for want of words.
document.addEventListener(
  "submit",
  (event) => {
    if (event.target !== form) return;
    if (!chosen("area") || !chosen("phrase")) {
      event.preventDefault();
      event.stopPropagation();
      go(3);
      return;
    }
    const wanting = missing();
    if (!wanting) return;
    event.preventDefault();
    event.stopPropagation();
    const [field, words] = wanting;
    say(words);
    field.focus();
  },
  { capture: true },
);

// Coming back to a page the browser kept: what was chosen then is chosen still.
if (chosen("area")) sortPhrases();
askFor();
countPictures();
go(1, { focus: false });
// A link may name the place and the phrase, as the one beside a red light does.
const wanted = new URLSearchParams(location.search);
const named = ["area", "phrase"].map((name) => {
  const radio = [...form.querySelectorAll(`input[name="${name}"]`)].find(
    (choice) => choice.value === wanted.get(name),
  );
  if (radio) radio.checked = true;
  return radio;
});
if (named.every(Boolean)) {
  sortPhrases();
  askFor();
  go(3, { focus: false });
}
window.scrollTo(0, 0);
