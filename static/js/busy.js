// A form that takes a moment says so, and can't be sent twice.

for (const form of document.querySelectorAll("form[data-busy]")) {
  form.addEventListener("submit", (event) => {
    const button = event.submitter ?? form.querySelector("button.primary");
    if (!button || event.defaultPrevented) return;
    window.setTimeout(() => { button.disabled = true; button.textContent = form.dataset.busy; }, 0);
  });
}
window.addEventListener("pageshow", (event) => { if (event.persisted) window.location.reload(); });
