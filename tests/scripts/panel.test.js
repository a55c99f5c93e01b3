// What waits and what did not fit, with both sides of a conflict and a way out of it.

import assert from "node:assert/strict";
import { describe, test } from "node:test";
import {
  ANNA,
  BEN,
  bodyOf,
  CAR,
  ids,
  move,
  pass,
  quiet,
  SECOND_CAR,
  STALE,
  stop,
  tablet,
  tap,
  UNDO_MS,
  undoable,
} from "./tablet.js";

/** @import { TestContext } from "node:test" */
/** @import { Fresh, Problem, State } from "../../jobs/tablet/static/jobs/tablet/queue.js" */

const PAGE = `<p data-net></p><section data-queue hidden></section>
<div data-car="${CAR}"><section data-waiting-list hidden></section></div>`;
const CONFIRM = "urn:shutline:problem:confirmation-needed";

/**
 * Return a tablet on which this was tapped, long enough ago to be sent.
 *
 * @param {TestContext} t
 * @param {Fresh[]} taps
 */
async function tapped(t, taps) {
  const opened = await tablet(t, { html: PAGE });
  const { show } = await opened.panel();
  for (const fresh of taps) await opened.queue.add([fresh], 4);
  await undoable();
  return { ...opened, show };
}

/**
 * Return a tablet that shows why something was not taken.
 *
 * @param {TestContext} t
 * @param {Fresh} fresh
 * @param {State} state
 * @param {Problem} problem
 */
async function stopped(t, fresh, state, problem) {
  const opened = await tapped(t, [fresh]);
  opened.service.isThere = false; // so that it stays as it is
  const [action] = await opened.queue.all();
  assert.ok(action);
  await opened.queue.stopped(action, state, problem);
  await opened.show();
  await quiet();
  return opened;
}

/**
 * @template {string} S
 * @param {S} selector
 * @returns {Found<S>}
 */
function part(selector) {
  const found = document.querySelector(selector);
  assert.ok(found, `there is no ${selector}`);
  return found;
}

/** @param {string} selector */
const texts = (selector) =>
  [...document.querySelectorAll(selector)].map(({ textContent }) => textContent);

/** @param {string} words */
function button(words) {
  const found = [...document.querySelectorAll("button")].find(
    ({ textContent }) => textContent === words,
  );
  assert.ok(found, `there is no button ${words}`);
  return found;
}

/** @type {Problem} */
const MOVED = {
  type: STALE,
  detail: "This was made against version 4.",
  current: { version: 6, stage: "coating", on_hold: true },
  allowed_moves: [
    { to: "cleaning", rework: true },
    { to: "ready", rework: false },
  ],
  meanwhile: "<ul><li>Moved to coating by Ben.</li></ul>",
};

describe("a conflict", () => {
  test("shows both sides: what was done here, and what stands there", async (t) => {
    const fresh = move("ready");
    await stopped(t, fresh, "conflict", MOVED);
    assert.equal(part("[data-queue]").hidden, false);
    assert.equal(part(".conflict").getAttribute("role"), "alert");
    assert.equal(part(".conflict h2").textContent, "JT21 ABC: somebody changed this car meanwhile");
    assert.deepEqual(texts(".conflict h3"), ["You", "Meanwhile"]);
    assert.match(texts(".conflict p")[0] ?? "", /\d\d:\d\d Tapped move.*version 4$/);
    assert.deepEqual(texts(".meanwhile li"), ["Moved to coating by Ben."]);
    assert.ok(texts(".conflict p").includes("Now: in coating, on hold, version 6."));
    assert.deepEqual(texts(".conflict button"), ["Do mine now", "Drop mine"]);
  });

  test("is ended by doing mine, against what stands now", async (t) => {
    const fresh = move("ready");
    const { queue, service } = await stopped(t, fresh, "conflict", MOVED);
    service.isThere = true;
    const mine = button("Do mine now");
    mine.click();
    assert.equal(mine.disabled, true);
    await quiet();
    assert.deepEqual(service.sent, [fresh.id]);
    assert.equal(bodyOf(service.posts[0]).version, 6);
    assert.deepEqual(await queue.all(), []);
  });

  test("is ended by deleting mine, which is not sent", async (t) => {
    const { queue, service } = await stopped(t, move("ready"), "conflict", MOVED);
    service.isThere = true;
    button("Drop mine").click();
    await quiet();
    assert.deepEqual([await queue.all(), service.sent], [[], []]);
  });

  /** @type {[string, Fresh, boolean][]} */
  const WAYS = [
    ["a move that is open", move("ready"), true],
    ["a move that is open no more", move("coating"), false],
    ["rework without a reason", move("cleaning"), false],
    ["rework with a reason", move("cleaning", { body: { reason: "It rained." } }), true],
    ["anything but a move", tap("hold"), true],
  ];
  for (const [what, fresh, isOpen] of WAYS) {
    test(`offers to do mine only where that is possible: ${what}`, async (t) => {
      await stopped(t, fresh, "conflict", MOVED);
      assert.equal(texts(".conflict button").includes("Do mine now"), isOpen);
      const no = "From coating this is not possible any more.";
      assert.equal(texts(".conflict p").includes(no), !isOpen);
      assert.ok(texts(".conflict button").includes("Drop mine"));
    });
  }

  test("asks what happened meanwhile where that could not be had, and says so until then", async (t) => {
    const { meanwhile, ...unknown } = MOVED;
    assert.ok(meanwhile);
    const { queue, service, show } = await stopped(t, move("ready"), "conflict", unknown);
    assert.match(part(".meanwhile").textContent, /as soon as there is network/);
    service.isThere = true;
    service.answers(`/tablet/cars/${CAR}/since/4`, () => new Response(meanwhile));
    await queue.add([tap("finding", { job: SECOND_CAR })], 4);
    part("[data-queue]").dataset.shown = ""; // as a page that is opened anew
    await show();
    await quiet();
    assert.deepEqual(texts(".meanwhile li"), ["Moved to coating by Ben."]);
  });

  test("stays under the finger while nothing about it changes", async (t) => {
    const { queue, show } = await stopped(t, move("ready"), "conflict", MOVED);
    const before = button("Do mine now");
    await queue.add([tap("finding", { job: SECOND_CAR })], 4);
    await undoable();
    await show();
    assert.equal(button("Do mine now"), before);
  });
});

describe("a refusal", () => {
  test("shows the service's answer and its next step", async (t) => {
    const problem = { detail: "It is on hold.", next_step: "Release it first." };
    await stopped(t, move("ready"), "refused", problem);
    assert.equal(part(".conflict h2").textContent, "JT21 ABC: not taken");
    assert.deepEqual(texts(".conflict h3"), ["You", "The answer"]);
    assert.equal(part(".meanwhile").textContent, "It is on hold.");
    assert.equal(part(".conflict .quiet").textContent, "Release it first.");
    assert.deepEqual(texts(".conflict button"), ["Try again", "Drop mine"]);
  });

  test("may be tried again as it is", async (t) => {
    const fresh = move("ready");
    const { service } = await stopped(t, fresh, "refused", {});
    service.isThere = true;
    button("Try again").click();
    await quiet();
    const body = { to: "ready", occurred_at: fresh.madeAt, version: 4 };
    assert.deepEqual(bodyOf(service.posts[0]), body);
  });

  test("for something that is open is confirmed with a tap", async (t) => {
    const problem = { type: CONFIRM, detail: "2 tasks are open.", next_step: "Send `confirm`." };
    const { service } = await stopped(t, move("ready"), "refused", problem);
    assert.equal(part(".conflict h2").textContent, "JT21 ABC: something is still open");
    assert.equal(part(".conflict .quiet").textContent, "");
    assert.deepEqual(texts(".conflict button"), ["Yes, all the same", "No, drop it"]);
    service.isThere = true;
    button("Yes, all the same").click();
    await quiet();
    assert.equal(bodyOf(service.posts[0]).confirm, true);
  });

  test("of a reading is about the air", async (t) => {
    await stopped(t, tap("reading", { job: "", car: "" }), "refused", {});
    assert.equal(part(".conflict h2").textContent, "The air: not taken");
  });
});

describe("what waits", () => {
  test("is counted beside the network", async (t) => {
    const { show, send, service } = await tapped(t, [tap("finding"), tap("finding")]);
    await show();
    assert.equal(part("[data-net]").textContent, "Online, 2 waiting");
    assert.equal(part("[data-net]").classList.contains("wait"), true);
    service.isThere = false;
    await send.send();
    await quiet();
    assert.equal(part("[data-net]").textContent, "No network, 2 waiting");
    service.isThere = true;
    await pass(1000);
    await show();
    assert.equal(part("[data-net]").textContent, "Online");
    assert.equal(part("[data-net]").classList.contains("wait"), false);
  });

  test("is said to be of a page that was kept, and of when", async (t) => {
    const { show } = await tapped(t, []);
    const made = part('meta[name="made"]');
    const time = new Date(made.content).toLocaleTimeString("en-GB", { timeStyle: "short" });
    await show();
    assert.equal(part("[data-net]").textContent, "Online");
    document.head.append(Object.assign(document.createElement("meta"), { name: "kept" }));
    await show();
    assert.equal(part("[data-net]").textContent, `Online · page of ${time}`);
    made.content = "2027-02-27T12:00:00Z";
    await show();
    assert.match(part("[data-net]").textContent, /^Online · page of 27\/02\/2027, \d\d:\d\d$/);
  });

  test("is said to be out of reach where the store does not answer", async (t) => {
    const { show, send } = await tapped(t, []);
    send.net.broken = "The disk is broken.";
    await show();
    assert.match(part('[role="alert"]').textContent, /cannot read.*The disk is broken/);
  });

  test("is nowhere to be shown on a page without a place for it", async (t) => {
    const { queue, panel } = await tablet(t);
    const { show } = await panel();
    await queue.add([tap("finding")], 4);
    await undoable();
    await show();
    assert.equal(document.querySelector("[data-action]"), null);
  });

  test("is listed on the page of its car, with its time, once it can be undone no more", async (t) => {
    const fresh = tap("finding", { madeAt: "2027-03-01T08:15:00Z" });
    const { queue, show } = await tapped(t, [fresh, tap("finding", { job: SECOND_CAR })]);
    await queue.add([tap("finding")], 4);
    await show();
    const at = new Date(fresh.madeAt).toLocaleTimeString("en-GB", {
      hour: "2-digit",
      minute: "2-digit",
    });
    assert.deepEqual(texts("[data-waiting-list] li span"), [`${at} Tapped finding`]);
    assert.equal(part("[data-waiting-list]").hidden, false);
  });

  test("is deleted with a second tap, if that comes soon", async (t) => {
    const { queue, show, service } = await tapped(t, [tap("finding")]);
    service.isThere = false; // else it would be sent
    await show();
    button("Drop").click();
    await pass(5000);
    button("Drop").click();
    await quiet();
    assert.equal((await queue.all()).length, 1);
    const before = service.asked.length;
    const sure = button("Tap again to drop");
    sure.click();
    assert.equal(sure.disabled, true);
    await quiet();
    assert.equal((await queue.all()).length, 0);
    assert.equal(service.asked.length, before + 1); // what was behind it may go now
  });

  test("cannot be deleted while it is sent", async (t) => {
    const { queue, show } = await tapped(t, [tap("finding")]);
    const [action] = await queue.all();
    assert.ok(action);
    await queue.begin(action, () => "{}");
    await show();
    assert.deepEqual(texts("[data-waiting-list] .quiet"), ["being sent"]);
    assert.deepEqual(texts("[data-waiting-list] button"), []);
  });

  test("for a colleague says for whom", async (t) => {
    const theirs = { person: BEN, personName: "Ben" };
    const { show, send } = await tapped(t, [tap("finding", theirs), tap("hold", theirs)]);
    await send.send();
    await show();
    assert.match(part("[data-queue]").textContent, /^2 things wait for Ben: sent when Ben works/);
  });

  test("for a colleague, a do-not-drive is called out in red", async (t) => {
    const [finding] = stop(0, { person: BEN, personName: "Ben" });
    const { show, send } = await tapped(t, [finding]);
    await send.send();
    await show();
    assert.match(part('[role="alert"]').textContent, /JT21 ABC: do not drive\. Ben reported it/);
  });

  test("while nobody is signed in leads to the sign-in, and back here", async (t) => {
    const { show, send, service } = await tapped(t, [tap("finding")]);
    service.person = null;
    await send.send();
    await show();
    assert.match(part("[data-queue]").textContent, /^You are signed out\. Nothing is lost/);
    assert.equal(part("a.button").getAttribute("href"), "/tablet/who?onward=%2Ftablet%2F");
  });
});

describe("what can be undone", () => {
  test("stands in the bar, the latest first, and not among what waits", async (t) => {
    const { queue, show } = await tapped(t, []);
    assert.equal(part("[data-undo][aria-label=Undo]").hidden, true);
    const taps = [tap("finding"), tap("finding", { says: "A dent" })];
    for (const fresh of taps) await queue.add([fresh], 4);
    await pass(1500);
    await show();
    assert.deepEqual(texts(".undo strong"), ["A dent", "Tapped finding"]);
    assert.deepEqual(texts(".undo [data-seconds]"), ["sent in 11 s", "sent in 11 s"]);
    assert.deepEqual(texts(".undo .quiet:not([data-seconds])"), ["JT21 ABC", "JT21 ABC"]);
    assert.equal(part(".undo").hidden, false);
    assert.equal(document.body.classList.contains("with-undo"), true);
    assert.equal(part("[data-waiting-list]").hidden, true);
    assert.equal(part("[data-net]").textContent, "Online");
    await pass(UNDO_MS);
    await show();
    assert.equal(part(".undo").hidden, true);
    assert.equal(document.body.classList.contains("with-undo"), false);
  });

  test("is counted down four times a second, and the page is told when one is sent", async (t) => {
    const { queue, show, undo } = await tapped(t, []);
    let ended = 0;
    (await undo()).keepUndo(() => {
      ended += 1;
    });
    await queue.add([tap("finding")], 4);
    await pass(UNDO_MS / 2);
    await queue.add([tap("finding", { says: "A dent" })], 4);
    await show();
    await pass(UNDO_MS / 2 - 250);
    assert.deepEqual(texts(".undo [data-seconds]"), ["sent in 7 s", "sent in 1 s"]);
    assert.equal(ended, 0);
    await pass(250);
    assert.deepEqual(texts(".undo strong"), ["A dent"]);
    assert.equal(ended, 1);
    await pass(250);
    assert.equal(ended, 1);
  });

  test("keeps its button under the finger while the seconds pass", async (t) => {
    const { queue, show } = await tapped(t, []);
    await queue.add([tap("finding")], 4);
    await show();
    const before = part(".undo button");
    await pass(1000);
    await show();
    assert.equal(part(".undo button"), before);
  });

  test("says what goes along, before and after", async (t) => {
    const { queue, show } = await tapped(t, []);
    const [arrival, moved] = [tap("arrival", { says: "It is here" }), move("cleaning")];
    for (const fresh of [arrival, moved]) await queue.add([fresh], 4);
    await show();
    assert.ok(texts(".undo .quiet").includes("Undo takes back as well: Tapped move"));
    const undo = part('button[aria-label="Undo: It is here"]');
    undo.click();
    assert.equal(undo.disabled, true);
    await quiet();
    assert.deepEqual(await queue.all(), []);
    const said = ["Undone: It is here, and with it: Tapped move."];
    assert.deepEqual(texts(".undo [role=status]"), said);
    await pass(5999);
    await show();
    assert.deepEqual(texts(".undo [role=status]"), said);
    await pass(1);
    await show();
    assert.equal(part(".undo").hidden, true);
  });

  test("is too late for what is being sent, and says so", async (t) => {
    const { queue, show } = await tapped(t, []);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    await show();
    await undoable();
    const [action] = await queue.all();
    assert.ok(action);
    await queue.begin(action, () => "{}");
    part(".undo button").click();
    await quiet();
    assert.deepEqual(texts(".undo [role=status]"), ["Too late: Tapped move is sent."]);
    assert.deepEqual(ids(await queue.all()), [fresh.id]);
  });

  test("is mine only", async (t) => {
    const { queue, show } = await tapped(t, []);
    await queue.add([tap("finding", { person: BEN })], 4);
    await queue.add([tap("finding", { person: ANNA, says: "Mine" })], 4);
    await show();
    assert.deepEqual(texts(".undo strong"), ["Mine"]);
  });
});
