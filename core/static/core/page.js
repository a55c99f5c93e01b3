// What every page has: the exact time at a tap, and the focus on what is wrong.

let shown = null;

document.addEventListener("click", (event) => {
  const time = event.target.closest("time[title]");
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
