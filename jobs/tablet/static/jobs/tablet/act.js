// Takes what a form of the class `act` says, and puts it into the queue instead of sending it.
//
// data-job, data-kind, data-says describe the action; data-raises: it raises the job's version, which
// the service holds against the one that was seen, unless it says "unchecked"; data-urgent: it says
// "do not drive"; data-time names the field that gets the time of the tap (none where it is empty);
// data-then leads on to a page. Inputs say by data-type what their text is. A file goes first, as an
// action of its own.

import { confirmed } from "./question.js";
import * as queue from "./queue.js";

const READ = {
  number: Number,
  bool: (text) => text === "true" || text === "on",
  json: JSON.parse,
  text: (text) => text,
};
const SECOND_TAP_MS = 600; // a wet glove taps twice; the next stage's button has come there by then

document.addEventListener("submit", async (event) => {
  const form = event.target.closest("form.act");
  if (!form) return;
  event.preventDefault();
  if (form.dataset.busy) return;
  form.dataset.busy = "yes";
  try {
    const answer = await confirmed(form);
    if (answer === false) return;
    const keeping = keep(form, event.submitter, answer ? { confirm: true } : {});
    if (form.dataset.raises === "") rest();
    await keeping;
  } catch (error) {
    said(form, `Not kept on this tablet: ${error.message} `
      + "Write it down, free some space on the tablet, and try again.");
    return;
  } finally {
    delete form.dataset.busy;
  }
  said(form, "");
  document.dispatchEvent(new CustomEvent("queued", { detail: { job: form.dataset.job, kind: form.dataset.kind } }));
  if (form.dataset.then) location.assign(form.dataset.then);
  else form.reset();
});

// Leave every button that moves the car at rest for a moment.
function rest() {
  const buttons = [...document.querySelectorAll("form.act[data-raises=''] button:enabled")];
  buttons.forEach((one) => (one.disabled = true));
  setTimeout(() => buttons.forEach((one) => (one.disabled = false)), SECOND_TAP_MS);
}

async function keep(form, submitter, more) {
  const given = new FormData(form, submitter);
  const action = weighed({ ...described(form, given), body: { ...bodyOf(form, given), ...more } });
  const pictures = picturesOf(form, given, action);
  action.needs = form.dataset.kind === "photo" ? [] : pictures.map((one) => one.id);
  const fresh = form.dataset.kind === "photo" ? pictures : [...pictures, action];
  const page = document.querySelector(`[data-car="${form.dataset.job}"]`);
  await queue.add(fresh, Number(page?.dataset.version ?? 0));
}

function described(form, given) {
  const person = document.querySelector('meta[name="person"]');
  return {
    id: queue.newId(),
    job: form.dataset.job ?? "", // of a reading of the air there is none
    car: document.querySelector("main .mark")?.textContent.trim() ?? "",
    kind: form.dataset.kind,
    says: form.dataset.says.replace(/\{([\w-]+)\}/g, (_, name) => shown(form, given, name)),
    path: form.getAttribute("action"),
    time: form.dataset.time ?? "occurred_at",
    madeAt: new Date().toISOString(),
    person: person?.content ?? "",
    personName: document.querySelector("[data-person]")?.textContent.trim() ?? "",
    raises: "raises" in form.dataset,
    unchecked: form.dataset.raises === "unchecked",
    urgent: "urgent" in form.dataset,
    needs: [],
    photo: null,
    body: {},
  };
}

// Add what follows from what is sent: a "do not drive" goes before all else, and holds the car, as a
// question does that the car waits for. The service asks no version of either.
function weighed(action) {
  const urgent = action.kind === "finding" && (action.urgent || action.body.weight === "do_not_drive");
  const holds = urgent || (action.kind === "request" && action.body.hold === true);
  return { ...action, urgent, raises: action.raises || holds, unchecked: action.unchecked || holds };
}

// Return what stands in a field as the person read it.
function shown(form, given, name) {
  const field = form.elements.namedItem(name);
  if (field instanceof HTMLSelectElement) return field.selectedOptions[0]?.textContent.trim() ?? "";
  const value = given.get(name) ?? "";
  const chosen = form.querySelector(`[name="${CSS.escape(name)}"][value="${CSS.escape(value)}"]`);
  const words = chosen?.matches("button") ? chosen : chosen?.labels?.[0];
  return chosen?.dataset.says ?? words?.textContent.trim() ?? value;
}

function bodyOf(form, given) {
  const body = {};
  for (const name of new Set(given.keys())) {
    const values = given.getAll(name).filter((one) => !(one instanceof File));
    const field = form.querySelector(`[name="${CSS.escape(name)}"]`);
    const type = field?.dataset.type ?? "text";
    const texts = values.map((one) => one.trim()).filter((one) => one !== "");
    if (!texts.length || name === "csrfmiddlewaretoken") continue;
    const value = type === "list" ? texts : READ[type](texts.at(-1));
    placed(body, name.split("."), value);
  }
  return body;
}

// Put a value where its name says: `belonging.what` into an object of its own.
function placed(body, path, value) {
  const [first, ...rest] = path;
  if (!rest.length) body[first] = value;
  else placed((body[first] ??= {}), rest, value);
}

function picturesOf(form, given, action) {
  const files = [...given.values()].filter((one) => one instanceof File && one.size > 0);
  const about = form.dataset.kind === "photo" ? action.body : { moment: "detail", area: action.body.area };
  const body = Object.fromEntries(Object.entries(about).filter(([, value]) => value));
  return files.map((file) => ({
    ...action,
    id: queue.newId(),
    kind: "photo",
    says: form.dataset.kind === "photo" ? action.says : `Picture: ${action.says}`,
    path: `/api/v1/jobs/${action.job}/photos`,
    raises: false,
    unchecked: false,
    photo: file,
    body,
    needs: [],
  }));
}

function said(form, words) {
  let line = form.querySelector(".not-kept");
  if (!line) {
    if (!words) return;
    line = document.createElement("p");
    line.className = "caution danger not-kept";
    line.setAttribute("role", "alert");
    form.append(line);
  }
  line.textContent = words;
  line.hidden = !words;
}
