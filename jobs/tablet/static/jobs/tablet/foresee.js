// Shows a page as it will be once what is queued has been sent.
//
// The page keeps its state in attributes (data-stage, data-arrived, data-held, data-state); its
// style sheet shows and hides by them. What they were when it was loaded is kept, so that what is
// dropped from the queue is taken back here as well. A page may be older than what was sent since:
// that counts too, until a newer page comes.

import { find } from "./elements.js";
import * as queue from "./queue.js";

/** @import { Action, Sent } from "./queue.js" */

const FACTS = ["stage", "arrived", "held", "danger", "over", "cures", "walkedOut"];
const TASK_FACTS = ["state", "startedAt", "mine", "told"];
const WAIT_FACTS = ["found"];
const SOILING_FACTS = ["level"];
const STAY =
  " Nobody moves it until it is repaired or transported. Have it inspected by a qualified technician.";
const AFTER = new Map([
  ["task_start", "started"],
  ["task_pause", "paused"],
  ["task_finish", "finished"],
]);
const CLOCK_STEP_MS = 1000; // an answer says when it was made in whole seconds
const DANGER_STEP_MS = 5000; // rather a red line too long than a page without it
const TOLD = "shutline-told"; // the newest that a page was loaded anew for

/** @returns {Promise<void>} */
export async function foresee() {
  const queued = await queue.all();
  const sent = await queue.sentLately();
  foreseeBoard(
    queued,
    sent.filter((action) => isNews(action)),
  );
  const car = document.querySelector("[data-car]");
  if (!car) return;
  const job = car.dataset.car;
  const news = sent.filter((action) => action.job === job && isNews(action, car));
  foreseeCar(
    car,
    news,
    queued.filter((action) => action.job === job),
  );
  tellOutdated(news);
}

/**
 * Say whether the page was made before this was sent.
 *
 * @param {Sent} action
 * @param {HTMLElement | null} [car]
 * @returns {boolean}
 */
function isNews(action, car = null) {
  if (car && action.raises && !action.unchecked) {
    return action.version > Number(car.dataset.version);
  }
  const made = Date.parse(document.querySelector('meta[name="made"]')?.content ?? "");
  return action.at + (isStop(action) ? DANGER_STEP_MS : CLOCK_STEP_MS) > made;
}

/**
 * @param {Action} action
 * @returns {boolean}
 */
const isStop = (action) => action.kind === "finding" && Boolean(action.urgent);

/**
 * Have a page that came before what was sent loaded anew, once for each news.
 *
 * @param {Sent[]} news
 */
function tellOutdated(news) {
  const newest = news.at(-1)?.id;
  if (!newest || sessionStorage.getItem(TOLD) === newest) return;
  sessionStorage.setItem(TOLD, newest);
  document.dispatchEvent(new Event("outdated"));
}

/**
 * @param {Action[]} queued
 * @param {Sent[]} sent
 */
function foreseeBoard(queued, sent) {
  const stops = new Set([...queued, ...sent].filter(isStop).map((action) => action.job));
  for (const line of document.querySelectorAll("[data-board-car]")) {
    line.querySelector("[data-foreseen-stop]")?.remove();
    if (!stops.has(line.dataset.boardCar ?? "") || line.dataset.danger === "yes") continue;
    const badge = document.createElement("strong");
    badge.className = "badge danger";
    badge.textContent = "Do not drive";
    badge.dataset.foreseenStop = "";
    find(".todo", line).before(badge);
  }
  countOnBoard(queued);
}

/** @param {Action[]} queued */
function countOnBoard(queued) {
  for (const line of document.querySelectorAll("[data-board-car]")) {
    const mine = queued.filter((action) => action.job === line.dataset.boardCar);
    const place = line.querySelector("[data-waiting-count]");
    if (!place) continue;
    const stopped = mine.filter((action) => action.state !== queue.WAITING).length;
    place.textContent = `${mine.length} waiting${stopped ? `, ${stopped} not taken` : ""}`;
    place.hidden = !mine.length;
  }
}

/**
 * @param {HTMLElement} car
 * @param {Sent[]} sent
 * @param {Action[]} queued
 */
function foreseeCar(car, sent, queued) {
  restore(car, FACTS);
  for (const task of car.querySelectorAll("[data-task]")) restore(task, TASK_FACTS);
  for (const wait of car.querySelectorAll("[data-wait]")) restore(wait, WAIT_FACTS);
  for (const soiling of car.querySelectorAll("[data-soiling]")) restore(soiling, SOILING_FACTS);
  for (const mark of car.querySelectorAll("[data-waiting]")) delete mark.dataset.waiting;
  for (const hold of car.querySelectorAll("[data-released]")) delete hold.dataset.released;
  for (const finding of car.querySelectorAll("[data-finding-over]")) {
    delete finding.dataset.findingOver;
  }
  for (const action of sent) apply(car, action);
  // What was not taken stops what comes after it, so the page stays where that leaves it.
  const stop = queued.findIndex((action) => action.state !== queue.WAITING);
  for (const action of stop < 0 ? queued : queued.slice(0, stop)) {
    const changed = apply(car, action);
    if (changed) changed.dataset.waiting = "yes";
  }
  if ([...sent, ...queued].some(isStop)) keepStill(car); // whatever else waits, or was not taken
  showDanger(car);
  showStage(car);
  showSoiling(car);
  // The sentence about what is next was true before what now waits to be sent.
  for (const next of document.querySelectorAll("p.todo")) {
    next.hidden = sent.length + queued.length > 0;
  }
  for (const form of car.querySelectorAll("form.next")) {
    form.hidden = form.dataset.from !== car.dataset.stage;
  }
  document.dispatchEvent(new Event("foreseen"));
}

/**
 * Take one action as done; return the part of the page that it is about, if there is one.
 *
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function apply(car, action) {
  if (action.kind === "move") car.dataset.stage = String(action.body.to);
  if (action.kind === "arrival") car.dataset.arrived = "yes";
  if (action.kind === "hold" || (action.kind === "request" && action.raises)) {
    car.dataset.held = "yes";
  }
  if (action.kind === "walk_round" && action.body.occasion === "leaving") {
    car.dataset.walkedOut = "yes";
  }
  if (action.kind === "collection") car.dataset.over = "yes";
  if (action.kind === "coat" || action.kind === "use") car.dataset.cures = "yes";
  if (action.kind === "clear" || action.kind === "withdraw") return cleared(car, action);
  if (action.kind === "release") return release(car, action);
  const state = AFTER.get(action.kind);
  if (state) return onTask(car, action, state);
  if (action.kind === "touch_test") return felt(car, action);
  if (action.kind === "minutes") return toldMinutes(car, action);
  if (action.kind === "soiling") return soiled(car, action);
  return null;
}

/** @param {HTMLElement} car */
function keepStill(car) {
  car.dataset.danger = "yes";
  car.dataset.held = "yes";
}

/**
 * The red line says what to do, not why: nobody has to read on to know it.
 *
 * @param {HTMLElement} car
 */
function showDanger(car) {
  let line = car.querySelector("[data-danger-line]");
  if (!line && car.dataset.danger !== "yes") return;
  if (!line) {
    line = Object.assign(document.createElement("p"), { className: "caution danger" });
    line.setAttribute("role", "alert");
    line.dataset.dangerLine = "";
    line.append(
      Object.assign(document.createElement("strong"), { textContent: "Do not drive this car." }),
      STAY,
    );
    (car.querySelector("p.line") ?? find("h1", car)).after(line);
  }
  line.hidden = car.dataset.danger !== "yes";
}

/**
 * A "do not drive" is over: its hold is, and where it was the last the car may be driven again.
 * One that waits for a transporter is held no more, and still not driven.
 *
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function cleared(car, action) {
  const id = part(action.path, "findings");
  const finding = car.querySelector(`[data-finding="${id}"]:not([data-hold])`);
  if (finding && action.body.how !== "transported") finding.dataset.findingOver = "yes";
  if (!car.querySelector("[data-stops]:not([data-finding-over])")) car.dataset.danger = "no";
  released(car, car.querySelector(`[data-hold][data-finding="${id}"]`));
  return finding;
}

/**
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function release(car, action) {
  return released(car, car.querySelector(`[data-hold="${part(action.path, "holds")}"]`));
}

/**
 * @param {HTMLElement} car
 * @param {HTMLElement | null} hold
 * @returns {HTMLElement | null}
 */
function released(car, hold) {
  if (!hold) return null;
  hold.dataset.released = "yes";
  if (!car.querySelector("[data-hold]:not([data-released])")) car.dataset.held = "no";
  return hold;
}

/**
 * @param {HTMLElement} car
 * @param {Action} action
 * @param {string} state that the task is in after it
 * @returns {HTMLElement | null}
 */
function onTask(car, action, state) {
  const task = car.querySelector(`[data-task="${part(action.path, "tasks")}"]`);
  if (!task) return null;
  task.dataset.state = state;
  if (action.kind === "task_start") {
    task.dataset.startedAt = action.madeAt;
    task.dataset.mine = "yes";
  }
  if (action.kind === "task_finish" && "leaves" in task.dataset) car.dataset.cures = "yes";
  return task;
}

/**
 * Somebody felt whether it is dry: its clock is gone, or gets more time.
 *
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function felt(car, action) {
  const wait = car.querySelector(`[data-wait="${part(action.path, "clocks")}"]`);
  if (wait) wait.dataset.found = action.body.dry ? "dry" : "damp";
  return wait;
}

/**
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function toldMinutes(car, action) {
  const task = car.querySelector(`[data-task="${part(action.path, "tasks")}"]`);
  if (task) task.dataset.told = "yes";
  return task;
}

/**
 * @param {HTMLElement} car
 * @param {Action} action
 * @returns {HTMLElement | null}
 */
function soiled(car, action) {
  const soiling = car.querySelector("[data-soiling]");
  if (soiling) soiling.dataset.level = String(action.body.level);
  return soiling;
}

/**
 * What was said of the dirt is what stands chosen; somebody who is choosing is left alone.
 *
 * @param {HTMLElement} car
 */
function showSoiling(car) {
  for (const choice of car.querySelectorAll("[data-soiling] input[name=level]")) {
    choice.defaultChecked = choice.value === choice.closest("[data-soiling]")?.dataset.level;
  }
  for (const caution of car.querySelectorAll("[data-caution-of]")) {
    caution.hidden = caution.dataset.cautionOf !== caution.closest("[data-soiling]")?.dataset.level;
  }
}

/**
 * Return what follows a word in a path: the id of a task, a hold or a clock.
 *
 * @param {string} path
 * @param {string} word
 * @returns {string | undefined}
 */
function part(path, word) {
  const parts = path.split("/");
  return parts[parts.indexOf(word) + 1];
}

/**
 * Bring attributes back to what they were when the page was loaded, or away where there were none.
 *
 * @param {HTMLElement} element
 * @param {readonly string[]} names
 */
function restore(element, names) {
  for (const name of names) {
    const first = `first${name.charAt(0).toUpperCase()}${name.slice(1)}`;
    element.dataset[first] ??= element.dataset[name] ?? "";
    if (element.dataset[first]) element.dataset[name] = element.dataset[first];
    else delete element.dataset[name];
  }
}

/** @param {HTMLElement} car */
function showStage(car) {
  const steps = [...car.querySelectorAll(".steps [data-stage]")];
  const here = steps.findIndex((step) => step.dataset.stage === car.dataset.stage);
  steps.forEach((step, index) => {
    step.classList.toggle("done", index < here);
    if (index === here) step.setAttribute("aria-current", "step");
    else step.removeAttribute("aria-current");
  });
}
