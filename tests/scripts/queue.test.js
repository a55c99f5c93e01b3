// The queue: what was tapped stays, in its order, until it arrived or somebody takes it out.

import assert from "node:assert/strict";
import { describe, mock, test } from "node:test";
import { IDBObjectStore } from "fake-indexeddb";
import {
  ANNA,
  BEN,
  CAR,
  fullStore,
  ids,
  move,
  pass,
  SECOND_CAR,
  stop,
  tablet,
  tap,
  UNDO_MS,
  undoable,
  until,
} from "./tablet.js";

/** @import { Action, Begun } from "../../jobs/tablet/static/jobs/tablet/queue.js" */
/** @typedef {import("./tablet.js").Opened["queue"]} Queue */

/**
 * Return what is queued under an id.
 *
 * @param {Queue} queue
 * @param {string} id
 * @returns {Promise<Action>}
 */
async function kept(queue, id) {
  const found = (await queue.all()).find((action) => action.id === id);
  assert.ok(found, `${id} is not in the queue`);
  return found;
}

/**
 * Return the versions of what is queued.
 *
 * @param {Queue} queue
 */
const versions = async (queue) => (await queue.all()).map(({ version }) => version);

/**
 * Begin to send what is queued under an id.
 *
 * @param {Queue} queue
 * @param {string} id
 * @returns {Promise<Begun>}
 */
async function begun(queue, id) {
  const action = await queue.begin(await kept(queue, id), () => "{}");
  assert.ok(action, `${id} cannot be sent`);
  return action;
}

const NOW = Date.parse("2027-03-01T09:01:00Z");
const ARRIVED = { at: NOW, version: undefined, photoId: undefined };

describe("what is tapped", () => {
  test("stays in the order of the taps", async (t) => {
    const { queue } = await tablet(t);
    const taps = ["arrival", "move", "task_start", "hold"].map((kind) => tap(kind));
    for (const fresh of taps) await queue.add([fresh], 4);
    assert.deepEqual(ids(await queue.all()), ids(taps));
  });

  test("is there when the browser is opened again", async (t) => {
    const { queue, tablet: device } = await tablet(t);
    const [picture, finding] = stop(1);
    assert.ok(picture && finding);
    await queue.add([picture, finding], 4);
    const { queue: reopened } = await device.open();
    const [first, second] = await reopened.all();
    assert.equal(first?.id, picture.id);
    assert.deepEqual(second?.body, finding.body);
    assert.equal(second?.madeAt, finding.madeAt);
    assert.equal(await first?.photo?.text(), "picture");
  });

  test("is told of in every window", async (t) => {
    const { queue, tablet: device } = await tablet(t);
    const second = await device.open();
    let heard = 0;
    second.queue.onChange(() => {
      heard += 1;
    });
    await queue.add([tap("move")], 4);
    await until(() => heard > 0, "the other window to hear of it");
    let here = 0;
    queue.onChange(() => {
      here += 1;
    });
    await queue.add([tap("move")], 4);
    assert.equal(here, 1);
  });

  test("is told of whatever becomes of it", async (t) => {
    const { queue } = await tablet(t);
    let heard = 0;
    queue.onChange(() => {
      heard += 1;
    });
    const [first, second, third] = [tap("finding"), tap("finding"), tap("finding")];
    /** @type {[string, () => Promise<unknown>][]} */
    const changes = [
      ["added", () => queue.add([first, second, third], 4)],
      ["hurried", () => queue.hurry(ANNA)],
      ["stopped", async () => queue.stopped(await kept(queue, first.id), queue.REFUSED, {})],
      ["again", async () => queue.again(await kept(queue, first.id))],
      ["without", async () => queue.without(await kept(queue, first.id))],
      ["arrived", async () => queue.arrived(await begun(queue, first.id), ARRIVED)],
      ["stood", async () => queue.stood(await begun(queue, second.id), { at: NOW, version: 5 })],
      ["dropped", async () => queue.drop(await kept(queue, third.id))],
      ["undone", () => queue.undo("whatever")],
    ];
    for (const [index, [what, change]] of changes.entries()) {
      await change();
      assert.equal(heard, index + 1, what);
    }
  });

  test("is read as an earlier release left it", async (t) => {
    const { queue } = await tablet(t);
    const asked = indexedDB.open("shutline-tablet", 1);
    await new Promise((resolve) => {
      asked.onupgradeneeded = () => {
        const actions = { keyPath: "seq", autoIncrement: true };
        asked.result.createObjectStore("actions", actions).add({
          ...tap("seen", { id: "old" }),
          needs: undefined,
          version: 3,
          state: "waiting",
          begun: null,
        });
        asked.result.createObjectStore("versions", { keyPath: "job" });
        asked.result.createObjectStore("sent", { keyPath: "id" });
      };
      asked.onsuccess = () => {
        asked.result.close();
        resolve(undefined);
      };
    });
    assert.equal(queue.leftMs(await kept(queue, "old")), 0);
    await queue.arrived(await begun(queue, "old"), { ...ARRIVED, photoId: "none of its own" });
    assert.deepEqual(await queue.all(), []);
  });

  test("is not taken for nothing when the store cannot be read", async (t) => {
    const { queue } = await tablet(t);
    const unread = mock.method(IDBObjectStore.prototype, "getAll", () => {
      const asked = { error: new DOMException("The disk is broken."), onerror: () => undefined };
      setImmediate(() => asked.onerror());
      return asked;
    });
    await assert.rejects(queue.all(), /The disk is broken/);
    unread.mock.restore();
    assert.deepEqual(await queue.all(), []);
  });

  test("is kept whole or not at all when the store is full", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([tap("arrival")], 4);
    const full = fullStore(2);
    await assert.rejects(queue.add(stop(1), 4), /There is no space left/);
    full.mock.restore();
    assert.deepEqual(
      (await queue.all()).map(({ kind }) => kind),
      ["arrival"],
    );
  });

  test("is not called kept when the store gives up while it writes", async (t) => {
    const { queue } = await tablet(t);
    const full = fullStore(1);
    full.mock.mockImplementation(
      /** @this {IDBObjectStore} */ function giveUp() {
        this.transaction.abort();
        return /** @type {IDBRequest<IDBValidKey>} */ ({});
      },
    );
    await assert.rejects(queue.add([tap("move")], 4), /could not be written/);
    full.mock.restore();
    assert.deepEqual(await queue.all(), []);
  });

  test("is refused while another window keeps the store, and taken when it is free", async (t) => {
    const { queue } = await tablet(t);
    const open = mock.method(indexedDB, "open", () => {
      const asked = /** @type {{ onblocked?: () => void }} */ ({});
      setImmediate(() => asked.onblocked?.());
      return asked;
    });
    await assert.rejects(queue.add([tap("move")], 4), /Another window keeps the queue open/);
    open.mock.restore();
    await queue.add([tap("move")], 4);
    assert.equal((await queue.all()).length, 1);
  });

  test("is refused with what the store says when it does not open, and taken later", async (t) => {
    const { queue } = await tablet(t);
    const open = mock.method(indexedDB, "open", () => {
      const asked = { error: new DOMException("The disk is broken."), onerror: () => undefined };
      setImmediate(() => asked.onerror());
      return asked;
    });
    await assert.rejects(queue.all(), /The disk is broken/);
    open.mock.restore();
    await queue.add([tap("move")], 4);
    assert.equal((await queue.all()).length, 1);
  });

  test("has an id that no other has, also where the address is not secure", async (t) => {
    const { queue } = await tablet(t);
    const form = /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
    assert.match(queue.newId(), form);
    const secure = crypto.randomUUID;
    Object.defineProperty(crypto, "randomUUID", { value: undefined, configurable: true });
    t.after(() => Object.defineProperty(crypto, "randomUUID", { value: secure }));
    const made = Array.from({ length: 50 }, () => queue.newId());
    for (const id of made) assert.match(id, form);
    assert.equal(new Set(made).size, made.length);
  });
});

describe("the version that an action is sent against", () => {
  test("counts what the taps before it will have raised", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([tap("arrival")], 4);
    await queue.add([move("cleaning")], 4);
    await queue.add([tap("task_start")], 4);
    await queue.add([tap("hold")], 4);
    await queue.add([move("cleaning", { job: SECOND_CAR })], 9);
    assert.deepEqual(await versions(queue), [4, 5, 6, 6, 9]);
  });

  test("is the service's last word where the page is older", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([tap("arrival")], 4);
    await undoable();
    const { id } = (await queue.all())[0] ?? assert.fail();
    await queue.arrived(await begun(queue, id), { ...ARRIVED, version: 12 });
    await queue.add([move("cleaning")], 4);
    assert.deepEqual(await versions(queue), [12]);
  });

  test("is the page's where the page is newer", async (t) => {
    const { queue } = await tablet(t);
    const arrival = tap("arrival");
    await queue.add([arrival], 4);
    await undoable();
    await queue.arrived(await begun(queue, arrival.id), { ...ARRIVED, version: 5 });
    await queue.add([move("cleaning")], 8);
    assert.deepEqual(await versions(queue), [8]);
  });

  test("goes up for what an urgent one overtook, and not for what was begun", async (t) => {
    const { queue } = await tablet(t);
    const [begunMove, waiting] = [move("cleaning"), move("correction")];
    await queue.add([move("cleaning", { job: SECOND_CAR })], 9);
    await queue.add([begunMove], 4);
    await queue.add([waiting], 4);
    const [finding] = stop();
    await queue.add([finding], 4);
    await undoable();
    await begun(queue, begunMove.id);
    await queue.arrived(await begun(queue, finding.id), ARRIVED);
    assert.equal((await queue.sentLately())[0]?.version, 5);
    assert.deepEqual(await versions(queue), [9, 4, 6]);
    await queue.add([tap("task_start")], 4);
    assert.deepEqual(await versions(queue), [9, 4, 6, 7]);
  });

  test("stays as it is when something arrived that raises none", async (t) => {
    const { queue } = await tablet(t);
    const note = tap("finding");
    for (const fresh of [move("cleaning"), note, move("correction")]) await queue.add([fresh], 4);
    await undoable();
    await queue.arrived(await begun(queue, note.id), ARRIVED);
    assert.deepEqual(await versions(queue), [4, 5]);
    assert.equal((await queue.sentLately())[0]?.version, 5);
  });

  test("goes on within one tap", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([tap("arrival"), move("cleaning"), move("correction")], 4);
    assert.deepEqual(await versions(queue), [4, 5, 6]);
  });

  test("starts from what somebody else made of the car", async (t) => {
    const { queue } = await tablet(t);
    const [first, second, third] = [move("cleaning"), move("correction"), move("coating")];
    for (const fresh of [first, second, third]) await queue.add([fresh], 4);
    await undoable();
    await queue.stood(await begun(queue, first.id), { at: ARRIVED.at, version: 7 });
    assert.deepEqual(ids(await queue.all()), ids([second, third]));
    assert.deepEqual(await versions(queue), [7, 8]);
    assert.deepEqual(
      (await queue.sentLately()).map(({ id, version }) => [id, version]),
      [[first.id, 7]],
    );
  });
});

describe("undoing", () => {
  test("takes a tap out until its time is over", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    await pass(UNDO_MS - 1);
    assert.equal(queue.leftMs(await kept(queue, fresh.id)), 1);
    assert.deepEqual(ids((await queue.undo(fresh.id)) ?? []), [fresh.id]);
    assert.deepEqual(await queue.all(), []);
  });

  test("takes the pictures of a tap along", async (t) => {
    const { queue } = await tablet(t);
    const picture = tap("photo", { photo: new Blob(["picture"]) });
    const finding = tap("finding", { needs: [picture.id] });
    await queue.add([picture, finding], 4);
    const stays = tap("photo", { photo: new Blob(["another"]) });
    await queue.add([stays], 4);
    await queue.undo(picture.id);
    assert.deepEqual(ids(await queue.all()), [stays.id]);
  });

  test("of an arrival takes everything on that car, and nothing of another", async (t) => {
    const { queue } = await tablet(t);
    const arrival = tap("arrival");
    const rests = [tap("finding"), tap("task_start"), move("cleaning")];
    const elsewhere = move("cleaning", { job: SECOND_CAR });
    for (const fresh of [arrival, ...rests, elsewhere]) await queue.add([fresh], 4);
    const went = (await queue.undo(arrival.id)) ?? [];
    assert.deepEqual(ids(went), ids([arrival, ...rests]));
    assert.deepEqual(ids(await queue.all()), [elsewhere.id]);
  });

  test("takes later changes of the car's state, and leaves notes beside it", async (t) => {
    const { queue } = await tablet(t);
    const first = move("cleaning");
    const note = tap("finding");
    const later = tap("hold");
    const collection = tap("collection");
    for (const fresh of [first, note, later, collection]) await queue.add([fresh], 4);
    assert.deepEqual(
      ids(queue.goingWith(first.id, await queue.all())),
      ids([first, later, collection]),
    );
    assert.deepEqual(
      ids(queue.goingWith(note.id, await queue.all())),
      ids([note, later, collection]),
    );
  });

  test("takes what was done to the same task, clock or hold", async (t) => {
    const { queue } = await tablet(t);
    const of = (/** @type {string} */ end) => ({ path: `/api/v1/jobs/${CAR}/${end}` });
    const start = tap("task_start", of("tasks/wash/start"));
    const finish = tap("task_finish", of("tasks/wash/finish"));
    const used = tap("use", { ...of("uses"), body: { task_id: "wash" } });
    const another = tap("task_start", of("tasks/glass/start"));
    const felt = tap("touch_test", of("clocks/wash-clock/touch-tests"));
    for (const fresh of [start, finish, used, another, felt]) await queue.add([fresh], 4);
    assert.deepEqual(ids((await queue.undo(start.id)) ?? []), ids([start, finish, used]));
    assert.deepEqual(ids(await queue.all()), ids([another, felt]));
  });

  test("leaves a do-not-drive alone, whatever it was tapped after", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    const [finding] = stop();
    await queue.add([fresh], 4);
    await queue.add([finding], 4);
    await queue.undo(fresh.id);
    assert.deepEqual(ids(await queue.all()), [finding.id]);
  });

  test("counts the versions of what stays anew", async (t) => {
    const { queue } = await tablet(t);
    const start = tap("task_start", { path: `/api/v1/jobs/${CAR}/tasks/wash/start`, raises: true });
    await queue.add([start], 4);
    await queue.add([tap("finding")], 4);
    assert.deepEqual(await versions(queue), [4, 5]);
    await queue.undo(start.id);
    assert.deepEqual(await versions(queue), [4]);
  });

  test("is too late for what is being sent, and for all that goes with it", async (t) => {
    const { queue } = await tablet(t);
    const [arrival, later] = [tap("arrival"), move("cleaning")];
    await queue.add([arrival], 4);
    await pass(UNDO_MS / 2);
    await queue.add([later], 4);
    await pass(UNDO_MS / 2);
    await begun(queue, arrival.id);
    assert.equal(queue.leftMs(await kept(queue, arrival.id)), 0);
    assert.equal(await queue.undo(arrival.id), null);
    assert.deepEqual(ids(await queue.all()), ids([arrival, later]));
  });

  test("of what is not there takes nothing", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([move("cleaning")], 4);
    assert.equal(await queue.undo("a tap that arrived"), null);
    assert.equal((await queue.all()).length, 1);
  });

  test("keeps nothing waiting when the clock is set back", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    mock.timers.setTime(Date.now() - 3_600_000);
    assert.equal(queue.leftMs(await kept(queue, fresh.id)), 0);
  });

  test("ends at once for who leaves, and for nobody else", async (t) => {
    const { queue } = await tablet(t);
    const [mine, theirs] = [move("cleaning"), move("cleaning", { person: BEN, job: SECOND_CAR })];
    await queue.add([mine], 4);
    await queue.add([theirs], 4);
    await queue.hurry(ANNA);
    assert.equal(queue.leftMs(await kept(queue, mine.id)), 0);
    assert.equal(queue.leftMs(await kept(queue, theirs.id)), UNDO_MS);
  });

  test("is not offered for a do-not-drive, nor any longer for its car's arrival", async (t) => {
    const { queue } = await tablet(t);
    const [arrival, elsewhere] = [tap("arrival"), tap("arrival", { job: SECOND_CAR })];
    const [finding] = stop();
    for (const fresh of [arrival, elsewhere, finding]) await queue.add([fresh], 4);
    assert.equal(queue.leftMs(await kept(queue, finding.id)), 0);
    assert.equal(queue.leftMs(await kept(queue, arrival.id)), 0);
    assert.equal(queue.leftMs(await kept(queue, elsewhere.id)), UNDO_MS);
  });
});

describe("sending", () => {
  test("begins when a tap can be undone no more", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    assert.equal(await queue.begin(await kept(queue, fresh.id), () => "{}"), null);
    await undoable();
    assert.equal((await begun(queue, fresh.id)).id, fresh.id);
  });

  test("fixes what is sent at the first attempt", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    await undoable();
    const action = await kept(queue, fresh.id);
    const first = await queue.begin(action, ({ version }) => `first, against ${version}`);
    const second = await queue.begin(action, () => "second");
    assert.equal(first?.begun, "first, against 4");
    assert.equal(second?.begun, "first, against 4");
    assert.equal((await kept(queue, fresh.id)).begun, "first, against 4");
  });

  test("begins with nothing that was taken out meanwhile, or was refused", async (t) => {
    const { queue } = await tablet(t);
    const [gone, refused] = [move("cleaning"), move("cleaning", { job: SECOND_CAR })];
    await queue.add([gone], 4);
    await queue.add([refused], 4);
    const [first, second] = await queue.all();
    assert.ok(first && second);
    await queue.drop(first);
    await undoable();
    await queue.stopped(second, queue.REFUSED, { detail: "No." });
    assert.equal(await queue.begin(first, () => "{}"), null);
    assert.equal(await queue.begin(second, () => "{}"), null);
  });
});

describe("what arrived", () => {
  test("leaves the queue and is remembered, without its picture", async (t) => {
    const { queue } = await tablet(t);
    const picture = tap("photo", { photo: new Blob(["picture"]) });
    await queue.add([picture], 4);
    await undoable();
    await queue.arrived(await begun(queue, picture.id), { ...ARRIVED, photoId: "there" });
    assert.deepEqual(await queue.all(), []);
    const [sent] = await queue.sentLately();
    assert.equal(sent?.id, picture.id);
    assert.equal(sent?.at, ARRIVED.at);
    assert.equal(sent?.photo, null);
    assert.equal(sent?.begun, null);
  });

  test("is forgotten after two days", async (t) => {
    const { queue } = await tablet(t);
    const hours = (/** @type {number} */ count) => ARRIVED.at + count * 3_600_000;
    for (const at of [hours(0), hours(1), hours(48.5)]) {
      const fresh = tap("finding");
      await queue.add([fresh], 4);
      await undoable();
      await queue.arrived(await begun(queue, fresh.id), { ...ARRIVED, at });
    }
    const left = (await queue.sentLately()).map(({ at }) => at);
    assert.deepEqual(left, [hours(1), hours(48.5)]);
  });

  test("is remembered in the order of the taps", async (t) => {
    const { queue } = await tablet(t);
    const fresh = ["c", "a", "b"].map((id) => tap("finding", { id }));
    for (const action of fresh) await queue.add([action], 4);
    await undoable();
    for (const id of ["b", "c", "a"]) await queue.arrived(await begun(queue, id), ARRIVED);
    assert.deepEqual(ids(await queue.sentLately()), ["c", "a", "b"]);
  });

  test("gives its picture's name to what goes with it", async (t) => {
    const { queue } = await tablet(t);
    const [first, second, finding] = stop(2);
    assert.ok(first && second && finding);
    await queue.add([first, second, finding], 4);
    const apart = tap("finding");
    await queue.add([apart], 4);
    await queue.arrived(await begun(queue, first.id), { ...ARRIVED, photoId: "there-1" });
    assert.deepEqual((await kept(queue, apart.id)).body, {});
    assert.deepEqual((await kept(queue, finding.id)).needs, [second.id]);
    await queue.arrived(await begun(queue, second.id), { ...ARRIVED, photoId: "there-2" });
    const action = await kept(queue, finding.id);
    assert.deepEqual(action.needs, []);
    assert.deepEqual(action.body.photo_ids, ["there-1", "there-2"]);
  });

  test("leaves nothing waiting for a picture that does not come", async (t) => {
    const { queue } = await tablet(t);
    const [picture, finding] = stop(1);
    assert.ok(picture && finding);
    await queue.add([picture, finding], 4);
    await queue.without(await kept(queue, picture.id));
    assert.deepEqual((await kept(queue, finding.id)).needs, []);
    assert.equal((await kept(queue, finding.id)).urgent, true);
    assert.equal((await kept(queue, picture.id)).urgent, false);
  });
});

describe("what was not taken", () => {
  test("stays with what the service said, and is as if it had not begun", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    await undoable();
    const problem = { detail: "It is on hold.", code: "on_hold" };
    await queue.stopped(await begun(queue, fresh.id), queue.CONFLICT, problem);
    const action = await kept(queue, fresh.id);
    assert.deepEqual([action.state, action.begun], ["conflict", null]);
    assert.deepEqual(action.problem, problem);
  });

  test("is not put back when it was deleted meanwhile", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([move("cleaning")], 4);
    const [action] = await queue.all();
    assert.ok(action);
    await queue.drop(action);
    await queue.stopped(action, queue.REFUSED, {});
    assert.deepEqual(await queue.all(), []);
  });

  test("goes out once more against what stands there, with a word more", async (t) => {
    const { queue } = await tablet(t);
    const [mine, behind] = [move("cleaning"), tap("hold")];
    await queue.add([mine], 4);
    await queue.add([behind], 4);
    await undoable();
    const problem = { current: { version: 8 } };
    await queue.stopped(await begun(queue, mine.id), queue.CONFLICT, problem);
    await queue.again(await kept(queue, mine.id), { confirm: true });
    const action = await kept(queue, mine.id);
    assert.deepEqual([action.state, action.problem], ["waiting", null]);
    assert.deepEqual(action.body, { to: "cleaning", confirm: true });
    assert.deepEqual(await versions(queue), [8, 9]);
    await queue.add([tap("finding")], 4);
    assert.deepEqual(await versions(queue), [8, 9, 10]);
  });

  test("goes out no more when it is gone", async (t) => {
    const { queue } = await tablet(t);
    await queue.add([move("cleaning")], 4);
    const [action] = await queue.all();
    assert.ok(action);
    await queue.drop(action);
    await queue.again(action);
    assert.deepEqual(await queue.all(), []);
  });

  test("is deleted from between others, which are counted from the first", async (t) => {
    const { queue } = await tablet(t);
    const taps = [tap("arrival"), move("cleaning"), move("correction")];
    for (const fresh of taps) await queue.add([fresh], 4);
    await queue.drop(await kept(queue, taps[1]?.id ?? ""));
    assert.deepEqual(await versions(queue), [4, 5]);
  });

  test("is gone for good when it is deleted, and what is behind it moves up", async (t) => {
    const { queue } = await tablet(t);
    const [mine, behind] = [move("cleaning"), tap("hold")];
    await queue.add([mine], 4);
    await queue.add([behind], 4);
    assert.equal(await queue.drop(await kept(queue, mine.id)), true);
    assert.deepEqual(ids(await queue.all()), [behind.id]);
    assert.deepEqual(await versions(queue), [4]);
  });

  test("takes along what the service said of the car when it is deleted", async (t) => {
    const { queue } = await tablet(t);
    const [mine, behind] = [move("cleaning"), tap("hold")];
    await queue.add([mine], 4);
    await queue.add([behind], 4);
    await undoable();
    const problem = { current: { version: 8 } };
    await queue.stopped(await begun(queue, mine.id), queue.CONFLICT, problem);
    await queue.drop(await kept(queue, mine.id));
    assert.deepEqual(await versions(queue), [8]);
  });

  test("is not deleted while it may have been done there", async (t) => {
    const { queue } = await tablet(t);
    const fresh = move("cleaning");
    await queue.add([fresh], 4);
    const before = await kept(queue, fresh.id);
    await undoable();
    await begun(queue, fresh.id);
    assert.equal(await queue.drop(before), false);
    assert.deepEqual(ids(await queue.all()), [fresh.id]);
  });

  test("keeps no finding waiting for its picture when that is deleted", async (t) => {
    const { queue } = await tablet(t);
    const picture = tap("photo", { photo: new Blob(["picture"]) });
    const finding = tap("finding", { needs: [picture.id] });
    await queue.add([picture, finding], 4);
    await queue.drop(await kept(queue, picture.id));
    assert.deepEqual((await kept(queue, finding.id)).needs, []);
  });
});
