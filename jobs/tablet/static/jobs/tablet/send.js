// Sends what waits, in the order of the taps, one at a time, until the queue is empty.
//
// Each action carries its id as the Idempotency-Key, so one whose answer got lost on the way is
// answered again and not done twice. Only what the person who is signed in did is sent.

import * as queue from "./queue.js";

/** @import { Action, Begun, Body, Problem, Standing } from "./queue.js" */
/** @typedef {{ person_id: string | null, csrf_token: string }} Session who is signed in */
/** @typedef {"arrived" | "stopped" | "again" | "signed out" | number} Went or seconds to wait */
/** @typedef {{ id?: string, version?: number }} Taken the answer to what was taken */
/** @typedef {{ tasks: { id: string, state: string }[] }} Job */

/**
 * What is known of the network, and of who is signed in.
 *
 * @typedef {object} Net
 * @property {boolean} online
 * @property {boolean} sending
 * @property {boolean} signedOut
 * @property {string | null} person
 * @property {string} broken what the tablet's own store said when it failed
 */

const SESSION = "/api/v1/session";
const ALIVE = "/healthz";
const ANSWER_SECONDS = 20;
const PICTURE_SECONDS = 90;
const URGENT_PICTURE_SECONDS = 8; // longer a "do not drive" does not wait for its picture
const RETRY_SECONDS = [1, 2, 4, 8];
const LONGEST_RETRY_SECONDS = 15;
const LOOK_SECONDS = 5; // at what another window may have left
const LOCK = "shutline-send";
const STALE = "urn:shutline:problem:stale-version";
/** @type {((net: Net) => unknown)[]} */
const listeners = [];
/** @type {Net} */
export const net = {
  online: navigator.onLine,
  sending: false,
  signedOut: false,
  person: null,
  broken: "",
};

let failures = 0;
/** @type {ReturnType<typeof setTimeout> | undefined} */
let timer;
let running = false;
let asked = false;

/**
 * Call `listener` when the network, or who is signed in, is known to have changed.
 *
 * @param {(net: Net) => unknown} listener
 */
export function onNet(listener) {
  listeners.push(listener);
}

/** @param {Partial<Net>} changes */
function heard(changes) {
  Object.assign(net, changes);
  for (const listener of listeners) listener(net);
}

/**
 * Send what waits, unless another window is at it. It never fails: what did not go stays.
 *
 * @returns {Promise<void>}
 */
export async function send() {
  clearTimeout(timer);
  if (running) {
    asked = true; // whatever was added now, is seen to afterwards
    return;
  }
  running = true;
  /** @type {number | null} */
  let delay = LOOK_SECONDS;
  try {
    /** @param {Lock | null} lock */
    const work = async (lock) => (lock ? sendAll() : LOOK_SECONDS);
    delay = navigator.locks
      ? await navigator.locks.request(LOCK, { ifAvailable: true }, work)
      : await sendAll();
  } catch (error) {
    // The tablet's own store does not answer.
    heard({ broken: error instanceof Error ? error.message : String(error) });
  } finally {
    running = false;
  }
  if (asked) delay = 0;
  asked = false;
  if (delay !== null) timer = setTimeout(send, delay * 1000);
}

/**
 * Send what can be sent; the tablet's own store has answered, then.
 *
 * @returns {Promise<number | null>} the seconds to wait
 */
async function sendAll() {
  const delay = await drain();
  if (net.broken) heard({ broken: "" });
  return delay;
}

/**
 * Return after how many seconds to try again, or null where nothing is left to try.
 *
 * @returns {Promise<number | null>}
 */
async function drain() {
  const waiting = (await queue.all()).filter((action) => action.state === queue.WAITING);
  if (!waiting.length) return look();
  const soonest = Math.min(...waiting.map(queue.leftMs));
  if (soonest > 0) return soonest / 1000;
  const session = await who();
  if (typeof session === "number") return session;
  if (!session.person_id) return null;
  heard({ sending: true });
  try {
    for (let next = await first(session); next; next = await first(session)) {
      const went = await attempt(next, session.csrf_token);
      if (went === "again") return 0;
      if (went === "signed out") return null;
      if (typeof went === "number") return went;
    }
  } finally {
    heard({ sending: false });
  }
  failures = 0;
  return untilNext(session);
}

/**
 * Return the seconds until the next thing of this person can be undone no more, or null.
 *
 * @param {Session} session
 * @returns {Promise<number | null>}
 */
async function untilNext(session) {
  const left = (await queue.all())
    .filter((action) => action.person === session.person_id)
    .map(queue.leftMs);
  const soonest = Math.min(...left.filter((wait) => wait > 0));
  return Number.isFinite(soonest) ? soonest / 1000 : null;
}

/**
 * Find out whether the service answers, so that the bar says what is so; again until it does.
 *
 * @returns {Promise<number | null>}
 */
async function look() {
  try {
    const answer = await ask(ALIVE, {}, ANSWER_SECONDS);
    await answer.text(); // unread, it would stay open
    if (!answer.ok) return gone(answer);
    failures = 0;
    heard({ online: true });
    return null;
  } catch {
    return gone();
  }
}

/**
 * Note that the service does not answer; return the seconds to wait.
 *
 * @param {Response | null} [answer]
 * @returns {number}
 */
function gone(answer = null) {
  heard({ online: answer?.status === 429 });
  return later(Number(answer?.headers.get("Retry-After")));
}

/**
 * Return the seconds to wait: longer each time, and not less than the service asks for.
 *
 * @param {number} [seconds]
 * @returns {number}
 */
function later(seconds) {
  const wait = RETRY_SECONDS[failures] ?? LONGEST_RETRY_SECONDS;
  failures += 1;
  return Math.max(seconds || 0, wait);
}

/**
 * Return the next action that can go. A "do not drive" overtakes all, also what stopped its own
 * car; only its pictures and its car's arrival go before it.
 *
 * @param {Session} session
 * @returns {Promise<Action | null>}
 */
async function first(session) {
  const queued = await queue.all();
  const mine = queued.filter(
    (action) => action.person === session.person_id && action.state === queue.WAITING,
  );
  const urgent = mine.find((action) => action.urgent && !action.needs?.length);
  const arrival =
    urgent && mine.find((action) => action.job === urgent.job && action.kind === "arrival");
  return arrival ?? urgent ?? inTurn(queued, session);
}

/**
 * Return the next in the order of the taps. What was not taken holds up the rest of its car, no
 * other. A colleague's holds up what was decided on it: a later change of the car's state, and
 * everything on a car that has not arrived yet. A finding does not wait for somebody who went
 * home.
 *
 * @param {Action[]} queued
 * @param {Session} session
 * @returns {Action | null}
 */
function inTurn(queued, session) {
  /** @type {Set<string>} */
  const stopped = new Set();
  /** @type {Set<string>} */
  const changed = new Set();
  for (const action of queued) {
    if (stopped.has(action.job)) continue;
    if (action.person !== session.person_id) {
      if (action.kind === "arrival") stopped.add(action.job);
      if (action.raises) changed.add(action.job);
      continue;
    }
    const free =
      action.state === queue.WAITING && !action.needs?.length && queue.leftMs(action) === 0;
    if (free && !(action.raises && changed.has(action.job))) return action;
    // A reading of the air is about no car, and holds up nothing.
    if (action.job) stopped.add(action.job);
  }
  return null;
}

/**
 * Return the session, without a person where nobody is signed in; or the seconds to wait.
 *
 * @returns {Promise<Session | number>}
 */
async function who() {
  try {
    const answer = await ask(SESSION, {}, ANSWER_SECONDS);
    if (!answer.ok && answer.status !== 401) return gone(answer);
    /** @type {Session} */
    const session = answer.ok ? await answer.json() : { person_id: null, csrf_token: "" };
    heard({ online: true, signedOut: !session.person_id, person: session.person_id ?? null });
    return session;
  } catch {
    return gone(); // no network, or an answer that is not ours, as of a guest network's sign-in
  }
}

/**
 * Send one action. Return "arrived", "stopped", "again", "signed out", or the seconds to wait.
 *
 * @param {Action} waiting
 * @param {string} token
 * @returns {Promise<Went>}
 */
async function attempt(waiting, token) {
  const action = await queue.begin(waiting, said);
  if (action === null) return "again"; // it was dropped or undone meanwhile
  const went = await sendOnce(action, token);
  if (action.photo && action.urgent && went !== "arrived") await queue.without(action);
  return went;
}

/**
 * @param {Begun} action
 * @param {string} token
 * @returns {Promise<Went>}
 */
async function sendOnce(action, token) {
  let answer;
  try {
    answer = await ask(action.path, request(action, token), patience(action));
    if (answer.ok) return await took(action, answer);
  } catch {
    return gone();
  }
  if (answer.status === 401) {
    heard({ signedOut: true });
    return "signed out";
  }
  if (answer.status >= 500 || answer.status === 429 || answer.status === 408) return gone(answer);
  /** @type {Problem} */
  const problem = await answer.json().catch(() => ({
    detail: `The service answered ${answer.status}.`,
    next_step: "Try again, or tell the operator.",
  }));
  // Somebody signed in meanwhile, here or in another window: look again who it is.
  if (answer.status === 403 && /csrf_token/.test(problem.next_step ?? "")) return later();
  const { current } = problem;
  if (current && (await isDone(action, problem, current))) {
    await queue.stood(action, { at: answeredAt(answer), version: current.version });
    return "arrived";
  }
  const stale = problem.type === STALE;
  if (stale) problem.meanwhile = await meanwhile(action);
  await queue.stopped(action, stale ? queue.CONFLICT : queue.REFUSED, problem);
  return "stopped";
}

/**
 * Return the seconds that an answer may take.
 *
 * @param {Action} action
 * @returns {number}
 */
function patience(action) {
  if (!action.photo) return ANSWER_SECONDS;
  return action.urgent ? URGENT_PICTURE_SECONDS : PICTURE_SECONDS;
}

/**
 * Say whether what was asked for stands already, done by somebody else, so that nobody has to
 * decide anything. Only where the job went one version on, and by exactly this; and never where a
 * reason of ours would be lost, or a manager's override.
 *
 * @param {Action} action
 * @param {Problem} problem
 * @param {Standing} current
 * @returns {Promise<boolean>}
 */
async function isDone(action, { type, code }, current) {
  if (action.body.reason || action.body.override) return false;
  if (type === STALE) return current.version === action.version + 1 && isAsAsked(action, current);
  if (action.kind === "arrival") return code === "arrived";
  if (action.kind === "collection") return code === "collected";
  if (action.kind === "task_start") return code === "started"; // by this very person
  return action.kind === "task_finish" && code === "not_started" && (await isFinished(action));
}

/**
 * @param {Action} action
 * @param {Standing} current
 * @returns {boolean}
 */
function isAsAsked(action, current) {
  if (action.kind === "move") return current.stage === action.body.to;
  if (action.kind === "arrival") return Boolean(current.arrived_at);
  return action.kind === "release" && !current.on_hold;
}

/**
 * @param {Action} action
 * @returns {Promise<boolean>}
 */
async function isFinished(action) {
  const task = action.path.split("/").at(-2);
  try {
    const answer = await ask(`/api/v1/jobs/${action.job}`, {}, ANSWER_SECONDS);
    /** @type {Job} */
    const { tasks } = answer.ok ? await answer.json() : { tasks: [] };
    return tasks.some(({ id, state }) => id === task && state === "finished");
  } catch {
    return false; // no network, or an answer that is not ours: a person looks at it
  }
}

/**
 * Return what happened to the car after the version that an action was made against, as HTML of
 * our own; "" where it cannot be had now.
 *
 * @param {Action} action
 * @returns {Promise<string>}
 */
export async function meanwhile(action) {
  try {
    const answer = await ask(
      `/tablet/cars/${action.job}/since/${action.version}`,
      {},
      ANSWER_SECONDS,
    );
    return answer.ok && !answer.redirected ? await answer.text() : "";
  } catch {
    return "";
  }
}

/**
 * @param {Action} action
 * @param {Response} answer
 * @returns {Promise<"arrived">}
 */
async function took(action, answer) {
  /** @type {Taken} */
  const taken = answer.status === 204 ? {} : await answer.json();
  if (answer.redirected) throw new Error("Not the service's own answer.");
  const version = action.raises && Number.isInteger(taken.version) ? taken.version : undefined;
  const photoId = action.photo ? taken.id : undefined;
  await queue.arrived(action, { at: answeredAt(answer), version, photoId });
  return "arrived";
}

/**
 * Return when an answer was made, by the service's clock where it says so.
 *
 * @param {Response} answer
 * @returns {number}
 */
function answeredAt(answer) {
  return Date.parse(answer.headers.get("Date") ?? "") || Date.now();
}

/**
 * Return the body of an action as text.
 *
 * @param {Action} action
 * @returns {string}
 */
function said(action) {
  /** @type {Body & { client_id?: string, version?: number }} */
  const body = { ...action.body };
  if (action.photo) body.client_id = action.id;
  if (action.time) body[action.time] = action.madeAt;
  if (action.raises && !action.unchecked) body.version = action.version;
  return JSON.stringify(body);
}

/**
 * @param {Begun} action
 * @param {string} token
 * @returns {RequestInit}
 */
function request(action, token) {
  const headers = { "Idempotency-Key": action.id, "X-CSRFToken": token };
  if (!action.photo) {
    const typed = { ...headers, "Content-Type": "application/json" };
    return { method: "POST", headers: typed, body: action.begun };
  }
  const form = new FormData();
  for (const [name, value] of Object.entries(JSON.parse(action.begun))) form.append(name, value);
  form.append("file", action.photo, "picture");
  return { method: "POST", headers, body: form };
}

/**
 * Ask the service; the time-out holds for the whole answer, not for its beginning only.
 *
 * @param {string} path
 * @param {RequestInit} options
 * @param {number} seconds
 * @returns {Promise<Response>}
 */
function ask(path, options, seconds) {
  const signal = AbortSignal.timeout(seconds * 1000);
  return fetch(path, { cache: "no-store", credentials: "same-origin", signal, ...options });
}

// Begin: send now, whenever the network or the window comes back, and after every tap.
export function begin() {
  const now = () => {
    failures = 0;
    send();
  };
  window.addEventListener("online", now);
  window.addEventListener("offline", () => heard({ online: false }));
  document.addEventListener("visibilitychange", () => document.hidden || now());
  document.addEventListener("queued", now);
  now();
}
