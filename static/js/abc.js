// Typing music in: keeps the text in the browser until the studio has it, and leads from a remark to its place.

import { screenNow } from "./excerpt.js";
import { announce } from "./page.js";

const form = document.querySelector("form[data-typing]");
const text = form?.elements.text;

if (form && text) {
  const key = `typed:${form.dataset.typing}`;
  const line = document.getElementById("abc-line");
  const restored = document.getElementById("abc-restored");
  const given = text.value;
  text.setAttribute("aria-describedby", "abc-summary");
  form.querySelector("[data-abc-preview]").hidden = true;

  // On a narrow screen the help would part the text from what it becomes.
  if (window.innerWidth < 992) form.querySelector(".abc-help").open = false;

  const read = () => { try { return window.localStorage.getItem(key); } catch { return null; } };
  const keep = () => { try { window.localStorage.setItem(key, text.value); } catch { /* no room: the page still has it */ } };
  const forget = () => { try { window.localStorage.removeItem(key); } catch { /* nothing was kept */ } };
  const change = () => text.dispatchEvent(new Event("input", { bubbles: true }));
  // htmx listens once the page is whole; a change before that would be lost.
  const redraw = () => {
    if (document.readyState === "complete") change();
    else window.addEventListener("load", change, { once: true });
  };

  // The studio says in a cookie which page's text it has stored.
  const stored = document.cookie.split("; ").find((pair) => pair.startsWith("typed="));
  if (stored && decodeURIComponent(stored.slice(6)) === form.dataset.typing) {
    forget();
    document.cookie = "typed=; path=/repertoire/; max-age=0; samesite=lax";
  }

  const before = read();
  if (before !== null && before !== given && form.dataset.answered === undefined) {
    text.value = before;
    restored.hidden = false;
    announce("What you were typing here is back.");
    redraw();
  } else if (document.getElementById("abc-preview").dataset.screen !== screenNow()) {
    redraw();
  }

  form.querySelector("[data-abc-afresh]").addEventListener("click", () => {
    forget();
    text.value = given;
    restored.hidden = true;
    redraw();
    text.focus();
  });

  text.addEventListener("input", () => {
    line.value = text.value.slice(0, text.selectionStart).split("\n").length;
    if (text.value === given) forget(); else keep();
  });

  // The clef of the other instrument, as long as nothing is typed yet.
  form.elements.instrument?.addEventListener("change", (event) => {
    const begins = { viola: form.dataset.beginViola, violin: form.dataset.beginViolin };
    const next = begins[event.target.value];
    if (next && Object.values(begins).includes(text.value)) { text.value = next; redraw(); }
  });

  let width = screenNow();
  window.addEventListener("resize", () => {
    if (screenNow() === width) return;
    width = screenNow();
    window.setTimeout(redraw, 300);
  });

  form.addEventListener("click", (event) => {
    const place = event.target.closest("[data-line][data-column]");
    if (!place) return;
    event.preventDefault();
    const lines = text.value.split("\n");
    const number = Math.min(Number(place.dataset.line), lines.length);
    const start = lines.slice(0, number - 1).join("\n").length + (number > 1 ? 1 : 0);
    const at = Math.min(start + Number(place.dataset.column) - 1, start + lines[number - 1].length);
    text.blur();
    text.setSelectionRange(at, Math.min(at + 1, text.value.length));
    text.focus();
  });
}
