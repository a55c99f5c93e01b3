// The car's page: running clocks, what is over when a time has come, and damage as a list.
// Everything is found anew each time: the page may be drawn afresh while it is open.

import { find, within } from "./elements.js";

/** @typedef {{ area: string, noticed: string }} Damage */

/** @param {number} number */
const two = (number) => String(number).padStart(2, "0");

/**
 * 75 seconds are "1:15"; an hour and more are "1:02:05".
 *
 * @param {number} seconds
 * @returns {string}
 */
function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole / 60) % 60;
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

function tick() {
  const now = Date.now();
  for (const task of document.querySelectorAll("[data-task]")) {
    const began = Date.parse(task.dataset.startedAt ?? "");
    find("[data-clock]", task).textContent = began ? clock((now - began) / 1000) : "";
  }
  for (const left of document.querySelectorAll("[data-left]")) {
    left.textContent = clock((Date.parse(left.dataset.left ?? "") - now) / 1000);
  }
  for (const waiting of document.querySelectorAll("[data-until]")) {
    if (Date.parse(waiting.dataset.until ?? "") <= now) waiting.hidden = true;
  }
}

/**
 * Several damages stand in one hidden input, as the walk-round takes them.
 *
 * @param {HTMLFormElement} form
 */
function parts(form) {
  return {
    kept: find("input[data-damage]", form),
    list: find("[data-damage-list]", form),
    area: find("select[data-damage-area]", form),
    noticed: find("input[data-damage-noticed]", form),
  };
}

/**
 * @param {HTMLFormElement} form
 * @param {Damage[]} damage
 */
function put(form, damage) {
  const { kept, list, area } = parts(form);
  kept.value = damage.length ? JSON.stringify(damage) : "";
  form.toggleAttribute("data-no-reload", damage.length > 0);
  list.replaceChildren(
    ...damage.map((blemish, index) => {
      const line = document.createElement("li");
      const off = document.createElement("button");
      const name = [...area.options].find((option) => option.value === blemish.area)?.text;
      line.textContent = `${name ?? blemish.area}: ${blemish.noticed} `;
      off.type = "button";
      off.textContent = "Remove";
      off.addEventListener("click", () => put(form, damage.toSpliced(index, 1)));
      line.append(off);
      return line;
    }),
  );
}

/** @param {HTMLFormElement} form */
function add(form) {
  const { kept, area, noticed } = parts(form);
  const words = noticed.value.trim();
  if (!words) {
    noticed.focus();
    return;
  }
  noticed.value = "";
  put(form, [...JSON.parse(kept.value || "[]"), { area: area.value, noticed: words }]);
}

document.addEventListener("click", (event) => {
  const button = within(event, "button[data-damage-add]");
  if (button?.form) add(button.form);
});

// What is typed but not added yet counts as well; this comes before the queue takes the form.
document.addEventListener(
  "submit",
  (event) => {
    const form = within(event, "form.walk");
    if (form && parts(form).noticed.value.trim()) add(form);
  },
  { capture: true },
);

document.addEventListener("reset", (event) => {
  const form = within(event, "form.walk");
  if (form) put(form, []);
});

tick();
setInterval(tick, 1000);
