// Shows a page as it will be once what is queued has been sent.
//
// The page keeps its state in attributes (data-stage, data-arrived, data-held, data-state); its
// style sheet shows and hides by them. What they were when it was loaded is kept, so that what is
// dropped from the queue is taken back here as well.

import * as queue from "./queue.js";

const FACTS = ["stage", "arrived", "held"];
const TASK_FACTS = ["state", "startedAt"];
const AFTER = { task_start: "started", task_pause: "paused", task_finish: "finished" };

export async function foresee() {
  const queued = await queue.all();
  countOnBoard(queued);
  const car = document.querySelector("[data-car]");
  if (car) foreseeCar(car, queued.filter((one) => one.job === car.dataset.car));
}

function countOnBoard(queued) {
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const count = queued.filter((one) => one.job === line.dataset.boardCar).length;
    const place = line.querySelector("[data-waiting-count]");
    if (!place) continue;
    place.textContent = count ? `${count} waiting to be sent` : "";
    place.hidden = !count;
  }
}

function foreseeCar(car, queued) {
  restore(car, FACTS);
  car.querySelectorAll("[data-task]").forEach((task) => restore(task, TASK_FACTS));
  car.querySelectorAll("[data-waiting]").forEach((one) => delete one.dataset.waiting);
  queued.forEach((action) => apply(car, action));
  showStage(car);
  for (const form of car.querySelectorAll("form.next")) {
    form.hidden = form.dataset.from !== car.dataset.stage;
  }
}

function apply(car, action) {
  if (action.kind === "move") car.dataset.stage = action.body.to;
  if (action.kind === "arrival") car.dataset.arrived = "yes";
  if (action.kind === "hold") car.dataset.held = "yes";
  if (action.kind === "release") {
    mark(car, `[data-hold="${part(action.path, "holds")}"]`);
    const open = car.querySelectorAll("[data-hold]:not([data-waiting])");
    if (!open.length) car.dataset.held = "no";
  }
  if (action.kind in AFTER) {
    const task = mark(car, `[data-task="${part(action.path, "tasks")}"]`);
    if (!task) return;
    task.dataset.state = AFTER[action.kind];
    if (action.kind === "task_start") task.dataset.startedAt = action.madeAt;
  }
}

// Return what follows a word in a path: the id of a task or a hold.
function part(path, word) {
  const parts = path.split("/");
  return parts[parts.indexOf(word) + 1];
}

function mark(car, which) {
  const found = car.querySelector(which);
  if (found) found.dataset.waiting = "yes";
  return found;
}

function restore(element, names) {
  for (const name of names) {
    const first = `first${name[0].toUpperCase()}${name.slice(1)}`;
    element.dataset[first] ??= element.dataset[name] ?? "";
    element.dataset[name] = element.dataset[first];
  }
}

function showStage(car) {
  const steps = [...car.querySelectorAll(".steps [data-stage]")];
  const here = steps.findIndex((step) => step.dataset.stage === car.dataset.stage);
  steps.forEach((step, index) => {
    step.classList.toggle("done", index < here);
    if (index === here) step.setAttribute("aria-current", "step");
    else step.removeAttribute("aria-current");
  });
}
