// Shows a page as it will be once what is queued has been sent.
//
// The page keeps its state in attributes (data-stage, data-arrived, data-held, data-state); its
// style sheet shows and hides by them. What they were when it was loaded is kept, so that what is
// dropped from the queue is taken back here as well. A page may be older than what was sent since:
// that counts too, until a newer page comes.

import * as queue from "./queue.js";

const FACTS = ["stage", "arrived", "held"];
const TASK_FACTS = ["state", "startedAt", "mine", "told"];
const WAIT_FACTS = ["found"];
const SOILING_FACTS = ["level"];
const AFTER = { task_start: "started", task_pause: "paused", task_finish: "finished" };
const CLOCK_STEP_MS = 1000; // an answer says when it was made in whole seconds

export async function foresee() {
  const queued = await queue.all();
  countOnBoard(queued);
  const car = document.querySelector("[data-car]");
  if (!car) return;
  const job = car.dataset.car;
  const sent = (await queue.sentLately()).filter((one) => one.job === job && isNews(one, car));
  foreseeCar(car, sent, queued.filter((one) => one.job === job));
}

// Say whether the page was made before this was sent.
function isNews(action, car) {
  if (action.raises) return action.version > Number(car.dataset.version);
  const made = Date.parse(document.querySelector('meta[name="made"]')?.content);
  return action.at + CLOCK_STEP_MS > made;
}

function countOnBoard(queued) {
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const mine = queued.filter((one) => one.job === line.dataset.boardCar);
    const place = line.querySelector("[data-waiting-count]");
    if (!place) continue;
    const stopped = mine.filter((one) => one.state !== queue.WAITING).length;
    place.textContent = `${mine.length} waiting${stopped ? `, ${stopped} not taken` : ""}`;
    place.hidden = !mine.length;
  }
}

function foreseeCar(car, sent, queued) {
  restore(car, FACTS);
  car.querySelectorAll("[data-task]").forEach((task) => restore(task, TASK_FACTS));
  car.querySelectorAll("[data-wait]").forEach((wait) => restore(wait, WAIT_FACTS));
  car.querySelectorAll("[data-soiling]").forEach((soiling) => restore(soiling, SOILING_FACTS));
  car.querySelectorAll("[data-waiting]").forEach((one) => delete one.dataset.waiting);
  car.querySelectorAll("[data-released]").forEach((one) => delete one.dataset.released);
  sent.forEach((action) => apply(car, action));
  // What was not taken stops what comes after it, so the page stays where that leaves it.
  const stop = queued.findIndex((one) => one.state !== queue.WAITING);
  for (const action of stop < 0 ? queued : queued.slice(0, stop)) {
    const changed = apply(car, action);
    if (changed) changed.dataset.waiting = "yes";
  }
  showStage(car);
  showSoiling(car);
  for (const form of car.querySelectorAll("form.next")) {
    form.hidden = form.dataset.from !== car.dataset.stage;
  }
  document.dispatchEvent(new Event("foreseen"));
}

// Take one action as done; return the part of the page that it is about, if there is one.
function apply(car, action) {
  if (action.kind === "move") car.dataset.stage = action.body.to;
  if (action.kind === "arrival") car.dataset.arrived = "yes";
  if (action.kind === "hold") car.dataset.held = "yes";
  if (action.kind === "release") return release(car, action);
  if (action.kind in AFTER) return onTask(car, action);
  if (action.kind === "touch_test") return felt(car, action);
  if (action.kind === "minutes") return toldMinutes(car, action);
  if (action.kind === "soiling") return soiled(car, action);
  return null;
}

function release(car, action) {
  const hold = car.querySelector(`[data-hold="${part(action.path, "holds")}"]`);
  if (hold) hold.dataset.released = "yes";
  if (!car.querySelector("[data-hold]:not([data-released])")) car.dataset.held = "no";
  return hold;
}

function onTask(car, action) {
  const task = car.querySelector(`[data-task="${part(action.path, "tasks")}"]`);
  if (!task) return null;
  task.dataset.state = AFTER[action.kind];
  if (action.kind === "task_start") {
    task.dataset.startedAt = action.madeAt;
    task.dataset.mine = "yes";
  }
  return task;
}

// Somebody felt whether it is dry: its clock is gone, or gets more time.
function felt(car, action) {
  const wait = car.querySelector(`[data-wait="${part(action.path, "clocks")}"]`);
  if (wait) wait.dataset.found = action.body.dry ? "dry" : "damp";
  return wait;
}

function toldMinutes(car, action) {
  const task = car.querySelector(`[data-task="${part(action.path, "tasks")}"]`);
  if (task) task.dataset.told = "yes";
  return task;
}

function soiled(car, action) {
  const soiling = car.querySelector("[data-soiling]");
  if (soiling) soiling.dataset.level = action.body.level;
  return soiling;
}

// What was said of the dirt is what stands chosen; somebody who is choosing is left alone.
function showSoiling(car) {
  for (const one of car.querySelectorAll("[data-soiling] [name=level]")) {
    one.defaultChecked = one.value === one.closest("[data-soiling]").dataset.level;
  }
  for (const caution of car.querySelectorAll("[data-caution-of]")) {
    caution.hidden = caution.dataset.cautionOf !== caution.closest("[data-soiling]").dataset.level;
  }
}

// Return what follows a word in a path: the id of a task, a hold or a clock.
function part(path, word) {
  const parts = path.split("/");
  return parts[parts.indexOf(word) + 1];
}

// Bring attributes back to what they were when the page was loaded, or away where there were none.
function restore(element, names) {
  for (const name of names) {
    const first = `first${name[0].toUpperCase()}${name.slice(1)}`;
    element.dataset[first] ??= element.dataset[name] ?? "";
    if (element.dataset[first]) element.dataset[name] = element.dataset[first];
    else delete element.dataset[name];
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
