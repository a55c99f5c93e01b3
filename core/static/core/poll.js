// Keeps a part of a page fresh: <div data-poll="/address" data-every="10">.
// It asks with the ETag it has, changes nothing on 304, and stops while the page is hidden.

const STALE_AFTER_FAILURES = 2;
const SLOWEST_SECONDS = 120;

/**
 * Keep a part of a page fresh from now on.
 *
 * @param {HTMLElement} part
 */
export function keepFresh(part) {
  const every = Number(part.dataset.every || 10);
  let tag = part.dataset.tag || "";
  let failures = 0;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let timer;

  const later = () => {
    clearTimeout(timer);
    if (document.hidden || part.dataset.poll === "" || !part.isConnected) return;
    timer = setTimeout(ask, Math.min(every * 2 ** failures, SLOWEST_SECONDS) * 1000);
  };

  const ask = async () => {
    try {
      const answer = await fetch(part.dataset.poll ?? "", {
        headers: { "HX-Request": "true", ...(tag ? { "If-None-Match": tag } : {}) },
        cache: "no-store",
      });
      if (answer.status === 401) return location.reload();
      if (answer.status !== 304 && !answer.ok) throw new Error(String(answer.status));
      failures = 0;
      say(part, "");
      if (answer.status === 200) swap(part, await answer.text());
      tag = answer.headers.get("ETag") || "";
      if (answer.headers.get("X-Poll") === "stop") part.dataset.poll = "";
    } catch {
      failures += 1;
      if (failures >= STALE_AFTER_FAILURES) {
        say(part, "No answer from the service. What you see may be old; trying again.");
      }
    }
    later();
  };

  document.addEventListener("visibilitychange", () => {
    clearTimeout(timer);
    if (!document.hidden && part.dataset.poll) ask();
  });
  later();
}

/**
 * Leaves the focus, and what is open, where they were.
 *
 * @param {HTMLElement} part
 * @param {string} html
 */
function swap(part, html) {
  const focused = part.contains(document.activeElement) ? document.activeElement?.id : "";
  const open = [...part.querySelectorAll("details[open][id]")].map(({ id }) => id);
  part.innerHTML = html;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  if (focused) document.getElementById(focused)?.focus();
}

/**
 * Say above a part, or say no more, that it may be old.
 *
 * @param {HTMLElement} part
 * @param {string} words
 */
function say(part, words) {
  const before = part.previousElementSibling;
  let line = before instanceof HTMLElement && before.matches(".stale") ? before : null;
  if (!line) {
    if (!words) return;
    line = document.createElement("p");
    line.className = "caution stale";
    line.setAttribute("role", "status");
    part.before(line);
  }
  line.textContent = words;
  line.hidden = !words;
}

document.querySelectorAll("[data-poll]").forEach(keepFresh);
