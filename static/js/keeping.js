// What is noted without network is kept in this browser and sent when the studio can be reached, exactly once.
//
// Every action is put in line in localStorage first, with its time and a token, and then sent; the studio stores a
// token once, so an action whose answer was lost can be sent again. Actions of one signed-in teacher are never sent
// for another. A page that shows the line has an element with data-waiting.

import { requestToken } from "./page.js";

const keeper = document.body.dataset.keeper ?? "";
const LINE = `passagework-waiting-${keeper}`;
const RETRY = 5000; // ms, doubled up to RETRY_AT_MOST while the studio can't be reached
const RETRY_AT_MOST = 40000;

let retry = RETRY;
let timer = 0;
let sending = false;
let inFlight = "";
let reached = true;
let why = "";
const refused = [];
const listeners = new Set();

/** A random identifier (UUID 4); crypto.randomUUID needs HTTPS, a studio's network may not have it. */
export function makeToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

export function line() {
  try {
    return JSON.parse(localStorage.getItem(LINE)) ?? [];
  } catch {
    return [];
  }
}

function store(items) {
  try {
    if (items.length) localStorage.setItem(LINE, JSON.stringify(items));
    else localStorage.removeItem(LINE);
    return true;
  } catch {
    why = "This browser’s store is full or switched off, so nothing can be kept here: write it down elsewhere.";
    return false;
  }
}

/**
 * Keep an action and send it as soon as it may go.
 *
 * `key`: an action with the same key that has not been sent yet is replaced (a tempo tapped up five times is one
 * action). `before` is what the page showed before it, for an undo. `after` is how long (ms) to wait for that. Returns the token.
 */
export function keep({ address, fields, words = "", about = "", key = "", before = null, after = 0 }) {
  const items = line();
  const now = Date.now();
  const earlier = key ? items.find((item) => item.key === key && item.token !== inFlight) : undefined;
  const token = earlier?.token ?? makeToken();
  const item = { token, address, fields, words, about, key, before, made: new Date(now).toISOString(), due: now + after };
  if (earlier) items.splice(items.indexOf(earlier), 1, item);
  else items.push(item);
  store(items);
  show();
  soon(after);
  return token;
}

/** Take an action out of the line before it is sent. True when that was possible. */
export function drop(token) {
  const items = line();
  const left = items.filter((item) => item.token !== token);
  if (token === inFlight || left.length === items.length) return false;
  store(left);
  show();
  return true;
}

/** `listen({ answered(item, answer), refused(item, answer, status), kept(item) })` */
export function listen(listener) {
  listeners.add(listener);
}

function tell(name, ...values) {
  for (const listener of listeners) listener[name]?.(...values);
}

function soon(after) {
  window.clearTimeout(timer);
  timer = window.setTimeout(send, after);
}

/** Nothing waits any longer for more taps: send what is there. */
export function hurry() {
  store(line().map((item) => ({ ...item, due: 0 })));
  return send();
}

async function send() {
  if (sending) return;
  sending = true;
  try {
    if (navigator.locks) await navigator.locks.request(`${LINE}-sending`, sendLine);
    else await sendLine();
  } finally {
    sending = false;
    inFlight = "";
    show();
  }
  const left = line();
  if (!left.length) return;
  if (reached) {
    soon(Math.max(30, Math.min(...left.map((item) => item.due)) - Date.now()));
  } else {
    soon(retry);
    retry = Math.min(retry * 2, RETRY_AT_MOST);
  }
}

async function sendLine() {
  for (;;) {
    const item = line().find((each) => each.due <= Date.now());
    if (!item) return;
    inFlight = item.token;
    const outcome = await sendOne(item);
    if (outcome === "later") {
      reached = false;
      for (const each of line()) tell("kept", each);
      return;
    }
    reached = true;
    retry = RETRY;
    why = "";
    store(line().filter((each) => each.token !== item.token));
    inFlight = "";
    if (outcome.status >= 400) {
      if (outcome.status !== 409) refused.push({ item, error: outcome.answer.error ?? "It no longer fits." });
      tell("refused", item, outcome.answer, outcome.status);
    } else {
      tell("answered", item, outcome.answer);
    }
    show();
  }
}

async function sendOne(item) {
  const body = new FormData();
  for (const [name, value] of item.fields) body.append(name, value);
  body.set("token", item.token);
  body.set("made_at", item.made);
  let response;
  try {
    response = await fetch(item.address, {
      method: "POST",
      body,
      headers: { Accept: "application/json", "X-CSRFToken": requestToken() },
      credentials: "same-origin",
      redirect: "manual",
      keepalive: document.visibilityState === "hidden",
    });
  } catch {
    why = "There is no connection to the studio.";
    return "later";
  }
  if (response.type === "opaqueredirect" || response.status === 403) {
    why = "You are signed out, or signed in anew elsewhere: open this page again and sign in. Nothing is lost.";
    return "later";
  }
  if (response.status >= 500 || response.status === 429) {
    why = "The studio could not take it just now.";
    return "later";
  }
  let answer = {};
  try {
    answer = await response.json();
  } catch {
    if (response.ok) {
      why = "The studio’s answer broke off.";
      return "later";
    }
    answer = { error: response.status === 404 ? "What it belonged to is gone." : "It was not understood." };
  }
  return { status: response.status, answer };
}

function show() {
  const box = document.querySelector("[data-waiting]");
  if (!box) return;
  const items = line();
  const late = items.filter((item) => item.due <= Date.now());
  const waiting = !reached || !navigator.onLine ? items : late.filter((item) => Date.now() - Date.parse(item.made) > 4000);
  box.hidden = !waiting.length && !refused.length;
  const count = box.querySelector("[data-waiting-count]");
  const said = waiting.length
    ? `${waiting.length} ${waiting.length === 1 ? "entry is" : "entries are"} kept here and not sent yet.`
    : "";
  if (count.textContent !== said) count.textContent = said;
  const reason = waiting.length ? why || (navigator.onLine ? "" : "There is no network.") : "";
  const explained = box.querySelector("[data-waiting-why]");
  if (explained.textContent !== reason) explained.textContent = reason;
  const list = box.querySelector("[data-waiting-refused]");
  list.hidden = !refused.length;
  list.replaceChildren(
    ...refused.map(({ item, error }) => {
      const row = document.createElement("li");
      row.textContent = `Not taken: ${item.words || "an entry"}. ${error}`;
      return row;
    }),
  );
}

window.addEventListener("online", () => { retry = RETRY; send(); });
window.addEventListener("offline", show);
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") hurry(); else send(); });
show();
if (line().length) send();
