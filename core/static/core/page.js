// What every page has: the exact time at a tap, the focus on what is wrong, and nothing of somebody
// who is gone.

const KEPT = ["shutline-pages", "shutline-pictures"]; // by the tablet's worker

/** @type {HTMLElement | null} */
let shown = null;

document.addEventListener("click", (event) => {
  const time = event.target instanceof Element ? event.target.closest("time[title]") : null;
  const again = shown && time && shown.previousElementSibling === time;
  shown?.remove();
  shown = null;
  if (!time || again) return;
  shown = document.createElement("span");
  shown.className = "exact";
  shown.setAttribute("role", "status");
  shown.textContent = ` (${time.title})`;
  time.after(shown);
});

document.querySelector(".wrong[tabindex]")?.focus();

// A page that the browser kept whole for the way back may be of somebody who has signed out since.
window.addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});

// Nobody is signed in: what was kept for whoever was before goes. What waits to be sent stays.
if (document.querySelector('meta[name="nobody"]') && "caches" in window) {
  await Promise.all(KEPT.map((name) => caches.delete(name)));
}
