// The tempo slider beside a bow distribution, and what must outlast a redraw: open lists, words for the ear.

import { announce } from "./page.js";

for (const form of document.querySelectorAll("[data-bow]")) {
  const number = form.querySelector("[data-bow-tempo]");
  const slider = form.querySelector("[data-bow-slider]");
  slider.hidden = false;
  form.querySelector("[data-plain]").hidden = true;
  slider.addEventListener("input", () => { number.value = slider.value; });
  number.addEventListener("input", () => { slider.value = number.value; });
}

let open = [];
document.addEventListener("htmx:beforeSwap", (event) => {
  if (!event.detail.requestConfig?.elt?.matches?.("[data-bow]")) return;
  open = [...document.querySelectorAll("#bow-said details[open]")].map((list) => list.id);
});
document.addEventListener("htmx:afterRequest", (event) => {
  if (!event.target.matches?.("[data-bow]") || !event.detail.successful) return;
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
  const summary = document.querySelector("[data-bow-summary]");
  if (summary) announce(summary.textContent);
  document.dispatchEvent(new CustomEvent("bow:redrawn"));
});
