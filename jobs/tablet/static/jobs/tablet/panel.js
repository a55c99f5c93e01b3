// Shows what waits: how many things, each with its time; and what was not taken, with a way out.

import * as queue from "./queue.js";
import { meanwhile, net, onNet, send } from "./send.js";
import { showUndo } from "./undo.js";

const place = document.querySelector("[data-queue]");
const line = document.querySelector("[data-net]");

export async function show() {
  await showUndo();
  // What can still be undone stands in the bar for it, and is sent later.
  const queued = (await queue.all()).filter((one) => queue.leftMs(one) === 0);
  showNet(queued);
  showPanel(queued);
  for (const list of document.querySelectorAll("[data-waiting-list]")) {
    const car = list.closest("[data-car]")?.dataset.car ?? "";
    const mine = queued.filter((one) => one.job === car && one.state === queue.WAITING);
    list.hidden = !mine.length;
    list.replaceChildren(...(mine.length ? [heading("Waiting to be sent"), listOf(mine)] : []));
  }
}

function showNet(queued) {
  if (!line) return;
  const count = queued.length;
  const rest = count ? `, ${count} waiting` : "";
  const state = net.online ? (net.sending ? "Sending" : "Online") : "No network";
  line.textContent = `${state}${rest}${age()}`;
  line.classList.toggle("wait", !net.online || count > 0);
}

// Say of when a page is that was kept here.
function age() {
  const made = document.querySelector('meta[name="made"]')?.content;
  if (!made || !document.querySelector('meta[name="kept"]')) return "";
  const today = new Date(made).toDateString() === new Date().toDateString();
  const then = new Date(made).toLocaleString("en-GB", { dateStyle: "short", timeStyle: "short" });
  return ` · page of ${today ? time(made) : then}`;
}

function showPanel(queued) {
  if (!place) return;
  const stopped = queued.filter((one) => one.state !== queue.WAITING);
  const others = queued.filter((one) => net.person && one.person !== net.person);
  const parts = stopped.map(card);
  if (net.broken) parts.unshift(brokenStore());
  if (net.signedOut && queued.length) parts.unshift(signIn());
  else if (others.length) parts.push(forOthers(others));
  const stops = others.filter((one) => one.urgent && one.kind === "finding");
  if (stops.length) parts.unshift(stopOfOthers(stops));
  const shown = parts.map((one) => one.dataset.key).join(" ");
  place.hidden = !parts.length;
  // Only what changed is drawn anew: a button under a finger must not move away.
  if (shown === place.dataset.shown) return;
  place.dataset.shown = shown;
  place.replaceChildren(...parts);
}

function element(tag, { text = "", ...more } = {}, ...inside) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  Object.entries(more).forEach(([name, value]) => made.setAttribute(name, value));
  made.append(...inside);
  return made;
}

const SURE_SECONDS = 5;
const CONFIRM = "urn:shutline:problem:confirmation-needed";
const heading = (text) => element("h2", { text });
// As the page's own times are written.
const time = (iso) => new Date(iso).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

function listOf(actions) {
  const items = actions.map((one) =>
    element("li", { "data-action": one.id },
      element("span", { text: `${time(one.madeAt)} ${one.says}` }),
      one.begun ? element("span", { class: "quiet", text: "being sent" }) : dropButton(one)),
  );
  return element("ul", { class: "list" }, ...items);
}

function button(text, style, act) {
  const made = element("button", { type: "button", class: style, text });
  made.addEventListener("click", async () => {
    made.disabled = true;
    await act();
    send();
  });
  return made;
}

// A drop of water must not drop what was done: the second tap does it, if it comes soon.
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
  return element("div", { class: "caution", role: "status", "data-key": "sign-in" },
    element("p", { text: "You are signed out. Nothing is lost: sign in, and what waits is sent." }),
    element("a", { class: "button yes", href: `/tablet/who?onward=${here}`, text: "Sign in" }));
}

function brokenStore() {
  return element("div", { class: "caution danger", role: "alert", "data-key": `broken-${net.broken}` },
    element("p", { text: `The tablet cannot read what waits on it (${net.broken}). `
      + "Close the browser and open it again; nothing is deleted." }));
}

function forOthers(actions) {
  const names = [...new Set(actions.map((one) => one.personName))].join(" and ");
  const count = actions.length === 1 ? "1 thing waits" : `${actions.length} things wait`;
  return element("div", { class: "caution", role: "status", "data-key": `others-${actions.length}` },
    element("p", { text: `${count} for ${names}: sent when ${names} works on this tablet again.` }));
}

// Only who reported it can send it: nobody acts in another's name. Whoever reads this can report it too.
function stopOfOthers(stops) {
  const lines = stops.map((one) => element("p", {},
    element("strong", { text: `${one.car}: do not drive.` }),
    ` ${one.personName} reported it here, and it is not sent yet. `
      + "Tell the dealer by telephone, or report it yourself."));
  return element("div", { class: "caution danger", role: "alert", "data-key": `stops-${stops.length}` }, ...lines);
}

// Both sides of what did not fit: what was done here, and what stands there.
function card(action) {
  const conflict = action.state === queue.CONFLICT;
  const problem = action.problem ?? {};
  const there = element("div", { class: "meanwhile" }, element("p", { text: problem.detail ?? "" }));
  if (conflict) showMeanwhile(action, there);
  const possible = !conflict || canStill(action);
  const open = problem.type === CONFIRM;
  const ways = [button(open ? "No, drop it" : "Drop mine", "stop", () => queue.drop(action))];
  const more = open ? { confirm: true } : {};
  const go = open ? "Yes, all the same" : conflict ? "Do mine now" : "Try again";
  if (possible) ways.unshift(button(go, "yes", () => queue.again(action, more)));
  const next = conflict
    ? possible
      ? "Look at both, then tap what shall count."
      : `From ${problem.current?.stage} this is not possible any more.`
    : open ? "" : problem.next_step ?? "";
  const why = conflict
    ? "somebody changed this car meanwhile"
    : open ? "something is still open" : "not taken";
  const stood = conflict ? `, when the car stood at version ${action.version}` : "";
  const about = {
    class: "caution danger conflict",
    role: "alert",
    "data-key": `${action.id}-${action.state}`,
    "data-action": action.id,
  };
  return element("div", about,
    element("h2", { text: `${action.car || "The air"}: ${why}` }),
    element("h3", { text: "You" }),
    element("p", { text: `${time(action.madeAt)} ${action.says}${stood}` }),
    element("h3", { text: conflict ? "Meanwhile" : "The answer" }),
    there,
    ...(conflict ? [element("p", { text: standing(problem.current) })] : []),
    element("p", { class: "quiet", text: next }),
    element("p", { class: "buttons" }, ...ways));
}

// Say where the car stands now, as the service told when it refused.
function standing(current = {}) {
  return `Now: in ${current.stage}${current.on_hold ? ", on hold" : ""}, version ${current.version}.`;
}

// Say whether a move is still open from where the car stands now; anything else can be tried.
function canStill(action) {
  if (action.kind !== "move") return true;
  const open = action.problem?.allowed_moves ?? [];
  return open.some((one) => one.to === action.body.to && (!one.rework || action.body.reason));
}

// What the service told when it refused; where the network was gone by then, ask now.
async function showMeanwhile(action, there) {
  const told = action.problem.meanwhile || (await meanwhile(action));
  if (told) there.innerHTML = told;
  else there.append(element("p", { class: "quiet", text: "What happened is shown as soon as there is network." }));
}

onNet(show);
