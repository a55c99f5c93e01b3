// What was done on this tablet and has not reached the service yet.
//
// It lies in the browser's own database, written to disk before the tap is answered, so that
// neither a reload nor a browser that was closed loses any of it. Each action has an id made here,
// by which the service knows it again, and the time of the tap.

const NAME = "shutline-tablet";
const FORM = 1;
const changed = new EventTarget();
const channel = "BroadcastChannel" in window ? new BroadcastChannel(NAME) : null;
let opening = null;

export const WAITING = "waiting";
export const REFUSED = "refused";
export const CONFLICT = "conflict";

function open() {
  opening ||= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, FORM);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("actions", { keyPath: "seq", autoIncrement: true });
      asked.result.createObjectStore("versions", { keyPath: "job" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("Another window keeps the queue open."));
  });
  return opening;
}

// Run `work` in one transaction over both stores: all of it is on disk when this returns, or none.
async function within(mode, work) {
  const database = await open();
  const both = database.transaction(["actions", "versions"], mode, { durability: "strict" });
  const ended = new Promise((resolve, reject) => {
    both.oncomplete = resolve;
    both.onabort = () => reject(both.error ?? new Error("The queue could not be written."));
  });
  const result = Promise.resolve(work(both.objectStore("actions"), both.objectStore("versions")));
  result.catch(() => both.abort());
  await ended;
  return result;
}

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

function tell() {
  changed.dispatchEvent(new Event("change"));
  channel?.postMessage("change");
}

// Call `listener` after every change, made here or in another window.
export function onChange(listener) {
  changed.addEventListener("change", listener);
  if (channel) channel.addEventListener("message", () => listener());
}

// Return a UUID; over an address that is not secure there is no randomUUID.
export function newId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

// Return every action that is not sent yet, in the order of the taps.
export function all() {
  return within("readonly", (actions) => asked(actions.getAll()));
}

// Return those about one car.
export async function waitingFor(job) {
  return (await all()).filter((one) => one.job === job);
}

// Keep actions, all of them or none. `versions` are then foreseen: each that raises the job's
// version was decided on what the ones before it will have made of it.
export async function add(fresh, pageVersion) {
  await within("readwrite", async (actions, versions) => {
    const queued = await asked(actions.getAll());
    const known = new Map((await asked(versions.getAll())).map((one) => [one.job, one.version]));
    const raised = new Map();
    for (const one of fresh) {
      const before = queued.filter((other) => other.job === one.job && other.raises).length;
      const base = Math.max(pageVersion ?? 0, known.get(one.job) ?? 0);
      const more = raised.get(one.job) ?? 0;
      actions.add({ ...one, version: base + before + more, state: WAITING, problem: null });
      if (one.raises) raised.set(one.job, more + 1);
    }
  });
  tell();
}

// Forget an action that arrived; `version` is the job's, where the answer said it, and `photoId`
// what a picture is called there, for what was to be sent with it.
export async function arrived(action, { version = null, photoId = null } = {}) {
  await within("readwrite", async (actions, versions) => {
    actions.delete(action.seq);
    if (version !== null) versions.put({ job: action.job, version });
    if (photoId === null) return;
    for (const one of await asked(actions.getAll())) {
      if (!one.needs?.includes(action.id)) continue;
      one.needs = one.needs.filter((id) => id !== action.id);
      one.body.photo_ids = [...(one.body.photo_ids ?? []), photoId];
      actions.put(one);
    }
  });
  tell();
}

// Keep what the service said to an action that it did not take.
export async function stopped(action, state, problem) {
  await within("readwrite", async (actions) => {
    const kept = await asked(actions.get(action.seq));
    if (kept) actions.put({ ...kept, state, problem });
  });
  tell();
}

// Take an action out of the queue for good; what waited for its picture goes without.
export async function drop(action) {
  await within("readwrite", async (actions, versions) => {
    actions.delete(action.seq);
    const rest = (await asked(actions.getAll())).filter((one) => one.seq !== action.seq);
    for (const one of rest.filter((other) => other.needs?.includes(action.id))) {
      one.needs = one.needs.filter((id) => id !== action.id);
      actions.put(one);
    }
    await rebase(action, rest, actions, versions);
  });
  tell();
}

// Have an action go out once more: against what stands now, where that is what was in the way.
export async function again(action) {
  await within("readwrite", async (actions, versions) => {
    const rest = await asked(actions.getAll());
    const mine = rest.find((one) => one.seq === action.seq);
    if (!mine) return;
    actions.put(Object.assign(mine, { state: WAITING, problem: null }));
    await rebase(action, rest, actions, versions);
  });
  tell();
}

// Count the versions of a car's queued actions anew, from what the service last said of it.
async function rebase(about, rest, actions, versions) {
  const said = about.problem?.current?.version;
  const known = (await asked(versions.get(about.job)))?.version;
  let version = said ?? known;
  if (version === undefined) return;
  if (said !== undefined) versions.put({ job: about.job, version: said });
  for (const one of rest.filter((other) => other.job === about.job)) {
    one.version = version;
    actions.put(one);
    if (one.raises) version += 1;
  }
}
