// Shows what waits: how many things, each with its time; and what was not taken, with a way out.

import { element } from "./elements.js";
import * as queue from "./queue.js";
import { meanwhile, net, onNet, send } from "./send.js";
import { showUndo } from "./undo.js";

/** @import { Action, Problem, Standing } from "./queue.js" */

const place = document.querySelector("[data-queue]");
const line = document.querySelector("[data-net]");

/** @returns {Promise<void>} */
export async function show() {
  await showUndo();
  // What can still be undone stands in the bar for it, and is sent later.
  const queued = (await queue.all()).filter((action) => queue.leftMs(action) === 0);
  showNet(queued);
  showPanel(queued);
  for (const list of document.querySelectorAll("[data-waiting-list]")) {
    const car = list.closest("[data-car]")?.dataset.car ?? "";
    const mine = queued.filter((action) => action.job === car && action.state === queue.WAITING);
    list.hidden = !mine.length;
    list.replaceChildren(...(mine.length ? [heading("Waiting to be sent"), listOf(mine)] : []));
  }
}

/** @param {Action[]} queued */
function showNet(queued) {
  if (!line) return;
  const count = queued.length;
  const rest = count ? `, ${count} waiting` : "";
  const online = net.sending ? "Sending" : "Online";
  line.textContent = `${net.online ? online : "No network"}${rest}${age()}`;
  line.classList.toggle("wait", !net.online || count > 0);
}

/**
 * Say of when a page is that was kept here.
 *
 * @returns {string}
 */
function age() {
  const made = document.querySelector('meta[name="made"]')?.content;
  if (!made || !document.querySelector('meta[name="kept"]')) return "";
  const today = new Date(made).toDateString() === new Date().toDateString();
  /** @type {Intl.DateTimeFormatOptions} */
  const short = { dateStyle: "short", timeStyle: "short" };
  return ` · page of ${today ? time(made) : new Date(made).toLocaleString("en-GB", short)}`;
}

/** @param {Action[]} queued */
function showPanel(queued) {
  if (!place) return;
  const stopped = queued.filter((action) => action.state !== queue.WAITING);
  const ofColleagues = queued.filter((action) => net.person && action.person !== net.person);
  const parts = stopped.map(card);
  if (net.broken) parts.unshift(brokenStore());
  if (net.signedOut && queued.length) parts.unshift(signIn());
  else if (ofColleagues.length) parts.push(forOthers(ofColleagues));
  const stops = ofColleagues.filter((action) => action.urgent && action.kind === "finding");
  if (stops.length) parts.unshift(stopOfOthers(stops));
  const shown = parts.map((part) => part.dataset.key).join(" ");
  place.hidden = !parts.length;
  // Only what changed is drawn anew: a button under a finger must not move away.
  if (shown === place.dataset.shown) return;
  place.dataset.shown = shown;
  place.replaceChildren(...parts);
}

const SURE_SECONDS = 5;
const CONFIRM = "urn:shutline:problem:confirmation-needed";
/** @param {string} text */
const heading = (text) => element("h2", { text });
/**
 * As the page's own times are written.
 *
 * @param {string} iso
 */
const time = (iso) =>
  new Date(iso).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

/** @param {Action[]} actions */
function listOf(actions) {
  const items = actions.map((action) =>
    element(
      "li",
      { "data-action": action.id },
      element("span", { text: `${time(action.madeAt)} ${action.says}` }),
      action.begun ? element("span", { class: "quiet", text: "being sent" }) : dropButton(action),
    ),
  );
  return element("ul", { class: "list" }, ...items);
}

/**
 * @param {string} text
 * @param {string} style
 * @param {() => Promise<unknown>} act
 */
function button(text, style, act) {
  const made = element("button", { type: "button", class: style, text });
  made.addEventListener("click", async () => {
    made.disabled = true;
    await act();
    send();
  });
  return made;
}

/**
 * A drop of water must not drop what was done: the second tap does it, if it comes soon.
 *
 * @param {Action} action
 */
function dropButton(action) {
  const made = element("button", { type: "button", class: "stop", text: "Drop" });
  made.addEventListener("click", async () => {
    if (!made.dataset.sure) {
      made.dataset.sure = "yes";
      made.textContent = "Tap again to drop";
      setTimeout(() => {
        delete made.dataset.sure;
        made.textContent = "Drop";
      }, SURE_SECONDS * 1000);
      return;
    }
    made.disabled = true;
    await queue.drop(action);
    send();
  });
  return made;
}

function signIn() {
  const here = encodeURIComponent(location.pathname);
  return element(
    "div",
    { class: "caution", role: "status", "data-key": "sign-in" },
    element("p", { text: "You are signed out. Nothing is lost: sign in, and what waits is sent." }),
    element("a", { class: "button yes", href: `/tablet/who?onward=${here}`, text: "Sign in" }),
  );
}

function brokenStore() {
  return element(
    "div",
    { class: "caution danger", role: "alert", "data-key": `broken-${net.broken}` },
    element("p", {
      text:
        `The tablet cannot read what waits on it (${net.broken}). ` +
        "Close the browser and open it again; nothing is deleted.",
    }),
  );
}

/** @param {Action[]} actions */
function forOthers(actions) {
  const names = [...new Set(actions.map((action) => action.personName))].join(" and ");
  const count = actions.length === 1 ? "1 thing waits" : `${actions.length} things wait`;
  return element(
    "div",
    { class: "caution", role: "status", "data-key": `others-${actions.length}` },
    element("p", { text: `${count} for ${names}: sent when ${names} works on this tablet again.` }),
  );
}

/**
 * Only who reported it can send it: nobody acts in another's name. Whoever reads this can report
 * it too.
 *
 * @param {Action[]} stops
 */
function stopOfOthers(stops) {
  const lines = stops.map((stop) =>
    element(
      "p",
      {},
      element("strong", { text: `${stop.car}: do not drive.` }),
      ` ${stop.personName} reported it here, and it is not sent yet. ` +
        "Tell the dealer by telephone, or report it yourself.",
    ),
  );
  return element(
    "div",
    { class: "caution danger", role: "alert", "data-key": `stops-${stops.length}` },
    ...lines,
  );
}

/**
 * Return what a card says of an action, by why it was not taken.
 *
 * @param {Action} action
 * @param {Problem} problem
 */
function wordsOf(action, problem) {
  if (action.state === queue.CONFLICT) {
    const next = canStill(action)
      ? "Look at both, then tap what shall count."
      : `From ${problem.current?.stage} this is not possible any more.`;
    const what = "somebody changed this car meanwhile";
    return { what, answer: "Meanwhile", yes: "Do mine now", no: "Drop mine", next };
  }
  if (problem.type === CONFIRM) {
    const what = "something is still open";
    return { what, answer: "The answer", yes: "Yes, all the same", no: "No, drop it", next: "" };
  }
  const next = problem.next_step ?? "";
  return { what: "not taken", answer: "The answer", yes: "Try again", no: "Drop mine", next };
}

/**
 * Both sides of what did not fit: what was done here, and what stands there.
 *
 * @param {Action} action
 */
function card(action) {
  const conflict = action.state === queue.CONFLICT;
  /** @type {Problem} */
  const problem = action.problem ?? {};
  const { what, answer, yes, no, next } = wordsOf(action, problem);
  const then = conflict ? `, when the car stood at version ${action.version}` : "";
  const there = element(
    "div",
    { class: "meanwhile" },
    element("p", { text: problem.detail ?? "" }),
  );
  if (conflict) showMeanwhile(action, there);
  const ways = [button(no, "stop", () => queue.drop(action))];
  const more = problem.type === CONFIRM ? { confirm: true } : {};
  if (!conflict || canStill(action)) {
    ways.unshift(button(yes, "yes", () => queue.again(action, more)));
  }
  return element(
    "div",
    {
      class: "caution danger conflict",
      role: "alert",
      "data-key": `${action.id}-${action.state}`,
      "data-action": action.id,
    },
    element("h2", { text: `${action.car || "The air"}: ${what}` }),
    element("h3", { text: "You" }),
    element("p", { text: `${time(action.madeAt)} ${action.says}${then}` }),
    element("h3", { text: answer }),
    there,
    ...(conflict ? [element("p", { text: standing(problem.current) })] : []),
    element("p", { class: "quiet", text: next }),
    element("p", { class: "buttons" }, ...ways),
  );
}

/**
 * Say where the car stands now, as the service told when it refused.
 *
 * @param {Partial<Standing>} [current]
 * @returns {string}
 */
function standing(current = {}) {
  return `Now: in ${current.stage}${current.on_hold ? ", on hold" : ""}, version ${current.version}.`;
}

/**
 * Say whether a move is still open from where the car stands now; anything else can be tried.
 *
 * @param {Action} action
 * @returns {boolean}
 */
function canStill(action) {
  if (action.kind !== "move") return true;
  const open = action.problem?.allowed_moves ?? [];
  return open.some((move) => move.to === action.body.to && (!move.rework || action.body.reason));
}

/**
 * What the service told when it refused; where the network was gone by then, ask now.
 *
 * @param {Action} action
 * @param {HTMLElement} there
 */
async function showMeanwhile(action, there) {
  const happened = action.problem?.meanwhile || (await meanwhile(action));
  if (happened) there.innerHTML = happened;
  else
    there.append(
      element("p", { class: "quiet", text: "What happened is shown as soon as there is network." }),
    );
}

onNet(show);
