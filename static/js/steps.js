// Steps: order by dragging or with the arrow keys; phrases go into the words with one tap; the stave follows the form.

import { announce, requestToken } from "./page.js";

const list = document.querySelector("[data-order]");
const rows = () => [...list.querySelectorAll("[data-step]")];

async function keepOrder(moved) {
  rows().forEach((row, place) => {
    row.querySelector(".step-place").textContent = `${place + 1}.`;
    const [earlier, later] = ["earlier", "later"].map((wish) => row.querySelector(`[value="${wish}"]`));
    earlier.disabled = place === 0;
    later.disabled = place === rows().length - 1;
  });
  const body = new URLSearchParams({ order: rows().map((row) => row.dataset.step).join(",") });
  try {
    const answer = await fetch(list.dataset.order, {
      method: "POST", body, headers: { "X-CSRFToken": requestToken(), "X-Requested-With": "fetch" },
    });
    if (!answer.ok) throw new Error(answer.statusText);
    announce(`Step ${rows().indexOf(moved) + 1} of ${rows().length}.`);
  } catch {
    announce("The new order did not reach the studio; load the page again.");
  }
}

function attach(row) {
  const handle = row.querySelector("[data-drag]");
  handle.hidden = false;
  handle.addEventListener("keydown", (event) => {
    const other = event.key === "ArrowUp" ? row.previousElementSibling
      : event.key === "ArrowDown" ? row.nextElementSibling : null;
    if (!other) return;
    event.preventDefault();
    if (event.key === "ArrowUp") other.before(row); else other.after(row);
    handle.focus();
    keepOrder(row);
  });
  handle.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    row.classList.add("dragged");
    let changed = false;
    const move = (at) => {
      const over = rows().find((each) => {
        const box = each.getBoundingClientRect();
        return each !== row && at.clientY > box.top && at.clientY < box.bottom;
      });
      if (!over) return;
      const box = over.getBoundingClientRect();
      const below = at.clientY > box.top + box.height / 2;
      if (below ? over.nextElementSibling !== row : over.previousElementSibling !== row) {
        if (below) over.after(row); else over.before(row);
        changed = true;
      }
    };
    const drop = () => {
      row.classList.remove("dragged");
      document.removeEventListener("pointermove", move);
      document.removeEventListener("pointerup", drop);
      document.removeEventListener("pointercancel", drop);
      if (changed) keepOrder(row);
    };
    // The row moves in the document while it is dragged, which would end a capture of the pointer.
    document.addEventListener("pointermove", move);
    document.addEventListener("pointerup", drop);
    document.addEventListener("pointercancel", drop);
  });
}

if (list) rows().forEach(attach);

for (const phrases of document.querySelectorAll("[data-phrases]")) {
  phrases.hidden = false;
  phrases.addEventListener("click", (event) => {
    const chip = event.target.closest("[data-words]");
    if (!chip) return;
    const field = document.getElementById(phrases.dataset.phrases);
    field.value = chip.dataset.words;
    const kept = document.getElementById(`${field.id}-phrase`);
    if (kept) kept.value = chip.dataset.phrase;
    field.focus();
    announce(`${chip.dataset.words}`);
  });
}
