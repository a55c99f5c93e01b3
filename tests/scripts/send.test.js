// Sending: what waits goes out in the order of the taps, once, and nobody's work is lost or doubled.

import assert from "node:assert/strict";
import { describe, mock, test } from "node:test";
import { IDBFactory, IDBObjectStore } from "fake-indexeddb";
import {
  ANNA,
  BEN,
  bodyOf,
  CAR,
  ids,
  json,
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
  until,
} from "./tablet.js";

/** @import { TestContext } from "node:test" */
/** @import { Fresh } from "../../jobs/tablet/static/jobs/tablet/queue.js" */

const LOOK_MS = 5000;
const MINUTE_MS = 60_000;

/**
 * Return a tablet on which this was tapped, each long enough ago to be sent.
 *
 * @param {TestContext} t
 * @param {Fresh[]} taps
 */
async function tapped(t, taps) {
  const opened = await tablet(t);
  for (const fresh of taps) await opened.queue.add([fresh], 4);
  await undoable();
  const { meanwhile, net, send } = opened.send;
  return { ...opened, meanwhile, net, send };
}

/**
 * Return an answer that is held back until it is let go.
 *
 * @returns {{ answer: Promise<Response>, letGo: (response: Response) => void }}
 */
function held() {
  /** @type {(response: Response) => void} */
  let letGo = () => undefined;
  const answer = new Promise((/** @type {(response: Response) => void} */ resolve) => {
    letGo = resolve;
  });
  return { answer, letGo };
}

/**
 * @param {object} problem
 * @param {number} [status]
 */
const refusal = (problem, status = 409) => json({ detail: "No.", ...problem }, status);

describe("what is sent", () => {
  test("goes in the order of the taps, one at a time", async (t) => {
    const taps = [tap("arrival"), tap("finding"), move("cleaning", { job: SECOND_CAR })];
    const { send, service, net } = await tapped(t, taps);
    const { answer, letGo } = held();
    service.answers(/arrival/, () => answer);
    assert.equal(net.sending, false);
    const sending = send();
    await until(() => service.posts.length === 1, "the first to be sent");
    await quiet();
    assert.equal(service.posts.length, 1);
    assert.equal(net.sending, true);
    letGo(json({}, 201));
    await sending;
    assert.equal(net.sending, false);
    assert.deepEqual(service.sent, ids(taps));
  });

  test("says who, when and against which version", async (t) => {
    const moved = move("cleaning");
    const { queue, send, service } = await tapped(t, [moved]);
    await send();
    const [asked] = service.posts;
    assert.equal(asked?.path, moved.path);
    assert.equal(asked?.headers["Idempotency-Key"], moved.id);
    assert.equal(asked?.headers["X-CSRFToken"], "token");
    assert.equal(asked?.headers["Content-Type"], "application/json");
    assert.deepEqual(bodyOf(asked), { to: "cleaning", occurred_at: moved.madeAt, version: 4 });
    assert.deepEqual(await queue.all(), []);
    await pass(MINUTE_MS);
    assert.deepEqual(
      service.asked.map(({ path }) => path),
      ["/api/v1/session", moved.path],
    );
  });

  test("says no version where none is asked for, and no time where there is no field", async (t) => {
    const cleared = tap("clear", { raises: true, unchecked: true, time: "" });
    const { send, service } = await tapped(t, [cleared, tap("finding", { time: "seen_at" })]);
    await send();
    assert.deepEqual(bodyOf(service.posts[0]), {});
    assert.deepEqual(Object.keys(bodyOf(service.posts[1])), ["seen_at"]);
  });

  test("carries a picture as a form, with its own id", async (t) => {
    const picture = tap("photo", { photo: new Blob(["picture"]), body: { area: "bonnet" } });
    const { send, service } = await tapped(t, [picture]);
    await send();
    const form = service.posts[0]?.body;
    assert.ok(form instanceof FormData);
    const { file, ...fields } = Object.fromEntries(form);
    assert.deepEqual(fields, {
      area: "bonnet",
      client_id: picture.id,
      occurred_at: picture.madeAt,
    });
    assert.ok(file instanceof File);
    assert.equal(await file.text(), "picture");
    assert.equal(service.posts[0]?.headers["Content-Type"], undefined);
  });

  test("waits until it can be undone no more, and goes then by itself", async (t) => {
    const { queue, send: sending, service } = await tablet(t);
    const [first, second] = [tap("finding"), tap("finding")];
    await queue.add([first], 4);
    await sending.send();
    await pass(UNDO_MS / 2);
    await queue.add([second], 4);
    await sending.send();
    await pass(UNDO_MS / 2 - 1);
    assert.deepEqual(service.asked, []);
    await pass(1);
    assert.deepEqual(service.sent, [first.id]);
    await pass(UNDO_MS / 2);
    assert.deepEqual(service.sent, ids([first, second]));
  });

  test("leaves the version of the answer for what is tapped next, and when it was taken", async (t) => {
    const { queue, send, service } = await tapped(t, [move("cleaning")]);
    const date = "Mon, 01 Mar 2027 09:05:00 GMT";
    service.answers(/move/, () => json({ version: 11 }, 200, { Date: date }));
    await send();
    await queue.add([move("correction")], 4);
    assert.deepEqual(
      (await queue.all()).map(({ version }) => version),
      [11],
    );
    assert.deepEqual(
      (await queue.sentLately()).map(({ at }) => at),
      [Date.parse(date)],
    );
  });

  test("takes no version from the answer to what raises none", async (t) => {
    const { queue, send, service } = await tapped(t, [tap("seen")]);
    service.answers(/seen/, () => json({ version: 99 }));
    await send();
    await queue.add([move("cleaning")], 4);
    assert.deepEqual(
      (await queue.all()).map(({ version }) => version),
      [4],
    );
  });

  test("is done when the answer is empty", async (t) => {
    const { queue, send, service } = await tapped(t, [tap("seen")]);
    service.answers(/seen/, () => new Response(null, { status: 204 }));
    await send();
    assert.deepEqual(await queue.all(), []);
  });

  test("is seen to when it is tapped while another is sent", async (t) => {
    const [first, second] = [tap("finding"), stop()[0]];
    const { queue, send, service } = await tapped(t, [first]);
    const { answer, letGo } = held();
    service.answers(first.path, () => answer, { times: 1 });
    const sending = send();
    await until(() => service.posts.length === 1, "the first to be sent");
    letGo(json({}, 201));
    await queue.add([second], 4);
    await send();
    await sending;
    await pass(0);
    assert.deepEqual(service.sent, ids([first, second]));
  });

  test("is seen to when it is tapped while the last look is taken", async (t) => {
    const { queue, send, service } = await tapped(t, []);
    const { answer, letGo } = held();
    service.answers("/healthz", () => answer, { times: 1 });
    const looking = send();
    await until(() => service.asked.length === 1, "the look");
    const [finding] = stop();
    await queue.add([finding], 4);
    await send();
    letGo(new Response("ok"));
    await looking;
    await pass(0);
    assert.deepEqual(service.sent, [finding.id]);
    const before = service.asked.length;
    for (let looks = 0; looks < 5; looks += 1) await pass(0);
    assert.equal(service.asked.length, before);
  });

  test("is looked for anew where what was next is gone by then", async (t) => {
    const finding = tap("finding");
    const { send, service, net } = await tapped(t, [finding]);
    const gone = mock.method(IDBObjectStore.prototype, "get", () => {
      const asked = { result: undefined, onsuccess: () => undefined };
      setImmediate(() => asked.onsuccess());
      return asked;
    });
    await send();
    assert.deepEqual([service.sent, net.broken], [[], ""]);
    gone.mock.restore();
    await pass(0);
    assert.deepEqual(service.sent, [finding.id]);
  });

  test("has as long for its answer as it needs", async (t) => {
    const picture = tap("photo", { photo: new Blob(["picture"]) });
    const { queue, send, service } = await tapped(t, [tap("finding"), picture]);
    await send();
    const [urgent, finding] = stop(1);
    assert.ok(urgent && finding);
    await queue.add([urgent, finding], 4);
    await send();
    assert.deepEqual(
      service.posts.map(({ seconds }) => seconds),
      [20, 90, 8, 20],
    );
  });
});

describe("without an answer", () => {
  test("the same is asked again: the same key, the same body", async (t) => {
    const moved = move("cleaning");
    const { queue, send, service } = await tapped(t, [moved]);
    service.answers(moved.path, () => "no network", { times: 1 });
    await send();
    assert.equal((await queue.all()).length, 1);
    // What was tapped since would change the version, had the move not been sent against one.
    const [finding] = stop();
    await queue.add([finding], 4);
    await pass(1000);
    const [first, urgent, second] = service.posts;
    assert.deepEqual(service.sent, [moved.id, finding.id, moved.id]);
    assert.ok(urgent);
    assert.equal(second?.body, first?.body);
    assert.deepEqual(await queue.all(), []);
  });

  test("it is tried again after 1, 2, 4, 8 and then every 15 seconds", async (t) => {
    const { send, service, net } = await tapped(t, [tap("finding")]);
    service.answers("/api/v1/session", () => "no network");
    await send();
    assert.equal(net.online, false);
    for (const seconds of [1, 2, 4, 8, 15, 15]) {
      const before = service.asked.length;
      await pass(seconds * 1000 - 1);
      assert.equal(service.asked.length, before);
      await pass(1);
      assert.equal(service.asked.length, before + 1);
    }
  });

  test("it is tried no more often for being asked twice", async (t) => {
    const { send, service } = await tapped(t, [tap("finding")]);
    service.isThere = false;
    await send();
    await send();
    const before = service.asked.length;
    await pass(1999);
    assert.equal(service.asked.length, before);
    await pass(1);
    assert.equal(service.asked.length, before + 1);
  });

  test("it is tried soon again once there was one in between", async (t) => {
    const [first, second] = [tap("finding"), tap("finding")];
    const { queue, send, service } = await tapped(t, [first]);
    service.answers("/api/v1/session", () => "no network", { times: 3 });
    await send();
    for (const seconds of [1, 2, 4]) await pass(seconds * 1000);
    assert.deepEqual(service.sent, [first.id]);
    await queue.add([second], 4);
    await undoable();
    service.answers("/api/v1/session", () => "no network", { times: 1 });
    await send();
    await pass(999);
    assert.deepEqual(service.sent, [first.id]);
    await pass(1);
    assert.deepEqual(service.sent, ids([first, second]));
  });

  for (const status of [408, 429, 500, 503]) {
    test(`of the service's own (${status}) nothing is lost, and its Retry-After holds`, async (t) => {
      const finding = tap("finding");
      const { queue, send, service, net } = await tapped(t, [finding]);
      const busy = () => json({}, status, { "Retry-After": "30" });
      service.answers(finding.path, busy, { times: 1 });
      await send();
      assert.equal(net.online, status === 429);
      assert.deepEqual(
        (await queue.all()).map(({ state }) => state),
        ["waiting"],
      );
      await pass(29_999);
      assert.equal(service.posts.length, 1);
      await pass(1);
      assert.deepEqual(service.sent, [finding.id, finding.id]);
      assert.deepEqual(await queue.all(), []);
    });
  }

  test("to who is signed in, nobody is taken to be signed out", async (t) => {
    const finding = tap("finding");
    const { send, service, net } = await tapped(t, [finding]);
    service.answers("/api/v1/session", () => json({}, 503), { times: 1 });
    await send();
    assert.deepEqual([net.signedOut, net.online], [false, false]);
    await pass(1000);
    assert.deepEqual(service.sent, [finding.id]);
  });

  test("that is the service's, as of a guest network, it counts as none", async (t) => {
    const finding = tap("finding");
    const { queue, send, service } = await tapped(t, [finding]);
    const page = () => new Response("<html>Accept our terms</html>");
    service.answers("/api/v1/session", page, { times: 1 });
    await send();
    assert.equal(service.posts.length, 0);
    service.answers(finding.path, page, { times: 1 });
    await pass(1000);
    assert.equal((await queue.all()).length, 1);
    const led = Object.defineProperty(json({}), "redirected", { value: true });
    service.answers(finding.path, () => led, { times: 1 });
    await pass(2000);
    assert.equal((await queue.all()).length, 1);
    await pass(4000);
    assert.deepEqual(await queue.all(), []);
    assert.equal(service.posts.length, 3);
  });

  test("the bar says so although nothing waits, until there is one", async (t) => {
    const { send, service, net } = await tapped(t, []);
    await send();
    assert.deepEqual(
      service.asked.map(({ path }) => path),
      ["/healthz"],
    );
    service.isThere = false;
    await send();
    assert.equal(net.online, false);
    await pass(1000);
    await pass(1999);
    assert.equal(net.online, false);
    service.isThere = true;
    await pass(1);
    assert.equal(net.online, true);
    service.isThere = false;
    await send();
    service.isThere = true;
    await pass(1000); // and not 4 seconds: it was there in between
    assert.equal(net.online, true);
  });

  test("of the service to a look, it counts as none, and what it says of waiting holds", async (t) => {
    const { send, service, net } = await tapped(t, []);
    const busy = () => json({}, 503, { "Retry-After": "30" });
    service.answers("/healthz", busy, { times: 1 });
    await send();
    assert.equal(net.online, false);
    await pass(29_999);
    assert.equal(net.online, false);
    await pass(1);
    assert.equal(net.online, true);
  });
});

describe("signed out", () => {
  test("nothing is sent, and nothing is lost", async (t) => {
    const { queue, send, service, net } = await tapped(t, [tap("finding")]);
    service.person = null;
    await send();
    await pass(MINUTE_MS);
    assert.deepEqual([net.signedOut, net.online, net.person], [true, true, null]);
    assert.equal(service.posts.length, 0);
    assert.equal((await queue.all()).length, 1);
  });

  test("in the midst of it, it stops there", async (t) => {
    const [first, second] = [tap("finding"), tap("finding", { job: SECOND_CAR })];
    const { queue, send, service, net } = await tapped(t, [first, second]);
    service.answers(first.path, () => json({ detail: "Sign in." }, 401));
    await send();
    await pass(MINUTE_MS);
    assert.equal(net.signedOut, true);
    assert.deepEqual(service.sent, [first.id]);
    assert.deepEqual(
      (await queue.all()).map(({ state }) => state),
      ["waiting", "waiting"],
    );
  });

  test("and in again as somebody, it is asked anew who is there", async (t) => {
    const finding = tap("finding");
    const { queue, send, service } = await tapped(t, [finding]);
    const forged = { next_step: "Send the csrf_token of your session." };
    service.answers(finding.path, () => refusal(forged, 403), { times: 1 });
    await send();
    assert.deepEqual(
      (await queue.all()).map(({ state }) => state),
      ["waiting"],
    );
    service.person = BEN;
    await pass(1000);
    assert.deepEqual(service.sent, [finding.id]);
    service.person = ANNA;
    await send();
    assert.deepEqual(service.sent, [finding.id, finding.id]);
  });
});

describe("a do-not-drive", () => {
  test("overtakes all but its pictures and its car's arrival", async (t) => {
    const waiting = [
      tap("finding", { job: SECOND_CAR }),
      tap("task_start"),
      tap("arrival"),
      move("cleaning"),
    ];
    const [start, arrival] = [waiting[1], waiting[2]];
    assert.ok(start && arrival);
    const { queue, send, service } = await tapped(t, waiting);
    const [picture, finding] = stop(1);
    assert.ok(picture && finding);
    await queue.add([picture, finding], 4);
    service.answers(picture.path, () => json({ id: "there" }, 201));
    await send();
    const rest = waiting.filter(({ kind }) => kind !== "arrival");
    assert.deepEqual(service.sent, ids([arrival, picture, finding, ...rest]));
    assert.deepEqual(bodyOf(service.posts[2]).photo_ids, ["there"]);
  });

  test("goes past a conflict of its own car", async (t) => {
    const moved = move("cleaning");
    const { queue, send, service } = await tapped(t, [moved]);
    const current = { version: 9, stage: "coating" };
    service.answers(moved.path, () => refusal({ type: STALE, current }));
    await send();
    const [finding] = stop();
    await queue.add([finding], 4);
    await send();
    assert.deepEqual(service.sent, [moved.id, finding.id]);
    assert.deepEqual(
      (await queue.all()).map(({ state }) => state),
      ["conflict"],
    );
  });

  test("goes without a picture that does not get through, and that follows later", async (t) => {
    const { queue, send, service } = await tapped(t, []);
    const [picture, finding] = stop(1);
    assert.ok(picture && finding);
    await queue.add([picture, finding], 4);
    service.answers(picture.path, () => "no network", { times: 1 });
    await send();
    await pass(1000);
    assert.deepEqual(service.sent, ids([picture, finding, picture]));
    assert.equal(bodyOf(service.posts[1]).photo_ids, undefined);
    assert.deepEqual(await queue.all(), []);
  });

  test("stays one when it is refused", async (t) => {
    const { queue, send, service } = await tapped(t, []);
    await queue.add(stop(), 4);
    service.answers(/finding/, () => refusal({ code: "cancelled" }));
    await send();
    assert.deepEqual(
      (await queue.all()).map(({ state, urgent }) => [state, urgent]),
      [["refused", true]],
    );
  });

  test("of a colleague is not sent in another's name", async (t) => {
    const { queue, send, service } = await tapped(t, []);
    await queue.add(stop(0, { person: BEN }), 4);
    await send();
    assert.deepEqual(service.sent, []);
  });
});

describe("what was refused", () => {
  test("holds up its car and no other, with what the service said", async (t) => {
    const [refused, behind, elsewhere] = [
      move("cleaning"),
      tap("finding"),
      tap("finding", { job: SECOND_CAR }),
    ];
    const { queue, send, service } = await tapped(t, [refused, behind, elsewhere]);
    service.answers(refused.path, () => refusal({ detail: "It is on hold.", code: "on_hold" }));
    await send();
    assert.deepEqual(service.sent, ids([refused, elsewhere]));
    const [first, second] = await queue.all();
    assert.deepEqual([first?.state, first?.problem?.detail], ["refused", "It is on hold."]);
    assert.deepEqual([second?.id, second?.state], [behind.id, "waiting"]);
    const before = service.asked.length;
    await pass(MINUTE_MS);
    assert.equal(service.asked.length, before);
  });

  test("of no car, as a reading of the air, holds up nothing", async (t) => {
    const [refused, behind] = [tap("reading", { job: "" }), tap("reading", { job: "" })];
    const { send, service } = await tapped(t, [refused, behind]);
    service.answers(refused.path, () => refusal({}, 400), { times: 1 });
    await send();
    assert.deepEqual(service.sent, ids([refused, behind]));
  });

  test("for want of a permission is a refusal as any other", async (t) => {
    const { queue, send, service } = await tapped(t, [tap("finding")]);
    service.answers(/finding/, () => refusal({ next_step: "Ask a manager." }, 403));
    await send();
    assert.deepEqual(
      (await queue.all()).map(({ state }) => state),
      ["refused"],
    );
  });

  test("without words of ours is given some", async (t) => {
    const { queue, send, service } = await tapped(t, [tap("finding")]);
    service.answers(/finding/, () => new Response("<html>", { status: 413 }));
    await send();
    const [action] = await queue.all();
    assert.match(action?.problem?.detail ?? "", /413/);
    assert.match(action?.problem?.next_step ?? "", /operator/);
  });

  test("as made against an older version is a conflict, with what happened since", async (t) => {
    const moved = move("cleaning");
    const { queue, send, service } = await tapped(t, [moved]);
    const current = { version: 6, stage: "coating" };
    service.answers(moved.path, () => refusal({ type: STALE, current }));
    service.answers(`/tablet/cars/${CAR}/since/4`, () => new Response("<p>Moved by Ben.</p>"));
    await send();
    const [action] = await queue.all();
    assert.equal(action?.state, "conflict");
    assert.equal(action?.problem?.meanwhile, "<p>Moved by Ben.</p>");
    assert.deepEqual(action?.problem?.current, current);
  });

  test("is a conflict although nobody can say what happened since", async (t) => {
    const moved = move("cleaning");
    const { queue, send, service, meanwhile } = await tapped(t, [moved]);
    service.answers(moved.path, () => refusal({ type: STALE, current: { version: 6 } }));
    const signIn = Object.defineProperty(new Response("Sign in"), "redirected", { value: true });
    const answers = ["no network", new Response("Gone", { status: 404 }), signIn];
    const since = /** @type {(() => Response | "no network")} */ (() => answers.shift());
    service.answers(/since/, since);
    await send();
    const [action] = await queue.all();
    assert.ok(action);
    assert.deepEqual([action.state, action.problem?.meanwhile], ["conflict", ""]);
    assert.equal(await meanwhile(action), "");
    assert.equal(await meanwhile(action), "");
    assert.deepEqual(answers, []);
  });
});

describe("what a colleague did on this tablet", () => {
  test("waits for them, and holds up what was decided on it", async (t) => {
    const theirs = move("cleaning", { person: BEN });
    const [changes, note] = [move("correction"), tap("finding")];
    const elsewhere = move("cleaning", { job: SECOND_CAR });
    const { queue, send, service, net } = await tapped(t, [theirs, note, changes, elsewhere]);
    await send();
    assert.deepEqual(service.sent, ids([note, elsewhere]));
    assert.equal(net.person, ANNA);
    service.person = BEN;
    await send();
    assert.deepEqual(service.sent, ids([note, elsewhere, theirs]));
    service.person = ANNA;
    await send();
    assert.deepEqual(service.sent, ids([note, elsewhere, theirs, changes]));
    assert.deepEqual(await queue.all(), []);
  });

  test("holds up all of a car that has not arrived without them", async (t) => {
    const theirs = tap("arrival", { person: BEN });
    const [note, elsewhere] = [tap("finding"), tap("finding", { job: SECOND_CAR })];
    const { send, service } = await tapped(t, [theirs, note, elsewhere]);
    await send();
    assert.deepEqual(service.sent, [elsewhere.id]);
  });
});

describe("what stands there already", () => {
  const next = { version: 5 };
  /** @type {[string, Fresh, object][]} */
  const DONE = [
    ["a move", move("cleaning"), { type: STALE, current: { ...next, stage: "cleaning" } }],
    ["an arrival", tap("arrival"), { type: STALE, current: { ...next, arrived_at: "2027-03-01" } }],
    ["a release", tap("release"), { type: STALE, current: { ...next, on_hold: false } }],
    ["an arrival again", tap("arrival"), { code: "arrived", current: next }],
    ["a collection", tap("collection"), { code: "collected", current: next }],
    ["a task that is started", tap("task_start"), { code: "started", current: next }],
  ];
  for (const [what, fresh, problem] of DONE) {
    test(`goes silently: ${what}`, async (t) => {
      const { queue, send, service } = await tapped(t, [fresh, tap("finding")]);
      service.answers(fresh.path, () => refusal(problem));
      await send();
      assert.deepEqual(await queue.all(), []);
      assert.equal(service.sent.length, 2);
      const [sent] = await queue.sentLately();
      assert.deepEqual([sent?.id, sent?.version], [fresh.id, 5]);
    });

    for (const lost of [{ reason: "It rained." }, { override: true }]) {
      test(`is never taken for ${what} with ${Object.keys(lost)}, which would be lost`, async (t) => {
        const said = { ...fresh, body: { ...fresh.body, ...lost } };
        const { queue, send, service } = await tapped(t, [said]);
        service.answers(said.path, () => refusal(problem));
        await send();
        assert.deepEqual(ids(await queue.all()), [said.id]);
        assert.notEqual((await queue.all())[0]?.state, "waiting");
      });
    }
  }

  /** @type {[string, Fresh, object][]} */
  const NOT_DONE = [
    ["a move elsewhere", move("cleaning"), { type: STALE, current: { ...next, stage: "coating" } }],
    [
      "a move with more beside it",
      move("cleaning"),
      { type: STALE, current: { version: 6, stage: "cleaning" } },
    ],
    ["a car still away", tap("arrival"), { type: STALE, current: { ...next, arrived_at: null } }],
    ["a car held again", tap("release"), { type: STALE, current: { ...next, on_hold: true } }],
    ["a hold", tap("hold"), { type: STALE, current: { ...next, on_hold: true } }],
    ["an arrival refused for more", tap("arrival"), { code: "cancelled", current: next }],
    ["a collection refused for more", tap("collection"), { code: "not_here", current: next }],
    ["a start refused for more", tap("task_start"), { code: "finished", current: next }],
    ["another kind with the same code", tap("finding"), { code: "arrived", current: next }],
    ["what nobody says the state of", tap("arrival"), { code: "arrived" }],
  ];
  for (const [what, fresh, problem] of NOT_DONE) {
    test(`is not mistaken: ${what}`, async (t) => {
      const { queue, send, service } = await tapped(t, [fresh]);
      service.answers(fresh.path, () => refusal(problem));
      await send();
      const [action] = await queue.all();
      assert.equal(action?.id, fresh.id);
      assert.notEqual(action?.state, "waiting");
    });
  }

  for (const [state, left] of /** @type {const} */ ([
    ["finished", 0],
    ["paused", 1],
  ])) {
    test(`is asked for where a task is to be finished that is ${state}`, async (t) => {
      const finish = tap("task_finish", { path: `/api/v1/jobs/${CAR}/tasks/wash/finish` });
      const { queue, send, service } = await tapped(t, [finish]);
      service.answers(finish.path, () => refusal({ code: "not_started", current: next }));
      const tasks = [
        { id: "glass", state: "finished" },
        { id: "wash", state },
      ];
      service.answers(`/api/v1/jobs/${CAR}`, () => json({ tasks }));
      await send();
      assert.equal((await queue.all()).length, left);
    });
  }

  for (const answer of [() => json({}, 500), () => new Response("<html>")]) {
    test(`is not guessed where a task cannot be asked for (${answer().status})`, async (t) => {
      const finish = tap("task_finish", { path: `/api/v1/jobs/${CAR}/tasks/wash/finish` });
      const { queue, send, service, net } = await tapped(t, [finish]);
      service.answers(finish.path, () => refusal({ code: "not_started", current: next }));
      service.answers(`/api/v1/jobs/${CAR}`, answer);
      await send();
      assert.deepEqual(
        (await queue.all()).map((action) => action.state),
        ["refused"],
      );
      assert.equal(net.broken, "");
    });
  }
});

describe("two windows", () => {
  test("never send at the same time, and neither leaves anything behind", async (t) => {
    const finding = tap("finding");
    const { queue, send, service, tablet: device } = await tapped(t, [finding]);
    const second = await device.open();
    const { answer, letGo } = held();
    service.answers(finding.path, () => answer, { times: 1 });
    const sending = send();
    await until(() => service.posts.length === 1, "the first window to send");
    const late = tap("finding", { id: "late" });
    await queue.add([late], 4);
    await second.send.send();
    await pass(LOOK_MS);
    assert.equal(service.posts.length, 1);
    letGo(json({}, 201));
    await sending;
    await pass(UNDO_MS);
    assert.deepEqual(service.sent, [finding.id, late.id]);
    assert.equal(second.send.net.broken, "");
  });

  test("look again after five seconds at what the one that sent may have left", async (t) => {
    const finding = tap("finding");
    const { service, tablet: device } = await tapped(t, [finding]);
    const second = await device.open();
    device.locks.held.add("shutline-send"); // by a window that closes now
    await second.send.send();
    device.locks.held.clear();
    await pass(LOOK_MS - 1);
    assert.deepEqual(service.sent, []);
    await pass(1);
    assert.deepEqual(service.sent, [finding.id]);
  });

  test("are not asked about where the browser knows no locks", async (t) => {
    const finding = tap("finding");
    const { send, service } = await tapped(t, [finding]);
    Reflect.deleteProperty(navigator, "locks");
    await send();
    assert.deepEqual(service.sent, [finding.id]);
  });
});

describe("a store that does not answer", () => {
  test("is told of, and looked at again", async (t) => {
    const { send: sending, service } = await tablet(t);
    const open = mock.method(IDBFactory.prototype, "open", () => {
      throw new DOMException("The disk is broken.");
    });
    /** @type {string[]} */
    const heard = [];
    sending.onNet(({ broken }) => heard.push(broken));
    await sending.send();
    assert.deepEqual(heard, ["The disk is broken."]);
    open.mock.restore();
    await pass(LOOK_MS);
    assert.deepEqual(
      service.asked.map(({ path }) => path),
      ["/healthz"],
    );
    assert.equal(sending.net.broken, "");
  });
});

describe("a page", () => {
  test("knows nothing at first but what the browser says of the network", async (t) => {
    const { send: sending } = await tablet(t);
    const nothing = { sending: false, signedOut: false, person: null, broken: "" };
    assert.deepEqual(sending.net, { online: true, ...nothing });
  });

  test("sends when it is opened, after a tap, and when the network or the window comes back", async (t) => {
    const { send: sending, service } = await tablet(t);
    sending.begin();
    await quiet();
    assert.equal(service.asked.length, 1);
    /** @type {[EventTarget, string][]} */
    const events = [
      [document, "queued"],
      [window, "online"],
      [document, "visibilitychange"],
    ];
    for (const [index, [target, name]] of events.entries()) {
      target.dispatchEvent(new Event(name));
      await quiet();
      assert.equal(service.asked.length, index + 2, name);
    }
  });

  test("tries at once after a tap, and then soon again, however often it tried before", async (t) => {
    const { send: sending, service } = await tablet(t);
    service.isThere = false;
    sending.begin();
    for (const seconds of [0, 1, 2, 4, 8]) await pass(seconds * 1000);
    document.dispatchEvent(new Event("queued"));
    await quiet();
    const before = service.asked.length;
    await pass(1000);
    assert.equal(service.asked.length, before + 1);
  });

  test("knows at once when the network is gone", async (t) => {
    const { send: sending } = await tablet(t);
    sending.begin();
    await quiet();
    assert.equal(sending.net.online, true);
    window.dispatchEvent(new Event("offline"));
    assert.equal(sending.net.online, false);
  });
});
