// A finding in three taps. The steps are parts of one form, so it works without network; what was
// chosen stays in sight and can be changed. By keyboard the arrows choose and "Next" goes on.

const form = document.querySelector("form.finding");
const part = (name) => form.querySelector(`[data-${name}]`);
const chosen = (name) => form.querySelector(`input[name="${name}"]:checked`);

function show(element, shown) {
  element.hidden = !shown;
  if (element.matches("fieldset, select, input")) element.disabled = !shown;
}

function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

// Go to a step, or to the first before it where something is missing.
function go(step, { focus = true } = {}) {
  const missing = step > 1 && !chosen("area") ? 1 : step > 2 && !chosen("phrase") ? 2 : 0;
  const to = missing || step;
  for (const one of form.querySelectorAll("[data-step-part]")) {
    one.hidden = Number(one.dataset.stepPart) !== to;
  }
  form.dataset.step = to;
  summarise(to);
  const first = ["", "First tap where on the car it is.", "First choose a phrase, or own words."];
  say(first[missing]);
  if (focus) form.querySelector(`[data-step-part="${to}"] legend`).focus({ preventScroll: true });
  form.scrollIntoView({ block: "start" });
}

function summarise(step) {
  const words = { 1: chosen("area")?.dataset.says, 2: wordsOfPhrase() };
  for (const line of form.querySelectorAll("[data-chosen]")) {
    const number = Number(line.dataset.chosen);
    line.hidden = !words[number] || number >= step;
    line.firstElementChild.textContent = capital(words[number] ?? "");
  }
}

function wordsOfPhrase() {
  const phrase = chosen("phrase");
  if (!phrase) return "";
  return "own" in phrase.dataset ? "Own words" : phrase.dataset.says;
}

function say(words) {
  part("missing").textContent = words;
  part("missing").hidden = !words;
}

// Put the phrases that fit the area first; the others stay one tap away.
function sortPhrases() {
  const kinds = chosen("area").dataset.kinds.split(" ");
  const phrases = [...form.querySelectorAll(".phrases .choice")];
  const place = (one) => kinds.indexOf(one.dataset.of);
  const fitting = phrases.filter((one) => place(one) >= 0).sort((a, b) => place(a) - place(b));
  part("fitting").replaceChildren(...fitting);
  part("rest").replaceChildren(...phrases.filter((one) => place(one) < 0));
  part("others").open = false;
  if (kinds[0] !== "provenance") form.elements.kind.value = kinds[0];
}

// Ask for what the phrase asks for: own words, belongings; and say what "do not drive" does.
function askFor() {
  const phrase = chosen("phrase");
  const own = Boolean(phrase && "own" in phrase.dataset);
  show(part("own-words"), own);
  const kind = own ? form.elements.kind.value : phrase?.dataset.kind;
  const weight = own ? chosen("weight").value : phrase?.dataset.weight;
  const stops = weight === "do_not_drive";
  part("stops").hidden = !stops;
  form.toggleAttribute("data-urgent", stops);
  form.dataset.says = stops ? "Do not drive: {area}" : "Finding: {area}";
  show(part("belongings"), kind === "belongings");
  const thing = "thing" in chosen("belonging.what").dataset;
  part("kept").hidden = !thing;
  form.elements["belonging.kept_at"].disabled = !thing;
  part("wiped").hidden = thing;
  form.elements["belonging.wiped"].disabled = thing;
}

function countPictures() {
  const count = form.elements.photo.files.length;
  part("pictures").textContent = count
    ? `${count} picture${count > 1 ? "s" : ""} taken. Tap again to take ${count > 1 ? "others" : "another"} instead.`
    : "No picture yet; you may send without one.";
}

// Return what has still to be said before the finding can be sent.
function missing() {
  if (!form.elements.noticed.matches(":disabled") && !form.elements.noticed.value.trim()) {
    return ["noticed", "Say in your own words what you noticed."];
  }
  const kept = form.elements["belonging.kept_at"];
  if (!kept.matches(":disabled") && !kept.value.trim()) return ["belonging.kept_at", "Say where it is kept."];
  return null;
}

form.addEventListener("change", (event) => {
  if (event.target.name === "area") sortPhrases();
  if (event.target.name === "photo") countPictures();
  askFor();
});

// A finger goes on by itself; keys only choose, since each arrow would leave the step.
form.addEventListener("click", (event) => {
  const button = event.target.closest("[data-to-step]");
  if (button) go(Number(button.dataset.toStep));
  const label = event.target.closest(".step .choice label, .picker label");
  const radio = label && event.detail > 0 ? document.getElementById(label.htmlFor) : null;
  if (radio?.name === "area") setTimeout(() => go(2));
  if (radio?.name === "phrase") setTimeout(() => go(3));
});

form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.target.type !== "radio") return;
  event.preventDefault();
  if (event.target.name === "area") go(2);
  if (event.target.name === "phrase") go(3);
});

// Before the queue takes it: nothing goes that the service would refuse for want of words.
document.addEventListener("submit", (event) => {
  if (event.target !== form) return;
  if (!chosen("area") || !chosen("phrase")) {
    event.preventDefault();
    event.stopPropagation();
    go(3);
    return;
  }
  const wanted = missing();
  if (!wanted) return;
  event.preventDefault();
  event.stopPropagation();
  say(wanted[1]);
  form.elements[wanted[0]].focus();
}, { capture: true });

// Coming back to a page the browser kept: what was chosen then is chosen still.
if (chosen("area")) sortPhrases();
askFor();
countPictures();
go(1, { focus: false });
// A link may name the place and the phrase, as the one beside a red light does.
const wanted = new URLSearchParams(location.search);
const named = ["area", "phrase"].map((name) => {
  const radio = [...form.querySelectorAll(`input[name="${name}"]`)].find((one) => one.value === wanted.get(name));
  if (radio) radio.checked = true;
  return radio;
});
if (named.every(Boolean)) {
  sortPhrases();
  askFor();
  go(3, { focus: false });
}
window.scrollTo(0, 0);
