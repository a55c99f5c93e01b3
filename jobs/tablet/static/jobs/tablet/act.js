// Takes what a form of the class `act` says, and puts it into the queue instead of sending it.
//
// data-job, data-kind, data-says describe the action; data-raises: it raises the job's version, which
// the service holds against the one that was seen, unless it says "unchecked"; data-urgent: it says
// "do not drive"; data-time names the field that gets the time of the tap (none where it is empty);
// data-then leads on to a page. Inputs say by data-type what their text is. A file goes first, as an
// action of its own.

import { person, within } from "./elements.js";
import { confirmed } from "./question.js";
import * as queue from "./queue.js";

/** @import { Body, Fresh, Json } from "./queue.js" */

/** @type {{ [type: string]: (text: string) => Json }} */
const READ = {
  number: Number,
  bool: (text) => text === "true" || text === "on",
  json: JSON.parse,
  text: (text) => text,
};
const SECOND_TAP_MS = 600; // a wet glove taps twice; the next stage's button has come there by then

document.addEventListener("submit", async (event) => {
  const form = within(event, "form.act");
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
    const why = error instanceof Error ? error.message : String(error);
    said(
      form,
      `Not kept on this tablet: ${why} Write it down, free some space on the tablet, and try again.`,
    );
    return;
  } finally {
    delete form.dataset.busy;
  }
  said(form, "");
  document.dispatchEvent(
    new CustomEvent("queued", { detail: { job: form.dataset.job, kind: form.dataset.kind } }),
  );
  if (form.dataset.then) location.assign(form.dataset.then);
  else form.reset();
});

// Leave every button that moves the car at rest for a moment.
function rest() {
  const buttons = [...document.querySelectorAll("form.act[data-raises=''] button:not(:disabled)")];
  for (const button of buttons) button.disabled = true;
  setTimeout(() => {
    for (const button of buttons) button.disabled = false;
  }, SECOND_TAP_MS);
}

/**
 * Put what a form says into the queue, its pictures before it.
 *
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 * @param {Body} answer to the question that was asked, if there was one
 */
async function keep(form, submitter, answer) {
  const input = new FormData(form, submitter);
  const action = weighed({
    ...described(form, input),
    body: { ...bodyOf(form, input), ...answer },
  });
  const pictures = picturesOf(form, input, action);
  action.needs = form.dataset.kind === "photo" ? [] : pictures.map((picture) => picture.id);
  const [first, ...more] = form.dataset.kind === "photo" ? pictures : [...pictures, action];
  if (!first) throw new Error("The picture is empty.");
  const page = document.querySelector(`[data-car="${form.dataset.job}"]`);
  await queue.add([first, ...more], Number(page?.dataset.version ?? 0));
}

/**
 * @param {HTMLFormElement} form
 * @param {FormData} input
 * @returns {Fresh}
 */
function described(form, input) {
  return {
    id: queue.newId(),
    job: form.dataset.job ?? "", // of a reading of the air there is none
    car: document.querySelector("main .mark")?.textContent.trim() ?? "",
    kind: form.dataset.kind ?? "",
    says: (form.dataset.says ?? "").replace(/\{([\w-]+)\}/g, (_, name) => shown(form, input, name)),
    path: form.getAttribute("action") ?? "",
    time: form.dataset.time ?? "occurred_at",
    madeAt: new Date().toISOString(),
    person: person(),
    personName: document.querySelector("[data-person]")?.textContent.trim() ?? "",
    raises: "raises" in form.dataset,
    unchecked: form.dataset.raises === "unchecked",
    urgent: "urgent" in form.dataset,
    needs: [],
    photo: null,
    body: {},
  };
}

/**
 * Add what follows from what is sent: a "do not drive" goes before all else, and holds the car, as
 * a question does that the car waits for. The service asks no version of either.
 *
 * @param {Fresh} action
 * @returns {Fresh}
 */
function weighed(action) {
  const urgent =
    action.kind === "finding" && (action.urgent || action.body.weight === "do_not_drive");
  const holds = urgent || (action.kind === "request" && action.body.hold === true);
  return {
    ...action,
    urgent,
    raises: action.raises || holds,
    unchecked: action.unchecked || holds,
  };
}

/**
 * Return what stands in a field as the person read it.
 *
 * @param {HTMLFormElement} form
 * @param {FormData} input
 * @param {string} name
 * @returns {string}
 */
function shown(form, input, name) {
  const field = form.elements.namedItem(name);
  if (field instanceof HTMLSelectElement) return field.selectedOptions[0]?.textContent.trim() ?? "";
  const value = String(input.get(name) ?? "");
  const chosen = form.querySelector(`[name="${CSS.escape(name)}"][value="${CSS.escape(value)}"]`);
  const words = chosen instanceof HTMLInputElement ? chosen.labels?.[0] : chosen;
  return chosen?.dataset.says ?? words?.textContent.trim() ?? value;
}

/**
 * @param {HTMLFormElement} form
 * @param {FormData} input
 * @returns {Body}
 */
function bodyOf(form, input) {
  /** @type {Body} */
  const body = {};
  for (const name of new Set(input.keys())) {
    const values = input.getAll(name).filter((value) => typeof value === "string");
    const field = form.querySelector(`[name="${CSS.escape(name)}"]`);
    const type = field?.dataset.type ?? "text";
    const texts = values.map((text) => text.trim()).filter((text) => text !== "");
    const last = texts.at(-1);
    if (last === undefined || name === "csrfmiddlewaretoken") continue;
    placed(body, name.split("."), type === "list" ? texts : readAs(type, last));
  }
  return body;
}

/**
 * @param {string} type
 * @param {string} text
 * @returns {Json}
 */
function readAs(type, text) {
  const read = READ[type];
  if (!read) throw new Error(`Nothing reads a text as ${type}.`);
  return read(text);
}

/**
 * Put a value where its name says: `belonging.what` into an object of its own.
 *
 * @param {{ [name: string]: Json | undefined }} body
 * @param {string[]} path
 * @param {Json} value
 */
function placed(body, path, value) {
  const [first = "", ...members] = path;
  if (!members.length) {
    body[first] = value;
    return;
  }
  const inner = /** @type {{ [name: string]: Json }} */ (body[first] ?? {});
  body[first] = inner;
  placed(inner, members, value);
}

/**
 * @param {HTMLFormElement} form
 * @param {FormData} input
 * @param {Fresh} action
 * @returns {Fresh[]}
 */
function picturesOf(form, input, action) {
  const files = [...input.values()].filter((value) => value instanceof File);
  const about =
    form.dataset.kind === "photo" ? action.body : { moment: "detail", area: action.body.area };
  const body = Object.fromEntries(Object.entries(about).filter(([, value]) => value));
  const taken = files.filter((file) => file.size > 0);
  return taken.map((file) => ({
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

/**
 * @param {HTMLFormElement} form
 * @param {string} words
 */
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
