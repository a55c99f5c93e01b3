// Keeps a part of a page fresh: <div data-poll="/address" data-every="10">.
// It asks with the ETag it has, changes nothing on 304, and stops while the page is hidden.

const STALE_AFTER_FAILURES = 2;
const SLOWEST_SECONDS = 120;

export function keepFresh(part) {
  const every = Number(part.dataset.every || 10);
  let tag = part.dataset.tag || "";
  let failures = 0;
  let timer = null;

  const later = () => {
    clearTimeout(timer);
    if (document.hidden || part.dataset.poll === "" || !part.isConnected) return;
    timer = setTimeout(ask, Math.min(every * 2 ** failures, SLOWEST_SECONDS) * 1000);
  };

  const ask = async () => {
    try {
      const answer = await fetch(part.dataset.poll, {
        headers: { "HX-Request": "true", ...(tag ? { "If-None-Match": tag } : {}) },
        cache: "no-store",
      });
      if (answer.status === 401) return location.reload();
      if (answer.status !== 304 && !answer.ok) throw new Error(String(answer.status));
      failures = 0;
      told(part, "");
      if (answer.status === 200) swap(part, await answer.text());
      tag = answer.headers.get("ETag") || "";
      if (answer.headers.get("X-Poll") === "stop") return (part.dataset.poll = "");
    } catch {
      failures += 1;
      if (failures >= STALE_AFTER_FAILURES) {
        told(part, "No answer from the service. What you see may be old; trying again.");
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

// Leaves the focus, and what is open, where they were.
function swap(part, html) {
  const focused = part.contains(document.activeElement) ? document.activeElement.id : "";
  const open = [...part.querySelectorAll("details[open][id]")].map((one) => one.id);
  part.innerHTML = html;
  open.forEach((id) => document.getElementById(id)?.setAttribute("open", ""));
  if (focused) document.getElementById(focused)?.focus();
}

function told(part, words) {
  let line = part.previousElementSibling;
  if (!line?.matches(".stale")) {
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
