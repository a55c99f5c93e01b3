// What is tapped is shown as done before it is sent, and taken back where it was not taken.

import assert from "node:assert/strict";
import { describe, test } from "node:test";
import { CAR, move, quiet, SECOND_CAR, stop, tablet, tap, undoable } from "./tablet.js";

/** @import { TestContext } from "node:test" */
/** @import { Fresh } from "../../jobs/tablet/static/jobs/tablet/queue.js" */

const NOW = Date.parse("2027-03-01T09:00:00Z");
const of = (/** @type {string} */ end) => ({ path: `/api/v1/jobs/${CAR}/${end}` });

// The car's page, as far as its scripts look at it.
const PAGE = `
<div data-car="${CAR}" data-version="4" data-stage="intake" data-arrived="no" data-held="no"
 data-danger="no" data-walked-out="no">
<h1>JT21 ABC</h1><p class="line">In the workshop</p><p class="todo">Next: wash it</p>
<ol class="steps"><li data-stage="intake" aria-current="step"></li><li data-stage="cleaning"></li>
<li data-stage="coating"></li></ol>
<form class="next" data-from="intake"></form><form class="next" data-from="cleaning" hidden></form>
<ul><li data-task="wash" data-state="wanted"></li>
<li data-task="seal" data-state="started" data-started-at="2027-03-01T08:00:00Z" data-leaves></li></ul>
<ul><li data-wait="seats"></li></ul>
<section data-soiling data-level="2">
<input type="radio" name="level" value="2" checked><input type="radio" name="level" value="5">
<p data-caution-of="2">Rinse first.</p><p data-caution-of="5" hidden>Wear gloves.</p></section>
</div>`;

const HELD = PAGE.replace('data-held="no"', 'data-held="yes"').replace(
  "<h1>",
  '<ul><li data-hold="parts"></li><li data-hold="keys"></li></ul><h1>',
);

// Two findings say "do not drive", and each holds the car.
const STOPPED = HELD.replace('data-danger="no"', 'data-danger="yes"')
  .replace('data-hold="parts"', 'data-hold="parts" data-finding="brakes"')
  .replace('data-hold="keys"', 'data-hold="keys" data-finding="tyre"')
  .replace(
    "<h1>",
    '<p data-danger-line></p><ul><li data-finding="brakes" data-stops></li>' +
      '<li data-finding="tyre" data-stops></li></ul><h1>',
  );

/**
 * Return a tablet that shows a page.
 *
 * @param {TestContext} t
 * @param {string} html
 */
async function shown(t, html) {
  const opened = await tablet(t, { html });
  const { foresee } = await opened.foresee();
  return {
    ...opened,
    foresee,
    /** @param {Fresh[]} taps */
    tapped: async (...taps) => {
      for (const fresh of taps) await opened.queue.add([fresh], 4);
      await foresee();
    },
    /** @param {string} id */
    kept: async (id) => {
      const action = (await opened.queue.all()).find((queued) => queued.id === id);
      assert.ok(action);
      return action;
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

const car = () => part("[data-car]").dataset;
const task = (/** @type {string} */ id) => part(`[data-task="${id}"]`).dataset;

describe("a tap that waits is shown as done", () => {
  /** @type {[string, Fresh, string, string, string][]} */
  const SHOWN = [
    ["a move", move("cleaning"), "[data-car]", "stage", "cleaning"],
    ["an arrival", tap("arrival"), "[data-car]", "arrived", "yes"],
    ["a hold", tap("hold"), "[data-car]", "held", "yes"],
    ["a question that holds", tap("request", { raises: true }), "[data-car]", "held", "yes"],
    ["a collection", tap("collection"), "[data-car]", "over", "yes"],
    ["a coat", tap("coat"), "[data-car]", "cures", "yes"],
    ["a product", tap("use"), "[data-car]", "cures", "yes"],
    [
      "a walk-round on leaving",
      tap("walk_round", { body: { occasion: "leaving" } }),
      "[data-car]",
      "walkedOut",
      "yes",
    ],
    ["a start", tap("task_start", of("tasks/wash/start")), "[data-task=wash]", "state", "started"],
    ["a pause", tap("task_pause", of("tasks/seal/finish")), "[data-task=seal]", "state", "paused"],
    [
      "a finish",
      tap("task_finish", of("tasks/wash/finish")),
      "[data-task=wash]",
      "state",
      "finished",
    ],
    ["minutes", tap("minutes", of("tasks/wash/minutes")), "[data-task=wash]", "told", "yes"],
    [
      "a dry seat",
      tap("touch_test", { ...of("clocks/seats/touch-tests"), body: { dry: true } }),
      "[data-wait]",
      "found",
      "dry",
    ],
    [
      "a damp seat",
      tap("touch_test", { ...of("clocks/seats/touch-tests"), body: { dry: false } }),
      "[data-wait]",
      "found",
      "damp",
    ],
    ["dirt", tap("soiling", { body: { level: 5 } }), "[data-soiling]", "level", "5"],
  ];
  for (const [what, fresh, selector, name, value] of SHOWN) {
    test(`${what}, and no longer when it is undone`, async (t) => {
      const { queue, tapped, foresee } = await shown(t, PAGE);
      await foresee();
      const before = part(selector).dataset[name];
      assert.notEqual(before, value);
      await tapped(fresh);
      assert.equal(part(selector).dataset[name], value);
      const waits = selector === "[data-car]" ? undefined : "yes"; // a part of the page says so
      assert.equal(part(selector).dataset.waiting, waits);
      await queue.undo(fresh.id);
      await foresee();
      assert.equal(part(selector).dataset[name], before);
    });
  }

  /** @type {[string, Fresh, string][]} */
  const NOT_SHOWN = [
    ["a question that holds nothing", tap("request"), "held"],
    ["a finding that stops nothing", tap("finding"), "danger"],
    ["a walk-round on arrival", tap("walk_round", { body: { occasion: "arrival" } }), "walkedOut"],
    ["a task that leaves nothing wet", tap("task_finish", of("tasks/wash/finish")), "cures"],
    ["a tap on another car", move("cleaning", { job: SECOND_CAR }), "stage"],
  ];
  for (const [what, fresh, name] of NOT_SHOWN) {
    test(`but not ${what}`, async (t) => {
      const { tapped, foresee } = await shown(t, PAGE);
      await foresee();
      const before = car()[name];
      await tapped(fresh);
      assert.equal(car()[name], before);
    });
  }

  test("where it is on the page; what is not is no matter", async (t) => {
    const { tapped } = await shown(t, PAGE.replace(/<section.*<\/section>/s, ""));
    await tapped(
      tap("task_start", of("tasks/gone/start")),
      tap("minutes", of("tasks/gone/minutes")),
      tap("touch_test", of("clocks/gone/touch-tests")),
      tap("release", of("holds/gone/release")),
      tap("clear", of("findings/gone/clear")),
      tap("soiling", { body: { level: 5 } }),
      move("coating"),
    );
    assert.equal(car().stage, "coating");
    assert.equal(document.querySelector("[data-waiting]"), null);
  });

  test("with the time of the tap, and as mine", async (t) => {
    const { tapped } = await shown(t, PAGE);
    const start = tap("task_start", of("tasks/wash/start"));
    await tapped(start);
    assert.deepEqual([task("wash").startedAt, task("wash").mine], [start.madeAt, "yes"]);
  });

  test("and what its work leaves cures", async (t) => {
    const { tapped } = await shown(t, PAGE);
    await tapped(tap("task_finish", of("tasks/seal/finish")));
    assert.equal(car().cures, "yes");
  });

  test("and as waiting, where it is about a part of the page", async (t) => {
    const { queue, tapped, foresee } = await shown(t, PAGE);
    const start = tap("task_start", of("tasks/wash/start"));
    await tapped(start);
    assert.deepEqual([task("wash").waiting, task("seal").waiting], ["yes", undefined]);
    await queue.undo(start.id);
    await foresee();
    assert.equal(task("wash").waiting, undefined);
  });

  test("on the way through the stages, with the buttons that are next", async (t) => {
    const { tapped } = await shown(t, PAGE);
    await tapped(move("cleaning"));
    const steps = [...document.querySelectorAll(".steps li")];
    assert.deepEqual(
      steps.map((step) => [step.getAttribute("aria-current"), step.classList.contains("done")]),
      [
        [null, true],
        ["step", false],
        [null, false],
      ],
    );
    assert.deepEqual(
      [...document.querySelectorAll("form.next")].map((form) => form.hidden),
      [true, false],
    );
    assert.equal(part("p.todo").hidden, true);
  });

  test("on the choice of the dirt and its caution", async (t) => {
    const { tapped, foresee } = await shown(t, PAGE);
    await foresee();
    assert.equal(part("p.todo").hidden, false);
    await tapped(tap("soiling", { body: { level: 5 } }));
    assert.equal(part('input[value="5"]').defaultChecked, true);
    assert.equal(part('input[value="2"]').defaultChecked, false);
    assert.equal(part('[data-caution-of="5"]').hidden, false);
    assert.equal(part('[data-caution-of="2"]').hidden, true);
  });

  test("and tells the page's other scripts", async (t) => {
    const { tapped } = await shown(t, PAGE);
    let heard = 0;
    document.addEventListener("foreseen", () => {
      heard += 1;
    });
    await tapped(move("cleaning"));
    assert.equal(heard, 1);
  });
});

describe("a release", () => {
  test("frees the car with its last hold only", async (t) => {
    const { tapped } = await shown(t, HELD);
    await tapped(tap("release", of("holds/parts/release")));
    assert.equal(part("[data-hold=parts]").dataset.released, "yes");
    assert.equal(part("[data-hold=parts]").dataset.waiting, "yes");
    assert.equal(car().held, "yes");
    await tapped(tap("release", of("holds/keys/release")));
    assert.equal(car().held, "no");
  });

  test("is taken back when it is undone", async (t) => {
    const { queue, tapped, foresee } = await shown(t, HELD);
    const [first, second] = ["parts", "keys"].map((hold) =>
      tap("release", of(`holds/${hold}/release`)),
    );
    assert.ok(first && second);
    await tapped(first, second);
    await queue.undo(first.id);
    await foresee();
    assert.equal(car().held, "yes");
    assert.equal(part("[data-hold=parts]").dataset.released, undefined);
  });
});

describe("a do-not-drive", () => {
  test("stands in red from the tap on, and holds the car", async (t) => {
    const { tapped, foresee } = await shown(t, PAGE);
    await foresee();
    assert.equal(document.querySelector("[data-danger-line]"), null);
    await tapped(...stop());
    assert.deepEqual([car().danger, car().held], ["yes", "yes"]);
    assert.match(
      part("p.line + [data-danger-line]").textContent,
      /^Do not drive this car\. Nobody/,
    );
    assert.equal(part("[data-danger-line]").getAttribute("role"), "alert");
  });

  test("stands there whatever was not taken before it", async (t) => {
    const { queue, tapped, kept, foresee } = await shown(t, PAGE);
    const moved = move("cleaning");
    await tapped(moved, ...stop());
    await queue.stopped(await kept(moved.id), queue.REFUSED, {});
    await foresee();
    assert.deepEqual([car().danger, car().held, car().stage], ["yes", "yes", "intake"]);
  });

  test("stands on the board, beside what is to be done, until the service says it", async (t) => {
    const { tapped } = await shown(
      t,
      `<ul><li data-board-car="${CAR}"><strong class="todo">Wash it</strong></li>
      <li data-board-car="${SECOND_CAR}" data-danger="yes"><strong class="todo">Wait</strong></li></ul>`,
    );
    await tapped(...stop(), ...stop(0, { job: SECOND_CAR }));
    assert.equal(part(`[data-board-car="${CAR}"] .badge.danger + .todo`).textContent, "Wash it");
    assert.equal(document.querySelectorAll("[data-foreseen-stop]").length, 1);
    assert.equal(part("[data-foreseen-stop]").textContent, "Do not drive");
    await tapped();
    assert.equal(document.querySelectorAll("[data-foreseen-stop]").length, 1);
  });

  test("is over with the last of them, and its hold with it", async (t) => {
    const { tapped } = await shown(t, STOPPED);
    await tapped(tap("clear", { ...of("findings/brakes/clear"), body: { how: "repaired" } }));
    assert.deepEqual([car().danger, car().held], ["yes", "yes"]);
    assert.equal(part("[data-finding=brakes][data-stops]").dataset.findingOver, "yes");
    assert.equal(part("[data-finding=brakes][data-stops]").dataset.waiting, "yes");
    await tapped(tap("withdraw", of("findings/tyre/withdraw")));
    assert.deepEqual([car().danger, car().held], ["no", "no"]);
    assert.equal(part("[data-danger-line]").hidden, true);
  });

  test("stays one for who transports it, though nothing holds the car", async (t) => {
    const { tapped } = await shown(t, STOPPED);
    for (const finding of ["brakes", "tyre"]) {
      const path = of(`findings/${finding}/clear`);
      await tapped(tap("clear", { ...path, body: { how: "transported" } }));
    }
    assert.deepEqual([car().danger, car().held], ["yes", "no"]);
  });
});

describe("what was not taken", () => {
  test("stops what comes after it, so the page stays where that leaves it", async (t) => {
    const { queue, tapped, kept, foresee } = await shown(t, PAGE);
    const taps = [tap("arrival"), move("cleaning"), move("coating")];
    await tapped(...taps);
    assert.equal(car().stage, "coating");
    await queue.stopped(await kept(taps[1]?.id ?? ""), queue.CONFLICT, {});
    await foresee();
    assert.deepEqual([car().arrived, car().stage], ["yes", "intake"]);
  });

  test("is counted on the board beside what waits", async (t) => {
    const line = (/** @type {string} */ job) =>
      `<li data-board-car="${job}"><b class="todo"></b><span data-waiting-count hidden></span></li>`;
    const { queue, tapped, kept, foresee } = await shown(t, line(CAR) + line(SECOND_CAR));
    const [first, second] = [tap("finding"), tap("finding")];
    await tapped(first, second);
    const [here, there] = document.querySelectorAll("[data-waiting-count]");
    assert.deepEqual([here?.textContent, here?.hidden, there?.hidden], ["2 waiting", false, true]);
    await queue.stopped(await kept(first.id), queue.REFUSED, {});
    await foresee();
    assert.equal(here?.textContent, "2 waiting, 1 not taken");
  });
});

describe("what was sent after the page was made", () => {
  /**
   * @param {Awaited<ReturnType<typeof shown>>} page
   * @param {Fresh} fresh
   * @param {{ at?: number, version?: number | undefined }} [answer]
   */
  async function sent({ queue, tapped, kept }, fresh, { at = NOW, version } = {}) {
    await tapped(fresh);
    await undoable();
    const begun = await queue.begin(await kept(fresh.id), () => "{}");
    assert.ok(begun);
    await queue.arrived(begun, { at, version, photoId: undefined });
  }

  test("counts until a page of its version comes", async (t) => {
    const page = await shown(t, PAGE);
    await sent(page, move("cleaning"), { version: 5 });
    await page.foresee();
    assert.equal(car().stage, "cleaning");
    part("[data-car]").dataset.version = "5";
    await page.foresee();
    assert.equal(car().stage, "intake");
  });

  test("counts, where it raises no version, by the time of the answer", async (t) => {
    const page = await shown(t, PAGE);
    await sent(page, tap("soiling", { body: { level: 5 } }), { at: NOW - 999 });
    await page.foresee();
    assert.equal(part("[data-soiling]").dataset.level, "5");
    part('meta[name="made"]').content = new Date(NOW + 1).toISOString();
    await page.foresee();
    assert.equal(part("[data-soiling]").dataset.level, "2");
  });

  test("counts longer where it is a do-not-drive", async (t) => {
    const page = await shown(t, PAGE);
    const [finding] = stop();
    await sent(page, finding, { at: NOW - 4999 });
    await page.foresee();
    assert.equal(car().danger, "yes");
    part('meta[name="made"]').content = new Date(NOW + 1).toISOString();
    await page.foresee();
    assert.equal(car().danger, "no");
  });

  test("has the page loaded again, once for each news", async (t) => {
    const page = await shown(t, PAGE);
    let outdated = 0;
    document.addEventListener("outdated", () => {
      outdated += 1;
    });
    await page.foresee();
    assert.equal(outdated, 0);
    await sent(page, move("cleaning"), { version: 5 });
    await page.foresee();
    await page.foresee();
    assert.equal(outdated, 1);
    await sent(page, move("coating"), { version: 6 });
    await page.foresee();
    await quiet();
    assert.equal(outdated, 2);
  });
});
