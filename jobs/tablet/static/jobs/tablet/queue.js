// What was done on this tablet and has not reached the service yet.
//
// It lies in the browser's own database, written to disk before the tap is answered, so that
// neither a reload nor a browser that was closed loses any of it. Each action has an id made here,
// by which the service knows it again, and the time of the tap.

/** @typedef {string | number | boolean | null | Json[] | { [name: string]: Json }} Json */
/** @typedef {"waiting" | "refused" | "conflict"} State */
/** @typedef {{ panel: string, material: string, readings?: number[] }} Spot */

/**
 * What is sent, by names of the API. Those that the tablet itself looks at are named here.
 *
 * @typedef {object} KnownBody
 * @property {string} [area] where on the car a finding is
 * @property {boolean} [confirm] sent although something is still open
 * @property {boolean} [dry] what a hand felt
 * @property {boolean} [hold] the car waits for the answer to this request
 * @property {string} [how] how a "do not drive" came to its end
 * @property {number} [level] how dirty it came in
 * @property {string} [occasion] which walk-round this is
 * @property {boolean} [override] a manager lets the car pass
 * @property {string[]} [photo_ids] the pictures that belong to it, as the service calls them
 * @property {string} [reason]
 * @property {Spot[]} [spots] paint readings
 * @property {string} [task_id]
 * @property {string} [to] the stage that a move leads to
 * @property {string} [weight] how much a finding matters
 */
/** @typedef {KnownBody & { [name: string]: Json | undefined }} Body */

/**
 * What a tap asks of the service, before it is in the queue.
 *
 * @typedef {object} Fresh
 * @property {string} id made here; the service knows it again by this
 * @property {string} job "" where it is about no car
 * @property {string} car what the car is called
 * @property {string} kind
 * @property {string} says what was tapped, in words
 * @property {string} path where it is sent
 * @property {string} time the field that takes the time of the tap; "" for none
 * @property {string} madeAt the time of the tap, ISO 8601
 * @property {string} person who tapped, by id
 * @property {string} personName
 * @property {boolean} raises it raises the job's version
 * @property {boolean} unchecked the service does not ask which version was seen
 * @property {boolean} urgent it goes before all else: a "do not drive" and its pictures
 * @property {string[]} needs ids of pictures that are sent before it
 * @property {Blob | null} photo
 * @property {Body} body
 */

/**
 * What the queue adds.
 *
 * @typedef {object} Kept
 * @property {number} seq the order of the taps
 * @property {string} tap the id of the first action that the same tap put here
 * @property {number} undoMs how long it can be undone
 * @property {number} notBefore when it is sent at the earliest, in milliseconds
 * @property {number} version what the job's version will be when its turn comes
 * @property {State} state
 * @property {string | null} begun the body, once it may have been sent
 * @property {Problem | null} problem what the service said when it did not take it
 */
/** @typedef {Fresh & Kept} Action */
/** @typedef {Action & { begun: string }} Begun what is being sent */
/** @typedef {Action & { at: number }} Sent what arrived, and when by the service's clock */
/** @typedef {{ job: string, version: number }} Version the last that the service told of a job */

/**
 * A store of the browser's database, by what lies in it.
 *
 * @template T
 * @typedef {object} Store
 * @property {(row: Omit<T, "seq">) => IDBRequest<IDBValidKey>} add
 * @property {(row: T) => IDBRequest<IDBValidKey>} put
 * @property {(key: IDBValidKey) => IDBRequest<undefined>} delete
 * @property {(key: IDBValidKey) => IDBRequest<T | undefined>} get
 * @property {() => IDBRequest<T[]>} getAll
 */

/**
 * What stands there, as the service says it beside a refusal.
 *
 * @typedef {object} Standing
 * @property {number} version
 * @property {string} [stage]
 * @property {boolean} [on_hold]
 * @property {string | null} [arrived_at]
 */

/**
 * A refusal (RFC 9457).
 *
 * @typedef {object} Problem
 * @property {string} [type]
 * @property {string} [code]
 * @property {string} [detail]
 * @property {string} [next_step]
 * @property {Standing} [current]
 * @property {{ to: string, rework: boolean }[]} [allowed_moves]
 * @property {string} [meanwhile] what happened since, as HTML of our own
 */

const NAME = "shutline-tablet";
const FORM = 1;
const STORES = ["actions", "versions", "sent"];
const changed = new EventTarget();
const channel = "BroadcastChannel" in window ? new BroadcastChannel(NAME) : null;
const REMEMBERED_HOURS = 48; // no page that is kept here should be older than that and still be used
const UNDO_SECONDS = Number(document.querySelector('meta[name="undo-seconds"]')?.content ?? 10);
/** @type {Promise<IDBDatabase> | null} */
let opening = null;

export const WAITING = /** @type {const} */ ("waiting");
export const REFUSED = /** @type {const} */ ("refused");
export const CONFLICT = /** @type {const} */ ("conflict");

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ||= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, FORM);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("actions", { keyPath: "seq", autoIncrement: true });
      asked.result.createObjectStore("versions", { keyPath: "job" });
      asked.result.createObjectStore("sent", { keyPath: "id" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("Another window keeps the queue open."));
  });
  opening.catch(() => (opening = null)); // the next tap tries again
  return opening;
}

/**
 * Run `work` in one transaction over all stores: all of it is on disk when this returns, or none.
 *
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(actions: Store<Action>, versions: Store<Version>, sent: Store<Sent>) => Promise<T>} work
 * @returns {Promise<T>}
 */
async function within(mode, work) {
  const database = await open();
  const whole = database.transaction(STORES, mode, { durability: "strict" });
  let over = false;
  const ended = new Promise((resolve, reject) => {
    whole.oncomplete = resolve;
    whole.onabort = () => reject(whole.error ?? new Error("The queue could not be written."));
  }).finally(() => (over = true));
  ended.catch(() => null); // where `work` fails first, that is what is told
  let value;
  try {
    value = await work(
      whole.objectStore("actions"),
      whole.objectStore("versions"),
      whole.objectStore("sent"),
    );
  } catch (error) {
    if (!over) whole.abort();
    throw error;
  }
  await ended;
  return value;
}

/**
 * @template T
 * @param {IDBRequest<T>} request
 * @returns {Promise<T>}
 */
const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function tell() {
  changed.dispatchEvent(new Event("change"));
  channel?.postMessage("change");
}

/**
 * Call `listener` after every change, made here or in another window.
 *
 * @param {() => unknown} listener
 */
export function onChange(listener) {
  changed.addEventListener("change", listener);
  if (channel) channel.addEventListener("message", () => listener());
}

/**
 * Return a UUID; over an address that is not secure there is no randomUUID.
 *
 * @returns {string}
 */
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = [...crypto.getRandomValues(new Uint8Array(16))].map((byte, place) => {
    if (place === 6) return (byte & 0x0f) | 0x40; // version 4 (RFC 9562)
    return place === 8 ? (byte & 0x3f) | 0x80 : byte;
  });
  const hex = bytes.map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

/**
 * Return every action that is not sent yet, in the order of the taps.
 *
 * @returns {Promise<Action[]>}
 */
export function all() {
  return within("readonly", (actions) => asked(actions.getAll()));
}

/**
 * Return what was sent of late, oldest first: a page kept here may be from before.
 *
 * @returns {Promise<Sent[]>}
 */
export async function sentLately() {
  const sent = await within("readonly", (_actions, _versions, store) => asked(store.getAll()));
  return sent.sort((first, second) => first.seq - second.seq);
}

/**
 * Keep actions, all of them or none. `versions` are then foreseen: each that raises the job's
 * version was decided on what the ones before it will have made of it.
 *
 * @param {[Fresh, ...Fresh[]]} fresh
 * @param {number} pageVersion of the job, as the page was made
 */
export async function add(fresh, pageVersion) {
  await within("readwrite", async (actions, versions) => {
    const queued = await asked(actions.getAll());
    const known = new Map((await asked(versions.getAll())).map((row) => [row.job, row.version]));
    /** @type {Map<string, number>} */
    const raisedHere = new Map();
    if (fresh.some((action) => action.urgent)) hurryArrival(queued, fresh[0].job, actions);
    const tap = fresh[0].id;
    for (const action of fresh) {
      const before = queued.filter((kept) => kept.job === action.job && kept.raises).length;
      const base = Math.max(pageVersion ?? 0, known.get(action.job) ?? 0);
      const more = raisedHere.get(action.job) ?? 0;
      const undoMs = action.urgent ? 0 : UNDO_SECONDS * 1000;
      const held = { tap, undoMs, notBefore: Date.now() + undoMs };
      actions.add({
        ...action,
        ...held,
        version: base + before + more,
        state: WAITING,
        begun: null,
        problem: null,
      });
      if (action.raises) raisedHere.set(action.job, more + 1);
    }
  });
  tell();
}

/**
 * Return for how long an action can still be undone, which is how long it is not sent. A clock
 * that was set back since the tap keeps nothing waiting.
 *
 * @param {Action} action
 * @returns {number}
 */
export function leftMs(action) {
  const left = (action.notBefore ?? 0) - Date.now();
  return action.begun || left > (action.undoMs ?? 0) ? 0 : Math.max(left, 0);
}

/**
 * Return what goes when a tap is undone: all that it put here, and what was tapped later on the
 * same car and rests on it.
 *
 * @param {string} tap
 * @param {Action[]} queued
 * @returns {Action[]}
 */
export function goingWith(tap, queued) {
  const going = queued.filter((action) => action.tap === tap);
  for (const action of queued) {
    if (going.includes(action) || action.urgent) continue;
    if (going.some((before) => before.seq < action.seq && restsOn(action, before))) {
      going.push(action);
    }
  }
  return going;
}

/**
 * Nothing on a car rests on less than its arrival; a change of its state rests on all that was
 * done before; the rest on what was done to the same task, clock or hold.
 *
 * @param {Action} later
 * @param {Action} before
 * @returns {boolean}
 */
function restsOn(later, before) {
  if (!before.job || later.job !== before.job) return false;
  if (before.kind === "arrival" || later.raises || later.kind === "collection") return true;
  const about = aboutOf(before);
  return about !== "" && aboutOf(later) === about;
}

/**
 * Return what an action is about: a task, a clock or a hold, by id; "" for the car as a whole.
 *
 * @param {Action} action
 * @returns {string}
 */
const aboutOf = (action) =>
  action.body.task_id ?? action.path.match(/\/(?:tasks|clocks|holds)\/([^/]+)/)?.[1] ?? "";

/**
 * Undo a tap. What is being sent stays: one transaction decides between this and `begin`. Return
 * what went, or null where it was too late.
 *
 * @param {string} tap
 * @returns {Promise<Action[] | null>}
 */
export async function undo(tap) {
  const went = await within("readwrite", async (actions, versions) => {
    const queued = await asked(actions.getAll());
    const going = goingWith(tap, queued);
    const [first] = going;
    if (!first || going.some((action) => action.begun)) return null;
    const start = startOf(queued, first);
    for (const action of going) actions.delete(action.seq);
    const rest = queued.filter((action) => !going.includes(action));
    rebase({ job: first.job }, rest, start, actions, versions);
    return going;
  });
  tell();
  return went;
}

/**
 * Have what somebody did sent at once, as before they sign out.
 *
 * @param {string} person
 */
export async function hurry(person) {
  await within("readwrite", async (actions) => {
    for (const action of await asked(actions.getAll())) {
      if (action.person === person && leftMs(action) > 0) actions.put({ ...action, notBefore: 0 });
    }
  });
  tell();
}

/**
 * A "do not drive" is taken of a car that is here only: its arrival waits for no undoing any more.
 *
 * @param {Action[]} queued
 * @param {string} job
 * @param {Store<Action>} actions
 */
function hurryArrival(queued, job, actions) {
  for (const arrival of queued.filter((kept) => kept.job === job && kept.kind === "arrival")) {
    actions.put({ ...arrival, notBefore: 0 });
  }
}

/**
 * Fix what is sent: from now on it may have been done there, so it is the same at every attempt.
 * Return the action as it stands, or null where it was dropped meanwhile.
 *
 * @param {Action} action
 * @param {(kept: Action) => string} text
 * @returns {Promise<Begun | null>}
 */
export function begin(action, text) {
  return within("readwrite", async (actions) => {
    const kept = await asked(actions.get(action.seq));
    if (!kept || kept.state !== WAITING || leftMs(kept) > 0) return null;
    const begun = { ...kept, begun: kept.begun ?? text(kept) };
    actions.put(begun);
    return begun;
  });
}

/**
 * Take an action that arrived out of the queue; `at` is when, by the service's clock, `version`
 * the job's after it, where the answer said it, and `photoId` what a picture is called there, for
 * what was to be sent with it.
 *
 * @param {Action} action
 * @param {{ at: number, version: number | undefined, photoId: string | undefined }} answer
 */
export async function arrived(action, { at, version, photoId }) {
  await within("readwrite", async (actions, versions, sent) => {
    actions.delete(action.seq);
    const after = version ?? (await raised(action, actions, versions));
    sent.put({ ...action, photo: null, begun: null, problem: null, version: after, at });
    await forgetOld(sent, at);
    if (version !== undefined) versions.put({ job: action.job, version });
    if (photoId === undefined) return;
    for (const kept of await asked(actions.getAll())) {
      if (!kept.needs?.includes(action.id)) continue;
      kept.needs = kept.needs.filter((id) => id !== action.id);
      kept.body.photo_ids = [...(kept.body.photo_ids ?? []), photoId];
      actions.put(kept);
    }
  });
  tell();
}

/**
 * Return the job's version after an action whose answer does not say it. What was tapped before
 * one that overtook it is sent against a version that is higher by it.
 *
 * @param {Action} action
 * @param {Store<Action>} actions
 * @param {Store<Version>} versions
 * @returns {Promise<number>}
 */
async function raised(action, actions, versions) {
  if (!action.raises) return action.version;
  const earlier = (await asked(actions.getAll())).filter(
    (kept) => kept.job === action.job && kept.seq < action.seq,
  );
  for (const overtaken of earlier.filter((kept) => !kept.begun)) {
    actions.put({ ...overtaken, version: overtaken.version + 1 });
  }
  const known = (await asked(versions.get(action.job)))?.version ?? 0;
  const version = action.version + 1 - earlier.filter((kept) => kept.raises).length;
  versions.put({ job: action.job, version: Math.max(known, version) });
  return version;
}

/**
 * Take an action out of the queue that somebody else has done already; `version` is where the job
 * stands with it. What waits behind it goes on from there.
 *
 * @param {Action} action
 * @param {{ at: number, version: number }} answer
 */
export async function stood(action, { at, version }) {
  await within("readwrite", async (actions, versions, sent) => {
    const rest = (await asked(actions.getAll())).filter((kept) => kept.seq !== action.seq);
    actions.delete(action.seq);
    sent.put({ ...action, photo: null, begun: null, problem: null, version, at });
    if (action.raises) {
      rebase(
        { job: action.job, problem: { current: { version } } },
        rest,
        version,
        actions,
        versions,
      );
    }
  });
  tell();
}

/**
 * Have what was to be sent with a picture go without it.
 *
 * @param {Action} picture
 */
export async function without(picture) {
  await within("readwrite", async (actions) => {
    for (const action of await asked(actions.getAll())) {
      if (action.id === picture.id) actions.put({ ...action, urgent: false });
      else if (action.needs?.includes(picture.id)) {
        actions.put({ ...action, needs: action.needs.filter((id) => id !== picture.id) });
      }
    }
  });
  tell();
}

/**
 * @param {Store<Sent>} sent
 * @param {number} now
 */
async function forgetOld(sent, now) {
  for (const action of await asked(sent.getAll())) {
    if (action.at < now - REMEMBERED_HOURS * 3600_000) sent.delete(action.id);
  }
}

/**
 * Keep what the service said to an action that it did not take; nothing of it was done there.
 *
 * @param {Action} action
 * @param {State} state
 * @param {Problem} problem
 */
export async function stopped(action, state, problem) {
  await within("readwrite", async (actions) => {
    const kept = await asked(actions.get(action.seq));
    if (kept) actions.put({ ...kept, state, problem, begun: null });
  });
  tell();
}

/**
 * Take an action out of the queue for good; what waited for its picture goes without. One that may
 * have been done there already stays until that is known. Return whether it went.
 *
 * @param {Action} action
 * @returns {Promise<boolean>}
 */
export async function drop(action) {
  const went = await within("readwrite", async (actions, versions) => {
    const queued = await asked(actions.getAll());
    const mine = queued.find((kept) => kept.seq === action.seq);
    if (!mine || mine.begun) return false;
    const rest = queued.filter((kept) => kept !== mine);
    actions.delete(mine.seq);
    for (const needing of rest.filter((kept) => kept.needs?.includes(mine.id))) {
      needing.needs = needing.needs.filter((id) => id !== mine.id);
      actions.put(needing);
    }
    rebase(mine, rest, startOf(queued, mine), actions, versions);
    return true;
  });
  tell();
  return went;
}

/**
 * Have an action go out once more: against what stands now, where that is what was in the way.
 *
 * @param {Action} action
 * @param {Body} [more] what is sent with it this time
 */
export async function again(action, more = {}) {
  await within("readwrite", async (actions, versions) => {
    const queued = await asked(actions.getAll());
    const mine = queued.find((kept) => kept.seq === action.seq);
    if (!mine) return;
    const start = startOf(queued, mine);
    rebase(mine, queued, start, actions, versions);
    actions.put(
      Object.assign(mine, { state: WAITING, problem: null, body: { ...mine.body, ...more } }),
    );
  });
  tell();
}

/**
 * Return the version that the first queued action about the same car was made against.
 *
 * @param {Action[]} queued
 * @param {Action} about
 * @returns {number}
 */
function startOf(queued, about) {
  return queued.find((action) => action.job === about.job)?.version ?? about.version;
}

/**
 * Count the versions of a car's queued actions anew: from what the service said of it, if it did.
 * What may have been done there already keeps its own.
 *
 * @param {{ job: string, problem?: Problem | null }} about
 * @param {Action[]} rest
 * @param {number} start
 * @param {Store<Action>} actions
 * @param {Store<Version>} versions
 */
function rebase(about, rest, start, actions, versions) {
  const said = about.problem?.current?.version;
  if (said !== undefined) versions.put({ job: about.job, version: said });
  let version = said ?? start;
  for (const action of rest.filter((kept) => kept.job === about.job)) {
    if (!action.begun) {
      action.version = version;
      actions.put(action);
    }
    if (action.raises) version += 1;
  }
}
