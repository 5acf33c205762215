// Signs on a picture: a place chosen by touch or arrow keys, signs on buttons and keys, each change sent at once.

import { announce } from "./page.js";
import { Sending } from "./sending.js";

const form = document.querySelector("[data-picture]");
const board = form.querySelector("[data-board]");
const refused = document.getElementById("mark-refused");
const where = form.querySelector("[data-where]");
const stamp = form.querySelector("[data-stamp]");
const [x, y, toX, toY] = ["x", "y", "to_x", "to_y"].map((name) => form.elements[name]);
const KEYS = { v: "bow=down", u: "bow=up", "(": "slur=", Delete: "rub-out", Backspace: "rub-out" };
for (const finger of "01234") KEYS[finger] = `finger=${finger}`;
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const NEAR = 3.5; // percent of the width, as the studio reckons it

const cross = document.createElement("span");
cross.className = "picture-cross";
const from = document.createElement("span");
from.className = "picture-from";
for (const sign of [cross, from]) { sign.setAttribute("aria-hidden", "true"); sign.hidden = true; board.append(sign); }

let start = null; // where a slur begins, until it is told where it ends
let last = ""; // the sign placed last, for writing it again with each tap

const sending = new Sending(form.action, { body, answered, failed });

const number = (field) => Number.parseFloat(String(field.value).replace(",", "."));
const chosen = () => Number.isFinite(number(x)) && Number.isFinite(number(y));
const tall = () => board.clientHeight / board.clientWidth;

/** Choose a place, in percent of width and height. */
function choose(left, top) {
  x.value = Math.min(100, Math.max(0, left)).toFixed(2);
  y.value = Math.min(100, Math.max(0, top)).toFixed(2);
  show();
}

function show() {
  const there = chosen();
  cross.hidden = !there;
  from.hidden = !start;
  if (there) put(cross, number(x), number(y));
  if (start) put(from, start.x, start.y);
  where.textContent = words();
  const near = nearest();
  for (const item of form.querySelectorAll("#picture-list li")) item.classList.toggle("near", item === near);
}

function put(sign, left, top) {
  sign.style.left = `${left}%`;
  sign.style.top = `${top}%`;
}

function words() {
  if (!chosen()) return "Tap a place on the picture.";
  const near = nearest();
  const place = `${Math.round(number(x))} % across, ${Math.round(number(y))} % down`;
  const slur = start ? "The slur begins at the ring: choose where it ends, then press the same sign again. " : "";
  return `${slur}${place}${near ? `. Here: ${near.firstElementChild.textContent}` : ""}`;
}

/** The listed sign nearest to the place, if one is near. */
function nearest() {
  let found = null;
  let best = NEAR;
  for (const item of form.querySelectorAll("#picture-list li")) {
    const apart = Math.hypot(Number(item.dataset.x) - number(x), (Number(item.dataset.y) - number(y)) * tall());
    if (apart <= best) { best = apart; found = item; }
  }
  return found;
}

// --- asking for a change

function ask(what) {
  const needsPlace = !["undo", "redo"].includes(what) && !what.startsWith("take:") && !what.startsWith("move:");
  if (needsPlace && !chosen()) {
    announce("Choose a place first");
    where.textContent = "Choose a place on the picture first, then the sign.";
    board.focus();
    return;
  }
  if (what.startsWith("slur=")) {
    if (!start) {
      start = { x: number(x), y: number(y) };
      last = what;
      show();
      announce("The slur begins here. Choose where it ends, then press the same sign again.");
      return;
    }
    toX.value = x.value;
    toY.value = y.value;
    [x.value, y.value] = [start.x.toFixed(2), start.y.toFixed(2)];
  }
  const fields = [...new FormData(form)].filter(([name]) => !["what", "state"].includes(name));
  if (what.startsWith("slur=")) {
    [x.value, y.value] = [toX.value, toY.value];
    toX.value = toY.value = "";
    start = null;
  }
  if (/^(bow|finger|string|retake|slur)=/.test(what)) last = what;
  show();
  sending.send({ what, fields });
}

function body({ what, fields }) {
  const sent = new FormData();
  for (const [name, value] of fields) sent.append(name, value);
  sent.set("what", what);
  sent.set("state", form.elements.state.value);
  return sent;
}

function answered(response, text, wish) {
  if (response.status !== 200) {
    refused.innerHTML = text;
    if (response.status === 409) sending.drop();
    return;
  }
  refused.replaceChildren();
  const drawn = new DOMParser().parseFromString(text, "text/html");
  const focused = document.activeElement?.closest?.("[data-part]") ? document.activeElement : null;
  const again = focused && { words: focused.textContent, index: rowOf(focused), part: focused.closest("[data-part]").id };
  const opened = focused?.closest("details[open]") !== null && focused !== null;
  const before = listed();
  for (const part of drawn.querySelectorAll("[data-part]")) document.getElementById(part.id)?.replaceWith(document.adoptNode(part));
  follow(before, listed());
  if (wish.what === "text=") form.elements.text.value = "";
  if (wish.what === "substitution=") form.elements.substitution.value = "";
  if (again) focusAgain(again, opened);
  show();
  announce(told(wish.what));
}

const listed = () => new Set([...form.querySelectorAll('#picture-list [value^="take:"]')].map(({ value }) => value.slice(5)));

/** A sign that was moved has a new place in its name: what still waits for it, a second press say, goes to it there. */
function follow(before, after) {
  const gone = [...before].filter((sign) => !after.has(sign));
  const come = [...after].filter((sign) => !before.has(sign));
  if (gone.length !== 1 || come.length !== 1) return;
  sending.rename((wish) => (wish.what.endsWith(`:${gone[0]}`) ? { ...wish, what: wish.what.slice(0, -gone[0].length) + come[0] } : wish));
}

const rowOf = (button) => {
  const item = button.closest("li");
  return item ? [...item.parentElement.children].indexOf(item) : -1;
};

/** The button pressed has been drawn anew: the same word in the same row takes the focus, else the picture. */
function focusAgain({ words: word, index, part }, opened) {
  const place = document.getElementById(part);
  const rows = place.querySelectorAll("li");
  const scope = index < 0 ? place : rows[Math.min(index, rows.length - 1)];
  const same = scope && [...scope.querySelectorAll("button:not(:disabled)")].find((button) => button.textContent === word);
  if (same && opened) same.closest("details")?.setAttribute("open", "");
  (same ?? board).focus({ preventScroll: true });
}

function told(what) {
  if (what === "undo") return "Undone";
  if (what === "redo") return "Done again";
  if (what === "rub-out" || what.startsWith("take:")) return "Removed";
  if (what.startsWith("move:")) return "Moved";
  return "Written";
}

function failed(waiting) {
  refused.innerHTML = '<div class="notice error"><p></p><button type="button">Send again</button></div>';
  refused.querySelector("p").textContent = `The studio can’t be reached. ${waiting === 1 ? "One change waits" : `${waiting} changes wait`} in this page.`;
  refused.querySelector("button").addEventListener("click", () => sending.resume());
}

// --- touch, keys, buttons

board.addEventListener("click", (event) => {
  const box = board.getBoundingClientRect();
  choose(100 * (event.clientX - box.left) / box.width, 100 * (event.clientY - box.top) / box.height);
  board.focus({ preventScroll: true });
  if (stamp.checked && last) ask(last);
});

board.addEventListener("keydown", (event) => {
  if (event.key in MOVES && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    const step = event.shiftKey ? 5 : 1;
    const [right, down] = MOVES[event.key];
    if (chosen()) choose(number(x) + right * step, number(y) + down * step / tall());
    else choose(50, 50);
    announce(words());
  } else if (event.key === "Escape" && start) {
    start = null;
    show();
    announce("No slur");
  } else if ((event.ctrlKey || event.metaKey) && ["z", "y"].includes(event.key.toLowerCase())) {
    event.preventDefault();
    ask(event.key.toLowerCase() === "y" || event.shiftKey ? "redo" : "undo");
  } else if (event.key in KEYS && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    ask(KEYS[event.key]);
  }
});

form.addEventListener("submit", (event) => {
  const what = event.submitter?.value;
  if (!what) return;
  event.preventDefault();
  if (what !== "fields") ask(what);
  else if (document.activeElement?.dataset.enter) ask(document.activeElement.dataset.enter);
  else show();
});
for (const field of [x, y]) field.addEventListener("change", show);

form.addEventListener("focusin", (event) => {
  const item = event.target.closest?.("#picture-list li");
  if (item) choose(Number(item.dataset.x), Number(item.dataset.y));
});

document.documentElement.classList.add("scripted");
for (const part of form.querySelectorAll("[data-scripted]")) part.hidden = false;
for (const part of form.querySelectorAll("[data-plain]")) part.hidden = true;
show();
