// Adds a wording of the teacher's to the practice steps with one tap.

import { announce } from "./page.js";

for (const chips of document.querySelectorAll("[data-adds-to]")) {
  chips.hidden = false;
  chips.addEventListener("click", (event) => {
    const words = event.target.closest("[data-adds-line]")?.dataset.addsLine;
    if (!words) return;
    const field = document.getElementById(chips.dataset.addsTo);
    const lines = field.value.split("\n").map((each) => each.trim()).filter(Boolean);
    if (lines.includes(words)) return;
    field.value = [...lines, words].join("\n");
    announce(`${words} added.`);
  });
}
