// The bar of what can still be undone: each tap of the last seconds, with a big button.
//
// Until then it is in the queue and not sent. Undoing takes along what was tapped later on the same
// car and rests on it, and says so before and after.

import { element, person } from "./elements.js";
import * as queue from "./queue.js";

/** @import { Action } from "./queue.js" */
/** @typedef {{ tap: string, says: string, car: string, along: string[], left: number }} Row */

const TICK_MS = 250;
const TOLD_MS = 6000;
const bar = document.createElement("section");
let shown = "";
let outcome = "";
let toldUntil = 0;

bar.className = "undo";
bar.dataset.undo = "";
bar.setAttribute("aria-label", "Undo");
bar.hidden = true;
document.body.append(bar);

/** @param {Action[]} queued */
const open = (queued) =>
  queued.filter((action) => action.person === person() && queue.leftMs(action) > 0);
/**
 * Pictures belong to the tap that took them; it is named once.
 *
 * @param {Action[]} actions
 */
const named = (actions) => [
  ...new Set(actions.filter((action) => action.kind !== "photo").map((action) => action.says)),
];

/**
 * Draw the bar; return whether what it shows has changed, but for the seconds.
 *
 * @returns {Promise<boolean>}
 */
export async function showUndo() {
  const queued = await queue.all();
  const taps = [...new Set(open(queued).map((action) => action.tap))].reverse();
  const rows = taps.map((tap) => rowOf(tap, queued));
  const words = performance.now() < toldUntil ? outcome : "";
  const now = JSON.stringify([words, rows.map(({ tap, along }) => [tap, along])]);
  if (now !== shown) draw(words, rows);
  const changed = now !== shown;
  shown = now;
  for (const row of rows) {
    const seconds = bar.querySelector(`[data-seconds="${row.tap}"]`);
    if (seconds) seconds.textContent = `sent in ${Math.ceil(row.left / 1000)} s`;
  }
  return changed;
}

/**
 * A tap is called by what was tapped, not by the pictures that go before it.
 *
 * @param {string} tap
 * @param {Action[]} queued
 * @returns {Row}
 */
function rowOf(tap, queued) {
  const own = queued.filter((action) => action.tap === tap);
  const last = own.at(-1);
  if (!last) throw new Error(`Nothing of the tap ${tap} is in the queue.`);
  const along = named(queue.goingWith(tap, queued).filter((action) => action.tap !== tap));
  return { tap, says: last.says, car: last.car, along, left: queue.leftMs(last) };
}

/**
 * @param {string} words
 * @param {Row[]} rows
 */
function draw(words, rows) {
  /** @type {HTMLElement[]} */
  const lines = rows.map(lineOf);
  if (words) lines.unshift(element("p", { role: "status", text: words }));
  bar.hidden = !lines.length;
  document.body.classList.toggle("with-undo", lines.length > 0);
  bar.replaceChildren(...lines);
}

/** @param {Row} row */
function lineOf({ tap, says, car, along: later }) {
  const undo = element("button", {
    type: "button",
    class: "big",
    "aria-label": `Undo: ${says}`,
    text: "Undo",
  });
  undo.addEventListener("click", async () => {
    undo.disabled = true;
    const went = await queue.undo(tap);
    const rest = went ? named(went.filter((action) => action.tap !== tap)) : [];
    const along = rest.length ? `, and with it: ${rest.join("; ")}` : "";
    outcome = went ? `Undone: ${says}${along}.` : `Too late: ${says} is sent.`;
    toldUntil = performance.now() + TOLD_MS;
    await showUndo();
  });
  const words = `Undo takes back as well: ${later.join("; ")}`;
  const quiet = later.length ? [element("span", { class: "quiet", text: words })] : [];
  const what = element(
    "p",
    {},
    element("strong", { text: says }),
    ...(car ? [element("span", { class: "quiet", text: car })] : []),
    element("span", { class: "quiet", "data-seconds": tap }),
    ...quiet,
  );
  return element("div", { class: "undo-line" }, what, undo);
}

/**
 * Keep the bar in step with the clock; `ended` is called when what it shows has changed.
 *
 * @param {() => unknown} ended
 */
export function keepUndo(ended) {
  setInterval(async () => {
    if (bar.hidden || !(await showUndo())) return;
    ended();
  }, TICK_MS);
}
