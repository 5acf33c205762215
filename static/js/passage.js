// Picking a passage on the notation: first and last bar, or beat, by tap or keyboard.

import { announce } from "./page.js";

const page = document.querySelector("[data-pick]");
const form = page && document.getElementById(page.dataset.pick);

if (page && form) {
  const field = form.elements.bars;
  const clear = form.querySelector("[data-clear]");
  let first = null; // { bar, written, beat, place }
  let last = null;

  const all = () => [...page.querySelectorAll(".pick")];
  const byBeats = () => form.querySelector("[data-by='beats']")?.checked ?? false;

  /** The beat at a place of the bar, given as a share of its width: the nearest written one. */
  function beatAt(button, share) {
    const beats = button.dataset.beats.split(" ").filter(Boolean).map((pair) => pair.split(":"));
    let best = null;
    for (const [beat, place] of beats) {
      if (!best || Math.abs(place - share) < Math.abs(best.place - share)) best = { beat, place: Number(place) };
    }
    return best;
  }

  function placeOf(button, event) {
    const found = { bar: Number(button.dataset.bar), written: button.dataset.written, beat: "", place: null };
    if (byBeats() && event && event.clientX) {
      const box = button.getBoundingClientRect();
      const beat = beatAt(button, (100 * (event.clientX - box.left)) / box.width);
      if (beat) { found.beat = beat.beat; found.place = beat.place; }
    }
    return found;
  }

  const value = (beat) => { const [a, b = 1] = beat.split("/").map(Number); return a / b; };
  const before = (a, b) => a.bar < b.bar || (a.bar === b.bar && a.beat && b.beat && value(a.beat) < value(b.beat));

  function pick(button, event, extend = false) {
    const here = placeOf(button, event);
    if (first && (!last || extend)) {
      last = here;
      if (before(last, first)) [first, last] = [last, first];
    } else {
      first = here;
      last = null;
    }
    show();
  }

  const words = (place) => place.written + (place.beat ? `/${whole(place.beat)}` : "");
  // 5/2 is written 2 1/2, as the field reads it.
  function whole(beat) {
    if (!beat.includes("/")) return beat;
    const [a, b] = beat.split("/").map(Number);
    return `${Math.floor(a / b)} ${a % b}/${b}`;
  }

  function show() {
    const end = last ?? first;
    for (const button of all()) {
      const bar = Number(button.dataset.bar);
      const inside = Boolean(first) && bar >= first.bar && bar <= end.bar;
      button.setAttribute("aria-pressed", String(inside));
      const from = inside && bar === first.bar && first.place !== null ? Math.max(0, first.place - 3) : 0;
      const to = inside && last && bar === last.bar && last.place !== null ? Math.min(100, last.place + 8) : 100;
      button.style.setProperty("--from", `${from}%`);
      button.style.setProperty("--to", `${to}%`);
    }
    if (clear) clear.hidden = !first;
    if (!first) return;
    field.value = last && words(last) !== words(first) ? `${words(first)}–${words(last)}` : words(first);
    announce(last ? `From ${words(first)} to ${words(last)}` : `From ${words(first)}. Now the last bar.`);
  }

  page.addEventListener("click", (event) => {
    const button = event.target.closest(".pick");
    if (button) { focusOn(button); pick(button, event.detail ? event : null, event.shiftKey); }
  });

  function focusOn(button) {
    for (const other of all()) other.tabIndex = other === button ? 0 : -1;
    button.focus({ preventScroll: true });
  }

  page.addEventListener("keydown", (event) => {
    const button = event.target.closest(".pick");
    if (!button) return;
    const buttons = all();
    const now = buttons.indexOf(button);
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    const goal = event.key === "Home" ? 0 : event.key === "End" ? buttons.length - 1 : step ? now + step : null;
    if (goal === null || !buttons[goal]) return;
    event.preventDefault();
    focusOn(buttons[goal]);
    buttons[goal].scrollIntoView({ block: "nearest" });
    if (event.shiftKey) pick(buttons[goal], null, true);
  });

  clear?.addEventListener("click", () => { first = last = null; field.value = ""; show(); });
  /** Show the bars that are written in the field, as far as they are on the page. */
  function showWritten() {
    first = last = null;
    const [from, to] = field.value.split(/[–—-]/).map((part) => part.trim().split("/")[0]);
    const find = (number) => all().find((button) => button.dataset.written === number);
    const start = from && find(from);
    const end = to ? find(to) : start;
    for (const button of all()) {
      const bar = Number(button.dataset.bar);
      const inside = Boolean(start && end) && bar >= Number(start.dataset.bar) && bar <= Number(end.dataset.bar);
      button.setAttribute("aria-pressed", String(inside));
      button.style.removeProperty("--from");
      button.style.removeProperty("--to");
    }
  }
  field.addEventListener("input", showWritten);
  if (field.value) showWritten();
  // Bars added below must join those that can be reached by one tab stop.
  document.addEventListener("htmx:afterSettle", () => {
    const buttons = all();
    const stop = buttons.find((button) => button === document.activeElement) ?? buttons[0];
    for (const button of buttons) button.tabIndex = button === stop ? 0 : -1;
    if (first) show();
  });
}
