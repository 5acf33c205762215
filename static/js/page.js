// What every page does: says aloud what happened, keeps the focus after a swap, asks before leaving unsaved work,
// and tells the studio which width pictures are wanted in.

import "./excerpt.js";

/** Announce a short sentence to screen readers. */
export function announce(words) {
  const status = document.getElementById("status");
  if (!status) return;
  status.textContent = "";
  window.setTimeout(() => { status.textContent = words; }, 30);
}

/** Read the request token for a fetch that is not sent by htmx. */
export function requestToken() {
  try {
    return JSON.parse(document.body.getAttribute("hx-headers"))["x-csrftoken"];
  } catch {
    return "";
  }
}

let focused = "";
document.addEventListener("htmx:beforeSwap", () => { focused = document.activeElement?.id ?? ""; });
document.addEventListener("htmx:afterSettle", (event) => {
  const wanted = event.detail.elt?.querySelector?.("[data-focus]");
  if (wanted) wanted.focus();
  else if (focused && document.activeElement === document.body) document.getElementById(focused)?.focus();
  const said = event.detail.elt?.querySelector?.("[data-announce]");
  if (said) announce(said.dataset.announce || said.textContent.trim());
});
const failed = () => announce("That did not reach the studio. What you wrote is still here; try again.");
document.addEventListener("htmx:sendError", failed);
document.addEventListener("htmx:responseError", failed);

document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-opens]");
  if (opener) {
    const dialog = document.getElementById(opener.dataset.opens);
    if (dialog) { event.preventDefault(); dialog.showModal(); }
  }
  const closer = event.target.closest("[data-closes]");
  if (closer) { event.preventDefault(); closer.closest("dialog")?.close(); }
  const printer = event.target.closest("[data-print]");
  if (printer) { event.preventDefault(); window.print(); }
});
document.addEventListener("submit", (event) => {
  const question = event.target.dataset?.ask;
  if (question && !window.confirm(question)) event.preventDefault();
});
