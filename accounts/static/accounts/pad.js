// The number pad beside a field: without this module the device's own keyboard does the same.

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", "Clear", "0", "Undo"];

for (const pad of document.querySelectorAll("[data-pad]")) {
  const field = document.getElementById(pad.dataset.pad ?? "");
  if (!(field instanceof HTMLInputElement)) throw new Error("There is no field beside this pad.");
  for (const key of KEYS) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = key;
    if (key === "Undo") button.setAttribute("aria-label", "Undo the last digit");
    if (key === "Clear") button.setAttribute("aria-label", "Clear all digits");
    button.addEventListener("click", () => {
      if (key === "Clear") field.value = "";
      else if (key === "Undo") field.value = field.value.slice(0, -1);
      else if (field.value.length < field.maxLength) field.value += key;
    });
    pad.append(button);
  }
  pad.hidden = false;
  field.inputMode = "none"; // the device's keyboard would cover the pad
  if (!document.querySelector(".wrong[tabindex]")) field.focus();
}
