// The marking page: picked notes, signs on buttons and keys, each change sent and the picture drawn anew.

import { screenNow } from "./excerpt.js";
import { announce } from "./page.js";
import { Notes } from "./notes.js";
import { Sending } from "./sending.js";

const form = document.querySelector("[data-marking]");
const KEYS = { v: "bow=down", u: "bow=up", "(": "slur=", Delete: "rub-out", Backspace: "rub-out" };
for (const finger of "01234") KEYS[finger] = `finger=${finger}`;

const TOLD = { "[": "( writes a slur.", "]": "( writes a slur." };
for (const finger of "56789") TOLD[finger] = "Fingers are 0 to 4.";

const refused = document.getElementById("mark-refused");
const firstList = document.getElementById("mark-first");
const lastList = document.getElementById("mark-last");
const words = form.querySelector("[data-selection]");
const extendButton = form.querySelector("[data-extend]");
const notes = new Notes(document.getElementById("mark-notes"), picked);
const sending = new Sending(form.action, { body, answered, failed });

function standing() {
  return JSON.parse(document.getElementById("marks-state").textContent);
}

const eventOf = (address) => address.split("p")[0];

/** The marks that stand on, or start at, an address; a chord's own count for each of its notes. */
function marksAt(address, marks) {
  return marks.filter((mark) => mark.at === address || mark.at === eventOf(address));
}

function label(address) {
  return notes.place(address)?.textContent ?? "";
}

/** The words after an address's question mark, with the note that is picked. */
function withPlace(search, first) {
  const asked = new URLSearchParams(search);
  if (first) asked.set("at", eventOf(first));
  return `?${asked}`;
}

function picked() {
  const { first, last } = notes.selection;
  firstList.value = first;
  lastList.value = first === last ? "" : last;
  words.textContent = !first ? "No note is picked. Tap one." : first === last ? label(first) : `From ${label(first)}; to ${label(last)}`;
  for (const lead of form.querySelectorAll("[data-at]")) lead.search = withPlace(lead.search, first);
  extendButton.setAttribute("aria-pressed", "false");
  extendButton.textContent = "From here to…";
  showPressed();
}

function showPressed() {
  const { first, last } = notes.selection;
  const { marks } = standing();
  const on = new Set();
  if (first) {
    for (const mark of marksAt(first, marks)) {
      const value = `${mark.kind}=${mark.value ?? ""}`;
      if (first === last || (mark.to && eventOf(mark.to) === eventOf(last))) on.add(value);
      else if (!mark.to && between(first, last).every((event) => marks.some((m) => eventOf(m.at) === event && m.kind === mark.kind && (m.value ?? "") === (mark.value ?? "")))) on.add(value);
    }
  }
  const ornament = first && marksAt(first, marks).find((mark) => mark.kind === "ornament");
  for (const name of ornament ? ["start", "close", "fingers", "above", "below"] : []) {
    form.elements[`ornament_${name}`].value = ornament.options?.[name] ?? "";
  }
  for (const button of form.querySelectorAll("[data-tool]")) button.setAttribute("aria-pressed", String(on.has(button.value)));
}

function between(first, last) {
  const events = notes.events;
  return events.slice(events.indexOf(eventOf(first)), events.indexOf(eventOf(last)) + 1);
}

// --- sending and drawing

function body({ what, fields }) {
  const sent = new FormData();
  for (const [name, value] of fields) sent.append(name, value);
  sent.set("what", what);
  sent.set("state", form.elements.state.value);
  return sent;
}

/** Ask for a change with the selection and fields as they are now. */
function ask(what) {
  const fields = [...new FormData(form)].filter(([name]) => !["what", "state", "first", "last"].includes(name));
  const { first, last } = notes.selection;
  sending.send({ what, fields: [...fields, ["first", first], ["last", first === last ? "" : last]] });
}

function answered(response, text, wish) {
  if (response.status !== 200) {
    refused.innerHTML = text;
    if (response.status === 409) sending.drop();
    return;
  }
  refused.replaceChildren();
  const drawn = new DOMParser().parseFromString(text, "text/html");
  swap(drawn);
  for (const name of ["text", "share", "substitution"]) {
    if (wish.what === `${name}=`) form.elements[name].value = "";
  }
  const { first, last } = notes.selection;
  if (first) announce(first === last ? label(first) : `${wordsFor(wish.what)}; ${words.textContent}`);
  else announce(wordsFor(wish.what));
}

function wordsFor(what) {
  if (what === "undo") return "Undone";
  if (what === "redo") return "Done again";
  if (what === "rub-out" || what.startsWith("take:")) return "Removed";
  return "Written";
}

/** Put the new picture, list and bar in place of the old; selection and focus stay. */
function swap(drawn) {
  const focused = document.activeElement?.closest?.("[data-part]") ? document.activeElement : null;
  const again = focused && { value: focused.value, part: focused.closest("[data-part]").id };
  for (const shown of document.querySelectorAll("[data-part] details[open][id]")) drawn.getElementById(shown.id)?.setAttribute("open", "");
  for (const part of drawn.querySelectorAll("[data-part]")) document.getElementById(part.id)?.replaceWith(document.adoptNode(part));
  notes.show();
  picked();
  if (again) {
    const part = document.getElementById(again.part);
    const same = [...part.querySelectorAll("button:not(:disabled)")].find((button) => button.value === again.value);
    (same ?? notes.box).focus({ preventScroll: true });
  }
}

function failed(count) {
  const line = document.createElement("div");
  line.className = "notice warning";
  const sentence = document.createElement("p");
  sentence.textContent = `${count === 1 ? "One change has" : `${count} changes have`} not reached the studio. Nothing is lost: send again when the network is back.`;
  const again = document.createElement("button");
  again.type = "button";
  again.textContent = "Send again";
  again.addEventListener("click", () => { refused.replaceChildren(); sending.resume(); });
  line.append(sentence, again);
  refused.replaceChildren(line);
}
window.addEventListener("online", () => sending.resume());

/** Draw the picture for the window as it is now; excerpt.js keeps the cookie that says which width suits. */
async function fit() {
  const systems = document.getElementById("mark-systems");
  if (systems.dataset.screen === screenNow()) return;
  const response = await fetch(`${form.dataset.page}?from=${encodeURIComponent(form.elements.from.value)}`, { headers: { "X-Requested-With": "fetch" } });
  if (!response.ok) return;
  const drawn = new DOMParser().parseFromString(await response.text(), "text/html").getElementById("mark-systems");
  // Another page may have changed the draft: then the picture waits until this page says so.
  if (!sending.waiting.length && drawn?.dataset.state === systems.dataset.state) {
    document.getElementById("mark-systems").replaceWith(document.adoptNode(drawn));
    notes.show();
  }
}
document.addEventListener("bow:redrawn", () => notes.show());
let resized = 0;
window.addEventListener("resize", () => { window.clearTimeout(resized); resized = window.setTimeout(fit, 300); });

// --- buttons and keys

let byPointer = false;
form.addEventListener("pointerdown", () => { byPointer = true; });
form.addEventListener("keydown", () => { byPointer = false; }, true);

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = event.submitter;
  if (!button) return;
  ask(button.value);
  // After a tap the keys go on working on the note; a button reached by keys keeps the focus.
  if (byPointer && button.closest("[data-tools]") && !button.closest(".mark-typed")) notes.box.focus({ preventScroll: true });
});

form.addEventListener("keydown", (event) => {
  const typing = event.target.matches("input:not([type=hidden]), select, textarea");
  if (event.target.dataset?.enter && event.key === "Enter") {
    event.preventDefault();
    ask(event.target.dataset.enter);
    return;
  }
  if (!typing && (event.ctrlKey || event.metaKey) && !event.altKey) {
    const key = event.key.toLowerCase();
    const what = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : "";
    if (what) { event.preventDefault(); ask(what); }
    return;
  }
  if (event.target !== notes.box || event.ctrlKey || event.metaKey || event.altKey) return;
  const what = KEYS[event.key] ?? KEYS[event.key.toLowerCase()];
  if (what) { event.preventDefault(); if (!event.repeat) ask(what); }
  else if (TOLD[event.key]) { words.textContent = TOLD[event.key]; announce(TOLD[event.key]); }
});

extendButton.addEventListener("click", () => {
  if (!notes.active) notes.move(0);
  notes.extending = !notes.extending;
  extendButton.setAttribute("aria-pressed", String(notes.extending));
  extendButton.textContent = notes.extending ? "… now tap the last" : "From here to…";
  if (notes.extending) announce("Now pick the last note.");
});
for (const button of form.querySelectorAll("[data-move]")) {
  button.addEventListener("click", () => { notes.move(Number(button.dataset.move), { extend: notes.extending }); announce(words.textContent); });
}

// --- the groups as tabs

const tabs = [...form.querySelectorAll("[role=tab]")];
function open(tab, focus = false) {
  for (const other of tabs) {
    other.setAttribute("aria-selected", String(other === tab));
    other.tabIndex = other === tab ? 0 : -1;
    document.getElementById(other.getAttribute("aria-controls")).hidden = other !== tab;
  }
  if (focus) tab.focus();
  try { sessionStorage.setItem("marking-group", tab.id); } catch { /* a private window: the first group opens next time */ }
}
tabs.forEach((tab, index) => {
  document.getElementById(tab.getAttribute("aria-controls")).setAttribute("role", "tabpanel");
  tab.addEventListener("click", () => open(tab));
  tab.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step) { event.preventDefault(); open(tabs[(index + step + tabs.length) % tabs.length], true); }
  });
});

// --- beginning

document.documentElement.classList.add("scripted");
for (const element of form.querySelectorAll("[data-scripted]")) element.hidden = false;
let remembered = null;
try { remembered = document.getElementById(sessionStorage.getItem("marking-group") ?? ""); } catch { /* as above */ }
open(tabs.includes(remembered) ? remembered : tabs[0]);
const tools = form.querySelector("[data-tools]");
new ResizeObserver(() => { form.style.setProperty("--tools-height", `${tools.offsetHeight}px`); }).observe(tools);
const asked = new URLSearchParams(location.search);
if (asked.get("first")) {
  notes.pick(asked.get("first"), { scroll: false });
  if (asked.get("last")) notes.pick(asked.get("last"), { extend: true, scroll: false });
} else picked();
fit();
