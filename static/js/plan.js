// Adds a wording of the teacher's to the practice steps with one tap.

import { announce } from "./page.js";

for (const chips of document.querySelectorAll("[data-adds-to]")) {
  const field = document.getElementById(chips.dataset.addsTo);
  const lines = () => field.value.split("\n").map((each) => each.trim()).filter(Boolean);
  /** Offer only what is not in the list yet. */
  const offer = () => {
    const there = lines();
    const chipsOffered = [...chips.querySelectorAll("[data-adds-line]")];
    for (const chip of chipsOffered) chip.hidden = there.includes(chip.dataset.addsLine);
    chips.hidden = chipsOffered.every((chip) => chip.hidden);
  };
  field.addEventListener("input", offer);
  offer();
  chips.addEventListener("click", (event) => {
    const words = event.target.closest("[data-adds-line]")?.dataset.addsLine;
    if (!words) return;
    if (lines().includes(words)) return;
    field.value = [...lines(), words].join("\n");
    offer();
    if (document.activeElement === document.body) field.focus();
    announce(`${words} added.`);
  });
}
