// A form of the class `act` becomes an action in the queue, or says why it did not.

import assert from "node:assert/strict";
import { describe, test } from "node:test";
import { ANNA, CAR, fullStore, pass, quiet, tablet, turn, UNDO_MS, until } from "./tablet.js";

/** @import { TestContext } from "node:test" */

const FORM = `class="act" data-job="${CAR}" data-time="occurred_at"`;

/**
 * Return the page of a car with this on it, and a hand that taps its button.
 *
 * @param {TestContext} t
 * @param {string} html
 * @param {string} [more] about the car
 */
async function page(t, html, more = "") {
  const around = `<div data-car="${CAR}" data-version="7" ${more}><h1 class="mark">JT21 ABC</h1>${html}</div>`;
  const opened = await tablet(t, { html: around, hasForms: true });
  await opened.act();
  return {
    ...opened,
    /** @param {string} [selector] */
    tapped: async (selector = "form.act button") => {
      part(selector).click();
      await quiet();
      return opened.queue.all();
    },
  };
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

/**
 * Have files stand in a field, as if somebody had taken pictures.
 *
 * @param {string[]} contents
 */
function taken(...contents) {
  const chosen = new DataTransfer();
  for (const content of contents) chosen.items.add(new File([content], "picture.jpg"));
  part("input[type=file]").files = chosen.files;
}

describe("a form that is sent", () => {
  test("becomes an action with who, when, where and what", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/api/v1/jobs/${CAR}/moves" data-kind="move" data-says="Move to cleaning"
       data-raises><input type="hidden" name="to" value="cleaning"><button>Move</button></form>`,
    );
    const [action] = await tapped();
    assert.ok(action);
    const { id, seq, tap, notBefore, ...rest } = action;
    assert.match(id, /^[0-9a-f-]{36}$/);
    assert.deepEqual([tap, typeof seq, typeof notBefore], [id, "number", "number"]);
    assert.deepEqual(rest, {
      job: CAR,
      car: "JT21 ABC",
      kind: "move",
      says: "Move to cleaning",
      path: `/api/v1/jobs/${CAR}/moves`,
      time: "occurred_at",
      madeAt: "2027-03-01T09:00:00.000Z",
      person: ANNA,
      personName: "Anna",
      raises: true,
      unchecked: false,
      urgent: false,
      needs: [],
      photo: null,
      body: { to: "cleaning" },
      undoMs: UNDO_MS,
      version: 7,
      state: "waiting",
      begun: null,
      problem: null,
    });
  });

  test("says what its fields hold by their types, and nothing of empty ones", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="walk_round" data-says="Walk-round">
       <input name="mileage" data-type="number" value=" 41000 "><input name="keys" data-type="number">
       <input name="damage" data-type="json" value='[{"area":"bonnet"}]'>
       <input type="checkbox" name="right" data-type="bool" checked>
       <input type="checkbox" name="lights" value="oil" data-type="list" checked>
       <input type="checkbox" name="lights" value="brakes" data-type="list" checked>
       <input name="belonging.what" value="phone"><input name="belonging.kept_at" value="office">
       <input name="notes" value="   "><input name="csrfmiddlewaretoken" value="token">
       <button>Record</button></form>`,
    );
    const [action] = await tapped();
    assert.deepEqual(action?.body, {
      mileage: 41000,
      damage: [{ area: "bonnet" }],
      right: true,
      lights: ["oil", "brakes"],
      belonging: { what: "phone", kept_at: "office" },
    });
  });

  test("is refused where it names a type that nothing reads", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="seen" data-says="Seen"><input name="at" value="1"
       data-type="date"><button>Seen</button></form>`,
    );
    assert.deepEqual(await tapped(), []);
    assert.match(part(".not-kept").textContent, /Nothing reads a text as date/);
  });

  test("says in words what was chosen", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="use" data-says="{product} on {area}, {dry}, {note}{gone}">
       <select name="product"><option value="p1">Wax</option><option value="p2" selected>Sealant
       </option></select>
       <input type="radio" name="area" value="a1" id="a1" checked><label for="a1"> Bonnet </label>
       <input name="note" value="thin"><button name="dry" value="true" data-says="dry">Dry</button>
       </form>`,
    );
    const [action] = await tapped();
    assert.equal(action?.says, "Sealant on Bonnet, dry, thin");
  });

  test("is about no car where it names none, and takes the time where it says so", async (t) => {
    const { tapped } = await page(
      t,
      `<form class="act" action="/there" data-kind="reading" data-says="Reading" data-time="at">
       <input name="celsius" data-type="number" value="-3"><button>Save</button></form>`,
    );
    const [action] = await tapped();
    assert.deepEqual([action?.job, action?.time, action?.version], ["", "at", 0]);
    assert.deepEqual(action?.body, { celsius: -3 });
  });

  /** @type {[string, string, [boolean, boolean, boolean]][]} what it raises, unchecked, urgently */
  const WEIGHED = [
    ['data-kind="finding"', '<input name="weight" value="note">', [false, false, false]],
    ['data-kind="finding"', '<input name="weight" value="do_not_drive">', [true, true, true]],
    ['data-kind="finding" data-urgent', "", [true, true, true]],
    ['data-kind="seen" data-urgent', "", [false, false, false]],
    [
      'data-kind="request"',
      '<input name="hold" value="true" data-type="bool">',
      [true, true, false],
    ],
    ['data-kind="request"', "", [false, false, false]],
    ['data-kind="clear" data-raises="unchecked"', "", [true, true, false]],
  ];
  for (const [kind, fields, expected] of WEIGHED) {
    test(`goes before all and holds the car where it must: ${kind} ${fields}`, async (t) => {
      const { tapped } = await page(
        t,
        `<form ${FORM} action="/there" ${kind} data-says="Said">${fields}<button>Send</button></form>`,
      );
      const [action] = await tapped();
      assert.deepEqual([action?.raises, action?.unchecked, action?.urgent], expected);
    });
  }

  test("tells the page, and is empty again", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="finding" data-says="Finding">
       <input name="noticed" value=""><button>Send</button></form>`,
    );
    /** @type {unknown[]} */
    const heard = [];
    document.addEventListener("queued", ({ detail }) => heard.push(detail));
    part("input[name=noticed]").value = "A dent";
    await tapped();
    assert.deepEqual(heard, [{ job: CAR, kind: "finding" }]);
    assert.equal(part("input[name=noticed]").value, "");
  });

  test("leads on where it says so", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="finding" data-says="Finding" data-then="#next">
       <button>Send</button></form>`,
    );
    await tapped();
    assert.equal(location.hash, "#next");
  });
});

describe("a form with pictures", () => {
  const html = (/** @type {string} */ kind) =>
    `<form ${FORM} action="/api/v1/jobs/${CAR}/${kind}s" data-kind="${kind}" data-says="A dent"
     data-raises><input name="area" value="bonnet"><input type="file" name="photo" multiple>
     <button>Send</button></form>`;

  test("puts them before what they belong to", async (t) => {
    const { tapped } = await page(t, html("finding"));
    taken("first", "second");
    const queued = await tapped();
    assert.deepEqual(
      queued.map(({ kind }) => kind),
      ["photo", "photo", "finding"],
    );
    const [first, second, finding] = queued;
    assert.deepEqual(finding?.needs, [first?.id, second?.id]);
    assert.deepEqual(finding?.body, { area: "bonnet" });
    assert.deepEqual(first?.body, { moment: "detail", area: "bonnet" });
    assert.deepEqual([first?.says, first?.raises], ["Picture: A dent", false]);
    assert.equal(first?.path, `/api/v1/jobs/${CAR}/photos`);
    assert.equal(new Set(queued.map(({ id }) => id)).size, 3);
    assert.equal(new Set(queued.map(({ tap }) => tap)).size, 1);
  });

  test("is nothing but them where it is about pictures", async (t) => {
    const { tapped } = await page(t, html("photo"));
    taken("only");
    const queued = await tapped();
    assert.deepEqual(
      queued.map(({ kind, body, says, needs }) => [kind, body, says, needs]),
      [["photo", { area: "bonnet" }, "A dent", []]],
    );
  });

  test("says so where a picture is empty", async (t) => {
    const { tapped } = await page(t, html("photo"));
    taken("");
    assert.deepEqual(await tapped(), []);
    assert.match(part(".not-kept").textContent, /The picture is empty/);
  });
});

describe("what cannot be kept on the tablet", () => {
  test("is said beside the form, which keeps what was typed", async (t) => {
    const { tapped } = await page(
      t,
      `<form ${FORM} action="/there" data-kind="finding" data-says="Finding">
       <input name="noticed"><button>Send</button></form>`,
    );
    part("input[name=noticed]").value = "A dent";
    const full = fullStore();
    assert.deepEqual(await tapped(), []);
    const words = /^Not kept on this tablet: There is no space left\. Write it down/;
    assert.match(part(".not-kept").textContent, words);
    assert.equal(part(".not-kept").getAttribute("role"), "alert");
    assert.equal(part("input[name=noticed]").value, "A dent");
    full.mock.restore();
    assert.equal((await tapped()).length, 1);
    assert.equal(part(".not-kept").hidden, true);
  });
});

describe("a glove that taps twice", () => {
  test("acts once, and moves the car once", async (t) => {
    const move = (/** @type {string} */ to) =>
      `<form ${FORM} action="/there" data-kind="move" data-says="Move" data-raises data-to="${to}">
       <input name="to" value="${to}"><button>Move</button></form>`;
    const { tapped, queue } = await page(t, move("cleaning") + move("correction"));
    for (const to of ["cleaning", "cleaning", "correction"]) {
      part(`form[data-to=${to}] button`).click();
      await turn();
    }
    await until(async () => (await queue.all()).length > 0, "the move to be kept");
    await quiet();
    assert.equal((await queue.all()).length, 1);
    await pass(599);
    assert.equal((await tapped("form[data-to=correction] button")).length, 1);
    await pass(1);
    assert.equal((await tapped("form[data-to=correction] button")).length, 2);
  });
});

describe("with something open", () => {
  const TASKS =
    '<p data-task="a" data-state="finished"></p><p data-task="b" data-state="started"></p>';
  const form = (/** @type {string} */ kind) =>
    `${TASKS}<form ${FORM} action="/there" data-kind="${kind}" data-to="ready" data-says="Said"
     data-raises><button>Do it</button></form>`;

  const lines = () =>
    [...document.querySelectorAll("dialog li")].map(({ textContent }) => textContent);

  test("the question is asked once, and no is no", async (t) => {
    const { tapped } = await page(t, form("move"));
    await tapped();
    assert.equal(part("dialog h2").textContent, "Is JT21 ABC ready?");
    assert.deepEqual(lines(), ["1 of 2 tasks is open."]);
    assert.deepEqual(await tapped("dialog button.big:not(.stop)"), []);
    assert.equal(document.querySelector("dialog"), null);
  });

  test("yes is taken along as the answer, but not from the tap that asked", async (t) => {
    const { tapped } = await page(t, form("move"));
    await tapped();
    assert.equal(part("dialog button.stop").disabled, true);
    await pass(600);
    const [action] = await tapped("dialog button.stop");
    assert.equal(action?.body.confirm, true);
  });

  test("a car that leaves is asked about in full", async (t) => {
    const { tapped } = await page(t, form("collection"), 'data-danger="yes" data-walked-out="no"');
    await tapped();
    assert.equal(part("dialog h2").textContent, "Is JT21 ABC leaving?");
    assert.deepEqual(lines(), [
      "This car must not be driven: what was found is not repaired.",
      "1 of 2 tasks is open.",
      "The walk-round on leaving is not recorded.",
    ]);
  });

  /** @type {[string, string, string][]} */
  const SILENT = [
    ["a move elsewhere", form("move").replace('data-to="ready"', 'data-to="coating"'), ""],
    ["anything else", form("hold"), ""],
    ["all done", form("move").replace("started", "finished"), ""],
    ["a cancelled order", form("move"), "data-cancelled"],
  ];
  for (const [what, html, more] of SILENT) {
    test(`nothing is asked: ${what}`, async (t) => {
      const { tapped } = await page(t, html, more);
      const [action] = await tapped();
      assert.equal(action?.body.confirm, undefined);
      assert.equal(document.querySelector("dialog"), null);
    });
  }
});
