// Asks once, with two big buttons and nothing to type, before a car is called ready or handed over
// with something open. The service asks too: this is what the page knows, with what still waits.

import { element } from "./elements.js";

const SECOND_TAP_MS = 600; // the tap that brought the question must not answer it

const NOT_REPAIRED = "This car must not be driven: what was found is not repaired.";

/**
 * Return what is open, as the service would say it.
 *
 * @param {HTMLFormElement} form
 * @returns {string[]}
 */
export function openOn(form) {
  const car = document.querySelector("[data-car]");
  const kind = form.dataset.kind;
  if (!car || !(kind === "collection" || (kind === "move" && form.dataset.to === "ready"))) {
    return [];
  }
  const leaves = kind === "collection";
  const lines = [];
  if (leaves && car.dataset.danger === "yes") lines.push(NOT_REPAIRED);
  const tasks = [...car.querySelectorAll("[data-task]")];
  const open = tasks.filter((task) => task.dataset.state !== "finished").length;
  if (open && !("cancelled" in car.dataset)) lines.push(tasksOpen(open, tasks.length));
  if (leaves && car.dataset.walkedOut === "no") {
    lines.push("The walk-round on leaving is not recorded.");
  }
  return lines;
}

/**
 * @param {number} open
 * @param {number} of
 * @returns {string}
 */
function tasksOpen(open, of) {
  return `${open} of ${of} task${of === 1 ? "" : "s"} ${open === 1 ? "is" : "are"} open.`;
}

/**
 * Return null where nothing is open, else whether whoever tapped means it so.
 *
 * @param {HTMLFormElement} form
 * @returns {Promise<boolean> | null}
 */
export function confirmed(form) {
  const lines = openOn(form);
  if (!lines.length) return null;
  const ready = form.dataset.kind === "move";
  const name = document.querySelector("main .mark")?.textContent.trim() ?? "";
  const dialog = document.createElement("dialog");
  dialog.className = "question";
  dialog.setAttribute("aria-labelledby", "question");
  dialog.append(
    element("h2", { id: "question", text: ready ? `Is ${name} ready?` : `Is ${name} leaving?` }),
    element("ul", {}, ...lines.map((text) => element("li", { text }))),
  );
  return answered(dialog, ready ? "Yes, it is ready" : "Yes, it leaves like this");
}

/**
 * @param {HTMLDialogElement} dialog
 * @param {string} words
 * @returns {Promise<boolean>}
 */
function answered(dialog, words) {
  const no = element("button", { type: "button", class: "big", text: "No, go back" });
  const yes = element("button", { type: "button", class: "big stop", text: words });
  dialog.append(element("p", { class: "buttons" }, no, yes));
  document.body.append(dialog);
  yes.disabled = true;
  setTimeout(() => {
    yes.disabled = false;
  }, SECOND_TAP_MS);
  return new Promise((resolve) => {
    yes.addEventListener("click", () => dialog.close("yes"));
    no.addEventListener("click", () => dialog.close());
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(dialog.returnValue === "yes");
    });
    dialog.showModal();
  });
}
