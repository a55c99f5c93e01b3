// Sends what waits, in the order of the taps, one at a time, until the queue is empty.
//
// Each action carries its id as the Idempotency-Key, so one whose answer got lost on the way is
// answered again and not done twice. Only what the person who is signed in did is sent.

import * as queue from "./queue.js";

const SESSION = "/api/v1/session";
const ANSWER_SECONDS = 20;
const PICTURE_SECONDS = 90;
const RETRY_SECONDS = [1, 2, 4, 8, 15];
const LOCK = "shutline-send";
const listeners = [];
export const net = { online: navigator.onLine, sending: false, signedOut: false, person: null };

let failures = 0;
let timer = null;

// Call `listener` when the network, or who is signed in, is known to have changed.
export function onNet(listener) {
  listeners.push(listener);
}

function heard(changes) {
  Object.assign(net, changes);
  listeners.forEach((one) => one(net));
}

// Send what waits, unless another window is at it. It never fails: what did not go stays.
export async function send() {
  clearTimeout(timer);
  const delay = navigator.locks
    ? await navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => (lock ? drain() : null))
    : await drain();
  if (delay !== null) timer = setTimeout(send, delay * 1000);
}

// Return after how many seconds to try again, or null where nothing is left to try.
async function drain() {
  if (!(await queue.all()).some((one) => one.state === queue.WAITING)) return null;
  const session = await who();
  if (session === null) return later();
  if (!session.person_id) return null;
  heard({ sending: true });
  const blocked = new Set();
  try {
    for (let next = await first(blocked, session); next; next = await first(blocked, session)) {
      const went = await attempt(next, session.csrf_token);
      if (went === "stopped") blocked.add(next.job);
      else if (went !== "arrived") return went === "signed out" ? null : later(went);
    }
  } finally {
    heard({ sending: false });
  }
  failures = 0;
  return null;
}

function later(seconds) {
  const wait = RETRY_SECONDS[Math.min(failures, RETRY_SECONDS.length - 1)];
  failures += 1;
  return typeof seconds === "number" ? Math.max(seconds, 1) : wait;
}

// Return the next action that can go: what was stopped holds up the rest of its car, no other.
async function first(blocked, session) {
  for (const one of await queue.all()) {
    if (blocked.has(one.job)) continue;
    const mine = one.person === session.person_id;
    if (one.state === queue.WAITING && mine && !one.needs?.length) return one;
    blocked.add(one.job);
  }
  return null;
}

// Return the session; null without network. Signed out, it has no person.
async function who() {
  try {
    const answer = await ask(SESSION, {}, ANSWER_SECONDS);
    if (answer.status >= 500) throw new Error(String(answer.status));
    const session = answer.ok ? await answer.json() : {};
    heard({ online: true, signedOut: !session.person_id, person: session.person_id ?? null });
    return session;
  } catch {
    heard({ online: false });
    return null;
  }
}

// Send one action. Return "arrived", "stopped", "signed out", or the seconds to wait, or null.
async function attempt(action, token) {
  let answer;
  try {
    answer = await ask(action.path, request(action, token), action.photo ? PICTURE_SECONDS : ANSWER_SECONDS);
    if (answer.ok) return await took(action, answer);
  } catch {
    heard({ online: false });
    return null;
  }
  if (answer.status === 401) {
    heard({ signedOut: true });
    return "signed out";
  }
  if (answer.status >= 500 || answer.status === 429) {
    heard({ online: answer.status === 429 });
    return Number(answer.headers.get("Retry-After")) || null;
  }
  const problem = await answer.json().catch(() => ({
    detail: `The service answered ${answer.status}.`,
    next_step: "Try again, or tell the operator.",
  }));
  const stale = problem.type === "urn:shutline:problem:stale-version";
  await queue.stopped(action, stale ? queue.CONFLICT : queue.REFUSED, problem);
  return "stopped";
}

async function took(action, answer) {
  const said = answer.status === 204 ? {} : await answer.json();
  const version = action.raises && Number.isInteger(said.version) ? said.version : null;
  await queue.arrived(action, { version, photoId: action.photo ? said.id : null });
  return "arrived";
}

function request(action, token) {
  const headers = { "Idempotency-Key": action.id, "X-CSRFToken": token };
  if (action.photo) {
    const form = new FormData();
    Object.entries(action.body).forEach(([name, value]) => form.append(name, value));
    form.append("client_id", action.id);
    form.append("occurred_at", action.madeAt);
    form.append("file", action.photo, "picture");
    return { method: "POST", headers, body: form };
  }
  const body = { ...action.body };
  if (action.time) body[action.time] = action.madeAt;
  if (action.raises) body.version = action.version;
  headers["Content-Type"] = "application/json";
  return { method: "POST", headers, body: JSON.stringify(body) };
}

async function ask(path, options, seconds) {
  const ended = new AbortController();
  const limit = setTimeout(() => ended.abort(), seconds * 1000);
  try {
    return await fetch(path, { cache: "no-store", credentials: "same-origin", signal: ended.signal, ...options });
  } finally {
    clearTimeout(limit);
  }
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
