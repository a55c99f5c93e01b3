// A page that is out of date is loaded again, but never while somebody is at it.

import assert from "node:assert/strict";
import { describe, test } from "node:test";
import { BEN, CAR, move, pass, quiet, SECOND_CAR, tablet, tap, undoable } from "./tablet.js";

/** @import { TestContext } from "node:test" */

const REST_MS = 3000;
const ANEW_SECONDS = 60;

/**
 * Let seconds pass, one after the other.
 *
 * @param {number} count
 */
async function seconds(count) {
  for (let second = 0; second < count; second += 1) await pass(1000);
}

/**
 * Return a page that nobody has touched for a while, and how often it was loaded again.
 *
 * @param {TestContext} t
 * @param {string} [html]
 * @param {{ isKept?: boolean, isOut?: boolean, isOffline?: boolean }} [how]
 */
async function open(t, html = `<div data-car="${CAR}"></div>`, how = {}) {
  const opened = await tablet(t, { html });
  if (how.isKept)
    document.head.append(Object.assign(document.createElement("meta"), { name: "kept" }));
  let count = 0;
  const reload = () => {
    count += 1;
  };
  Object.defineProperty(globalThis, "location", { value: { reload }, configurable: true });
  opened.send.net.online = !how.isOffline;
  (await opened.fresh()).freshen();
  await quiet();
  if (how.isOut ?? true) document.dispatchEvent(new Event("outdated"));
  return { ...opened, loaded: () => count };
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

describe("a page", () => {
  test("that is out of date is loaded again, once, when nobody has touched it for a while", async (t) => {
    const { loaded } = await open(t);
    await pass(REST_MS - 1);
    assert.equal(loaded(), 0);
    await seconds(1);
    assert.equal(loaded(), 1);
    await seconds(10);
    assert.equal(loaded(), 1);
  });

  test("that is up to date stays", async (t) => {
    const { loaded } = await open(t, undefined, { isOut: false });
    await seconds(ANEW_SECONDS);
    assert.equal(loaded(), 0);
  });

  for (const event of ["pointerdown", "keydown", "input", "scroll"]) {
    test(`is left alone while somebody is at it: ${event}`, async (t) => {
      const { loaded } = await open(t);
      await seconds(2);
      document.dispatchEvent(new Event(event));
      await pass(REST_MS - 1);
      assert.equal(loaded(), 0);
      await seconds(1);
      assert.equal(loaded(), 1);
    });
  }

  test("waits for what is sent, for the network, and to be looked at", async (t) => {
    const { loaded, send } = await open(t);
    send.net.sending = true;
    await seconds(6);
    Object.assign(send.net, { sending: false, online: false });
    await seconds(3);
    send.net.online = true;
    Object.defineProperty(document, "hidden", { value: true, configurable: true });
    await seconds(3);
    assert.equal(loaded(), 0);
    Object.defineProperty(document, "hidden", { value: false, configurable: true });
    await seconds(1);
    assert.equal(loaded(), 1);
  });

  test("of another kind stays as it is", async (t) => {
    const { loaded } = await open(t, "<p>Settings</p>");
    await seconds(ANEW_SECONDS);
    assert.equal(loaded(), 0);
  });

  test("that was kept is brought up to date, but not more often than every minute", async (t) => {
    const { loaded, tablet: device } = await open(t, undefined, { isKept: true, isOut: false });
    await seconds(3);
    assert.equal(loaded(), 1);
    const again = await device.open(); // the page that is loaded was kept as well
    (await again.fresh()).freshen();
    await seconds(ANEW_SECONDS - 1);
    assert.equal(loaded(), 1);
    await seconds(1);
    assert.equal(loaded(), 2);
  });
});

describe("what waits of mine", () => {
  test("keeps the page until it is sent; then it is out of date", async (t) => {
    const { loaded, queue, send } = await open(t, undefined, { isOut: false });
    await queue.add([move("cleaning")], 4);
    await seconds(3);
    assert.equal(loaded(), 0);
    await undoable();
    assert.equal(loaded(), 0);
    await send.send();
    await seconds(3);
    assert.equal(loaded(), 1);
  });

  test("keeps it although it is out of date", async (t) => {
    const { loaded, queue } = await open(t);
    await queue.add([tap("finding")], 4);
    await seconds(ANEW_SECONDS);
    assert.equal(loaded(), 0);
  });

  test("of another car or person, or refused, does not keep it", async (t) => {
    const { loaded, queue } = await open(t);
    await queue.add([tap("finding", { job: SECOND_CAR })], 4);
    await queue.add([tap("finding", { person: BEN })], 4);
    await queue.add([tap("finding")], 4);
    const refused = (await queue.all()).at(-1) ?? assert.fail();
    await queue.stopped(refused, queue.REFUSED, {});
    await seconds(4);
    assert.equal(loaded(), 1);
  });
});

describe("the network's return", () => {
  test("makes a page old", async (t) => {
    const { loaded, send, service } = await open(t, undefined, { isOut: false, isOffline: true });
    await seconds(4);
    assert.equal(loaded(), 0);
    assert.ok(service.isThere);
    await send.send();
    await seconds(1);
    assert.equal(loaded(), 1);
    await send.send(); // it is still there, and news of nothing
    await seconds(4);
    assert.equal(loaded(), 1);
    service.isThere = false;
    await send.send();
    service.isThere = true;
    await send.send();
    await seconds(1);
    assert.equal(loaded(), 2);
  });
});

describe("something begun and not sent", () => {
  /** @type {[string, string, () => void][]} */
  const BEGUN = [
    [
      "a text",
      "<input>",
      () => {
        part("input").value = "A dent";
      },
    ],
    [
      "a note",
      "<textarea></textarea>",
      () => {
        part("textarea").value = "A dent";
      },
    ],
    [
      "a tick",
      '<input type="checkbox">',
      () => {
        part("input").checked = true;
      },
    ],
    [
      "a choice",
      "<select><option>1<option>2</select>",
      () => {
        part("select").selectedIndex = 1;
      },
    ],
    ["a field that is being filled in", "<input>", () => part("input").focus()],
    [
      "a picture",
      '<input type="file">',
      () => Object.defineProperty(part("input"), "files", { value: [1] }),
    ],
    ["what asks to be left", "<p></p>", () => part("main p").toggleAttribute("data-no-reload")],
    ["a question", "<dialog></dialog>", () => part("dialog").setAttribute("open", "")],
  ];
  for (const [what, html, begin] of BEGUN) {
    test(`keeps the page: ${what}`, async (t) => {
      const { loaded } = await open(t, `<div data-car="${CAR}">${html}</div>`);
      begin();
      await seconds(ANEW_SECONDS);
      assert.equal(loaded(), 0);
    });
  }

  test("is not what the page came with", async (t) => {
    const { loaded } = await open(
      t,
      `<div data-car="${CAR}"><input value="1"><textarea>2</textarea><input type="file">
       <input type="radio" checked><input type="hidden" value="3">
       <select><option>4<option selected>5</select><select><option>6</select></div>`,
    );
    part("input[type=hidden]").value = "set by a script";
    // happy-dom does not know it.
    Object.defineProperty(part("option[selected]"), "defaultSelected", { value: true });
    await seconds(4);
    assert.equal(loaded(), 1);
  });
});
