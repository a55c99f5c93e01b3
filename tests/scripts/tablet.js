// A tablet without a browser: its pages' scripts, a store that keeps, and a service that answers as
// told. Only what a browser would bring along is made up: the page, fetch, locks and the clock.

import { cpSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { mock } from "node:test";
import { pathToFileURL } from "node:url";
import { BroadcastChannel } from "node:worker_threads";
import { IDBFactory, IDBObjectStore } from "fake-indexeddb";
import { Window } from "happy-dom";

/** @import { TestContext } from "node:test" */
/** @import { Body, Fresh as Tap } from "../../jobs/tablet/static/jobs/tablet/queue.js" */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/fresh.js")} Fresh */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/queue.js")} Queue */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/send.js")} Send */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/foresee.js")} Foresee */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/panel.js")} Panel */
/** @typedef {typeof import("../../jobs/tablet/static/jobs/tablet/undo.js")} Undo */
/** @typedef {{ queue: Queue, send: Send }} Opened */

const SCRIPTS = new URL("../../jobs/tablet/static/jobs/tablet/", import.meta.url);
const NOW = Date.parse("2027-03-01T09:00:00Z");
const QUIET_TURNS = 60; // of the event loop, in which nothing more comes of what was done
const MOST_TURNS = 5000;
const OF_THE_PAGE = [
  "CSS",
  "CustomEvent",
  "document",
  "Element",
  "Event",
  "EventTarget",
  "HTMLElement",
  "HTMLInputElement",
  "HTMLSelectElement",
  "HTMLTextAreaElement",
  "location",
  "sessionStorage",
];
const OF_A_FORM = ["DataTransfer", "File", "FormData"]; // of the page, for what is put into the queue by one

export const ANNA = "0b7d7a52-0000-4000-8000-00000000000a";
export const BEN = "0b7d7a52-0000-4000-8000-00000000000b";
export const CAR = "0b7d7a52-0000-4000-8000-0000000000c1";
export const SECOND_CAR = "0b7d7a52-0000-4000-8000-0000000000c2";
export const STALE = "urn:shutline:problem:stale-version";
export const UNDO_MS = 12_000; // other than what the scripts take where a page says nothing

export const turn = () => new Promise((resolve) => setImmediate(resolve));

/** Let everything run that waits for nothing but the store and the service. */
export async function quiet() {
  for (let turns = 0; turns < QUIET_TURNS; turns += 1) await turn();
}

/**
 * Wait until something is so.
 *
 * @param {() => unknown} isSo
 * @param {string} what
 */
export async function until(isSo, what) {
  for (let turns = 0; turns < MOST_TURNS; turns += 1) {
    if (await isSo()) return;
    await turn();
  }
  throw new Error(`Waited in vain for ${what}.`);
}

/**
 * Move the clock on, and let happen what comes of it.
 *
 * @param {number} ms
 */
export async function pass(ms) {
  mock.timers.tick(ms);
  await quiet();
}

/** Let the time run out in which a tap can be undone. */
export function undoable() {
  return pass(UNDO_MS);
}

/** The locks of the browser, as far as windows ask for them (W3C Web Locks). */
class Locks {
  /** @type {Set<string>} */
  held = new Set();

  /**
   * @template T
   * @param {string} name
   * @param {{ ifAvailable: boolean }} options
   * @param {(lock: { name: string } | null) => Promise<T>} work
   * @returns {Promise<T>}
   */
  async request(name, { ifAvailable }, work) {
    if (!ifAvailable) throw new Error("A window waits for no other.");
    if (this.held.has(name)) return work(null);
    this.held.add(name);
    try {
      return await work({ name });
    } finally {
      this.held.delete(name);
    }
  }
}

/**
 * @typedef {object} Asked
 * @property {string} method
 * @property {string} path
 * @property {{ [name: string]: string }} headers
 * @property {string | FormData | undefined} body
 * @property {number} seconds that its answer may take
 */
/** @typedef {Response | "no network" | Promise<Response>} Said */

/** The service, as far as the tablet hears of it. */
export class Service {
  /** @type {Asked[]} */
  asked = [];
  /** @type {string | null} who is signed in */
  person = ANNA;
  isThere = true;
  /** @type {((asked: Asked) => Said | undefined)[]} */
  #answers = [];

  /**
   * Answer what fits with this, the latest first.
   *
   * @param {string | RegExp} path
   * @param {(asked: Asked) => Said} answer
   * @param {{ times?: number }} [how]
   */
  answers(path, answer, { times = Number.POSITIVE_INFINITY } = {}) {
    let left = times;
    this.#answers.unshift((asked) => {
      const fits = typeof path === "string" ? asked.path === path : path.test(asked.path);
      if (!fits || left === 0) return undefined;
      left -= 1;
      return answer(asked);
    });
  }

  /**
   * @param {string} path
   * @param {RequestInit} options
   */
  async fetch(path, options) {
    const asked = /** @type {Asked} */ ({
      method: options.method ?? "GET",
      path,
      headers: options.headers ?? {},
      body: options.body,
      seconds: spans.get(/** @type {AbortSignal} */ (options.signal)) ?? 0,
    });
    this.asked.push(asked);
    const answer = this.isThere ? await this.#answer(asked) : "no network";
    if (answer === "no network") throw new TypeError("Failed to fetch");
    return answer;
  }

  /**
   * @param {Asked} asked
   * @returns {Said}
   */
  #answer(asked) {
    for (const answer of this.#answers) {
      const said = answer(asked);
      if (said !== undefined) return said;
    }
    if (asked.path === "/healthz") return new Response("ok");
    if (asked.path === "/api/v1/session") {
      if (this.person === null) return json({ detail: "Nobody is signed in." }, 401);
      return json({ person_id: this.person, csrf_token: "token" });
    }
    return json({ id: `there-${this.asked.length}` }, 201);
  }

  /** Return what was sent, in its order: what was posted, by the ids it was posted with. */
  get sent() {
    return this.posts.map(({ headers }) => headers["Idempotency-Key"]);
  }

  get posts() {
    return this.asked.filter(({ method }) => method === "POST");
  }
}

/**
 * Return what was posted, as the service reads it.
 *
 * @param {Asked | undefined} asked
 * @returns {Body & { version?: number }}
 */
export function bodyOf(asked) {
  if (typeof asked?.body !== "string") throw new TypeError("Nothing was posted as JSON.");
  return JSON.parse(asked.body);
}

/**
 * @param {object} body
 * @param {number} [status]
 * @param {{ [name: string]: string }} [headers]
 */
export function json(body, status = 200, headers = {}) {
  return new Response(JSON.stringify(body), {
    status,
    headers: { "Content-Type": "application/json", ...headers },
  });
}

/** @type {Map<AbortSignal, number>} the seconds of each time-out */
const spans = new Map();

/** One tablet, for one test. */
export class Tablet {
  service = new Service();
  locks = new Locks();
  /** @type {string[]} */
  #folders = [];
  /** @type {BroadcastChannel[]} */
  #channels = [];
  /** @type {Map<string, PropertyDescriptor | undefined>} */
  #before = new Map();

  /** @param {{ html?: string, made?: number, hasForms?: boolean }} page */
  constructor({ html = "", made = NOW, hasForms = false }) {
    mock.timers.enable({ apis: ["setTimeout", "setInterval", "Date"], now: NOW });
    mock.method(performance, "now", () => Date.now());
    mock.method(AbortSignal, "timeout", (/** @type {number} */ ms) => {
      const { signal } = new AbortController();
      spans.set(signal, ms / 1000);
      return signal;
    });
    const page = new Window({ url: "https://valeter.example/tablet/" });
    page.document.write(`<!doctype html><html><head>
      <meta name="person" content="${ANNA}"><meta name="undo-seconds" content="${UNDO_MS / 1000}">
      <meta name="made" content="${new Date(made).toISOString()}">
      </head><body><span data-person>Anna</span><main>${html}</main></body></html>`);
    const channels = this.#channels;
    class Channel extends BroadcastChannel {
      /** @param {string} name */
      constructor(name) {
        super(name);
        this.unref();
        channels.push(this);
      }
    }
    Object.assign(page, { BroadcastChannel: Channel });
    this.#put("window", page);
    const names = hasForms ? [...OF_THE_PAGE, ...OF_A_FORM] : OF_THE_PAGE;
    for (const name of names) this.#put(name, Reflect.get(page, name));
    this.#put("BroadcastChannel", Channel);
    this.#put("navigator", { onLine: true, locks: this.locks });
    this.#put("indexedDB", new IDBFactory());
    this.#put("fetch", this.service.fetch.bind(this.service));
  }

  /**
   * @param {string} name
   * @param {unknown} value
   */
  #put(name, value) {
    this.#before.set(name, Object.getOwnPropertyDescriptor(globalThis, name));
    Object.defineProperty(globalThis, name, { value, configurable: true, writable: true });
  }

  /** Load the scripts anew, as a window that is opened does, or a browser that comes back. */
  async open() {
    const folder = mkdtempSync(join(tmpdir(), "shutline-scripts-"));
    this.#folders.push(folder);
    cpSync(SCRIPTS, folder, { recursive: true });
    writeFileSync(join(folder, "package.json"), '{ "type": "module" }');
    /** @param {string} name */
    const load = (name) => import(pathToFileURL(join(folder, name)).href);
    const opened = /** @type {Opened} */ ({
      queue: await load("queue.js"),
      send: await load("send.js"),
    });
    return {
      ...opened,
      /** @returns {Promise<unknown>} */
      act: () => load("act.js"),
      /** @returns {Promise<Fresh>} */
      fresh: () => load("fresh.js"),
      /** @returns {Promise<Foresee>} */
      foresee: () => load("foresee.js"),
      /** @returns {Promise<Panel>} */
      panel: () => load("panel.js"),
      /** @returns {Promise<Undo>} */
      undo: () => load("undo.js"),
    };
  }

  close() {
    for (const channel of this.#channels) channel.close();
    for (const folder of this.#folders) rmSync(folder, { recursive: true });
    for (const [name, before] of this.#before) {
      if (before) Object.defineProperty(globalThis, name, before);
      else Reflect.deleteProperty(globalThis, name);
    }
    mock.restoreAll();
    mock.timers.reset();
    spans.clear();
  }
}

/**
 * Return a tablet with one window open; it is closed after the test.
 *
 * @param {TestContext} t
 * @param {{ html?: string, made?: number, hasForms?: boolean }} [page]
 */
export async function tablet(t, page = {}) {
  const made = new Tablet(page);
  t.after(() => made.close());
  return { tablet: made, service: made.service, ...(await made.open()) };
}

let taps = 0;

/**
 * Return what one tap asks for, as `act.js` puts it into the queue.
 *
 * @param {string} kind
 * @param {Partial<Tap>} [more]
 * @returns {Tap}
 */
export function tap(kind, more = {}) {
  taps += 1;
  const job = more.job ?? CAR;
  return {
    id: `${kind}-${taps}`,
    job,
    car: "JT21 ABC",
    kind,
    says: `Tapped ${kind}`,
    path: `/api/v1/jobs/${job}/${kind}`,
    time: "occurred_at",
    madeAt: new Date().toISOString(),
    person: ANNA,
    personName: "Anna",
    raises: ["arrival", "move", "hold", "release"].includes(kind),
    unchecked: false,
    urgent: false,
    needs: [],
    photo: null,
    body: {},
    ...more,
  };
}

/**
 * Return a move to a stage.
 *
 * @param {string} to
 * @param {Partial<Tap>} [more]
 */
export const move = (to, more = {}) => tap("move", { ...more, body: { to, ...more.body } });

/**
 * Return a "do not drive" with so many pictures, which go before it.
 *
 * @param {number} [pictures]
 * @param {Partial<Tap>} [more]
 * @returns {[Tap, ...Tap[]]}
 */
export function stop(pictures = 0, more = {}) {
  const body = { area: "brakes", weight: "do_not_drive" };
  const urgent = { urgent: true, body, ...more };
  const taken = Array.from({ length: pictures }, () =>
    tap("photo", { ...urgent, body: { moment: "detail" }, photo: new Blob(["picture"]) }),
  );
  const needs = taken.map(({ id }) => id);
  const finding = tap("finding", { ...urgent, raises: true, unchecked: true, needs });
  const [first = finding, ...rest] = [...taken, finding];
  return [first, ...rest];
}

/**
 * Return the ids of actions.
 *
 * @param {{ id: string }[]} actions
 */
export const ids = (actions) => actions.map(({ id }) => id);

/**
 * Have the store fail at its next `add`, as one without space does.
 *
 * @param {number} from which of the coming ones is the first to fail
 */
export function fullStore(from = 1) {
  const { add } = IDBObjectStore.prototype;
  let count = 0;
  /**
   * @this {IDBObjectStore}
   * @param {object} row
   */
  function full(row) {
    count += 1;
    if (count >= from) throw new DOMException("There is no space left.", "QuotaExceededError");
    return add.call(this, row);
  }
  return mock.method(IDBObjectStore.prototype, "add", full);
}
