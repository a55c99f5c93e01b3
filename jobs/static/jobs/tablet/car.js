// The car's page: running clocks, what opens when a time has come, and damage as a list.

const two = (number) => String(number).padStart(2, "0");

// 75 seconds are "1:15"; an hour and more are "1:02:05".
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor(whole / 60) % 60;
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

function tick() {
  const now = Date.now();
  for (const task of document.querySelectorAll("[data-task][data-started-at]")) {
    const shown = task.querySelector("[data-clock]");
    if (shown) shown.textContent = clock((now - Date.parse(task.dataset.startedAt)) / 1000);
  }
  for (const left of document.querySelectorAll("[data-left]")) {
    left.textContent = clock((Date.parse(left.dataset.left) - now) / 1000);
  }
  for (const waiting of document.querySelectorAll("[data-until]")) {
    if (Date.parse(waiting.dataset.until) <= now) waiting.hidden = true;
  }
  for (const button of document.querySelectorAll("[data-from-then]")) {
    if (Date.parse(button.dataset.fromThen) <= now) button.disabled = false;
  }
}

tick();
setInterval(tick, 1000);

// The sentence about what is next was true before what now waits to be sent.
document.addEventListener("queued", () => document.querySelector("p.todo")?.remove());

// Several damages go into one hidden input, as the walk-round takes them.
for (const form of document.querySelectorAll("form.walk")) {
  const kept = form.querySelector("[data-damage]");
  const list = form.querySelector("[data-damage-list]");
  const area = form.querySelector("[data-damage-area]");
  const noticed = form.querySelector("[data-damage-noticed]");
  const damage = [];

  const show = () => {
    kept.value = damage.length ? JSON.stringify(damage) : "";
    list.replaceChildren(...damage.map((one, index) => {
      const line = document.createElement("li");
      const off = document.createElement("button");
      line.textContent = `${[...area.options].find((option) => option.value === one.area).text}: ${one.noticed} `;
      off.type = "button";
      off.textContent = "Remove";
      off.addEventListener("click", () => { damage.splice(index, 1); show(); });
      line.append(off);
      return line;
    }));
  };
  const add = () => {
    if (!noticed.value.trim()) return noticed.focus();
    damage.push({ area: area.value, noticed: noticed.value.trim() });
    noticed.value = "";
    show();
  };
  form.querySelector("[data-damage-add]").addEventListener("click", add);
  // What is typed but not added yet counts as well.
  form.addEventListener("submit", () => { if (noticed.value.trim()) add(); }, { capture: true });
}
