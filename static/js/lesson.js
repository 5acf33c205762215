// The lesson page: every tap is kept first and sent then (keeping.js), and shown at once; the note saves by itself.

import { drop, hurry, keep, line, listen, makeToken } from "./keeping.js";
import { announce } from "./page.js";

const TEMPO_PAUSE = 1200; // ms without a further tap before a tempo is sent
const NOTE_PAUSE = 800;
const REACH = 60; // px from the nearest note that a tap still means

// The traditional metronome steps, as in lessons/tempo.py.
const STEPS = [];
for (const [from, to, by] of [[40, 60, 2], [60, 72, 3], [72, 120, 4], [120, 144, 6], [144, 209, 8]]) {
  for (let tempo = from; tempo < to; tempo += by) STEPS.push(tempo);
}
const faster = (tempo) => (tempo ? STEPS.find((step) => step > tempo) ?? Math.min(320, tempo + 8) : 60);
const slower = (tempo) => (tempo ? STEPS.findLast((step) => step < tempo) ?? Math.max(20, tempo - 2) : 60);
const clock = (date = new Date()) => date.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

let leaving = ""; // token of the finish that leads away from this page

/* ---- taps and forms ---- */

document.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-keep]");
  if (!form) return;
  event.preventDefault();
  const button = event.submitter;
  const fields = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
  if (button?.name) fields.push([button.name, button.value]);
  const address = form.action;
  const about = form.dataset.about ?? "";
  const acts = { outcome, tempo, note, phrase, flag, switch: change, heard, undo, finish };
  acts[form.dataset.keep]({ form, button, fields, address, about });
});

function outcome({ form, button, fields, address, about }) {
  const words = `${button.value}: ${form.querySelector(".outcome-words").textContent.trim()}`;
  const before = form.querySelector("[aria-pressed=true]")?.id ?? "";
  press(form, button);
  done(keep({ address, fields, words, about, before }), about, words);
}

function press(form, button) {
  for (const each of form.querySelectorAll("[aria-pressed]")) each.setAttribute("aria-pressed", String(each === button));
}

function tempo({ form, button, fields, address, about }) {
  const now = Number(form.querySelector("[data-tempo-now]").dataset.tempoNow) || null;
  const next = !now && form.dataset.start ? Number(form.dataset.start) : button.dataset.tempo === "faster" ? faster(now) : slower(now);
  const key = `tempo-${about}-${writer}`;
  const waiting = line().find((item) => item.key === key);
  showTempo(form, next);
  announce(form.elements.start ? `Start tempo ${next}` : String(next));
  const sent = fields.map(([name, value]) => [name, name === "tempo" ? String(next) : value]);
  const before = waiting ? waiting.before : now;
  const words = `${form.elements.start ? "start tempo" : "tempo"} ${next}`;
  done(keep({ address, fields: sent, words, about, key, before, after: TEMPO_PAUSE }), about, words, { quiet: true });
}

function showTempo(form, value) {
  const shown = form.querySelector("[data-tempo-now]");
  shown.dataset.tempoNow = value ?? "";
  shown.textContent = value ?? "–";
  for (const button of form.querySelectorAll("[data-tempo]")) {
    const up = button.dataset.tempo === "faster";
    const start = value ? "" : form.dataset.start;
    button.value = start || (up ? faster(value) : slower(value));
    button.setAttribute("aria-label", `${start ? "Start tempo" : up ? "Faster" : "Slower"}: ${button.value}`);
  }
}

function note({ form, fields, address, about }) {
  const text = (fields.find(([name]) => name === "text")?.[1] ?? "").trim();
  const theme = fields.find(([name]) => name === "theme")?.[1] ?? "";
  if (!text && !theme) {
    announce("Choose a theme or write a word first.");
    form.querySelector("textarea").focus();
    return;
  }
  const words = [theme, text].filter(Boolean).join(": ");
  done(keep({ address, fields, words, about }), about, words);
  form.reset();
}

function phrase({ button, fields, address, about }) {
  const theme = button.dataset.theme;
  done(keep({ address, fields: theme ? [...fields, ["theme", theme]] : fields, words: button.value, about }), about, button.value);
}

function flag({ form, button, fields, address, about }) {
  const select = form.querySelector("select");
  const words = `flag: ${select.selectedOptions[0]?.textContent ?? ""}, ${button?.textContent ?? ""}`;
  done(keep({ address, fields, words, about }), about, words);
  for (const each of document.querySelectorAll(".picked")) each.classList.remove("picked");
  form.closest("details").open = false;
  form.closest("details").querySelector("summary").focus({ preventScroll: true });
}

function change({ form, button, fields, address, about }) {
  const words = button?.dataset.words ?? `marking “${form.querySelector("select")?.selectedOptions[0]?.textContent.trim()}”`;
  done(keep({ address, fields, words, about }), about, words);
  form.closest("details")?.removeAttribute("open");
}

function heard({ button, fields, address, about }) {
  const words = button.dataset.words;
  button.disabled = true;
  done(keep({ address, fields, words, about, before: button.id }), about, words, { reopens: button.dataset.point });
}

/** An action is on its way: name it beside Undo and list it as not sent yet. */
function done(token, about, words, { quiet = false, reopens = "" } = {}) {
  if (actions.at(-1)?.token !== token) actions.push({ token, words, reopens });
  actions.at(-1).words = words;
  showUndo();
  list(token, about, words);
  if (!quiet) announce(`${words}. Kept.`);
}

/** What can be taken back, oldest first; the studio's own last action is at its start. */
function lastKnown() {
  const form = document.querySelector(".undo");
  const token = form?.elements.undoes.value;
  const reopens = form?.elements.reopen.value ? token : "";
  return token ? [{ token, words: form.querySelector("[data-undo-words]").textContent, reopens }] : [];
}

function showUndo() {
  const form = document.querySelector(".undo");
  const last = actions.at(-1);
  form.elements.undoes.value = last?.token ?? "";
  form.querySelector("[data-undo-words]").textContent = last?.words ?? "";
  form.querySelector(".undo-verb").textContent = last ? "Undo:" : "Undo";
  form.querySelector("button").disabled = !last;
}

function list(token, about, words, made = new Date()) {
  const noted = document.querySelector(`[data-noted="${about}"]`);
  if (!noted) return;
  const row = noted.querySelector(`[data-token="${token}"]`) ?? document.createElement("li");
  row.dataset.token = token;
  row.className = "waiting-row";
  row.textContent = `${clock(made)} ${words} (not sent yet)`;
  noted.append(row);
}

function undo({ address }) {
  const last = actions.pop();
  if (!last) return;
  const waiting = line().find((item) => item.token === last.token);
  const row = document.querySelector(`[data-token="${last.token}"]`);
  const about = waiting?.about ?? row?.closest("[data-noted]")?.dataset.noted ?? "";
  row?.remove();
  if (drop(last.token)) {
    const region = document.getElementById(`work-${about}`);
    const step = waiting.fields.find(([name]) => name === "step")?.[1] ?? "";
    const outcomes = document.getElementById(`better-${about}-${step}`)?.closest("form");
    if (waiting.key.startsWith("tempo-")) showTempo(region.querySelector("form[data-keep=tempo]"), waiting.before);
    else if (document.getElementById(waiting.before)?.dataset.point) document.getElementById(waiting.before).disabled = false;
    else if (waiting.fields.some(([name]) => name === "outcome") && outcomes) press(outcomes, document.getElementById(waiting.before));
  } else {
    const fields = last.reopens ? [["undoes", last.reopens], ["reopen", "yes"]] : [["undoes", last.token]];
    keep({ address, fields, words: `undo ${last.words}`, about });
  }
  showUndo();
  announce(`Taken back: ${last.words}.`);
}

function finish({ form, fields, address }) {
  leaving = keep({ address, fields, words: "finishing the lesson", key: address });
  for (const button of form.querySelectorAll("button")) button.disabled = true;
  hurry();
  announce("Finishing.");
}

/* ---- answers ---- */

function stillWaits(about) {
  return line().some((item) => item.about === about && !item.key.startsWith("note-"));
}

listen({
  answered(item, answer) {
    if (item.key.startsWith("note-")) return noteSaved(answer);
    if (item.token === leaving && answer.go) return window.location.assign(answer.go);
    // A later tap on the same work is still waiting: its own answer brings the newer state.
    for (const [id, html] of Object.entries(answer.parts ?? {})) {
      const region = document.getElementById(id);
      const newer = id === "last-action" ? line().some((each) => !each.key.startsWith("note-")) : item.about && stillWaits(item.about);
      if (!region || newer) continue;
      const focused = region.contains(document.activeElement) ? document.activeElement.id : "";
      region.innerHTML = html;
      if (focused) (document.getElementById(focused) ?? region.closest("section") ?? region).focus?.({ preventScroll: true });
      if (id === "last-action") actions = lastKnown();
    }
    ring();
    return undefined;
  },
  refused(item, answer, status) {
    if (status === 409 && item.key.startsWith("note-")) return noteConflict(answer);
    if (item.token === leaving) enableFinish();
    document.querySelector(`[data-token="${item.token}"]`)?.remove();
    announce(answer.error ?? "That was not taken.");
    return undefined;
  },
  kept(item) {
    if (item.key.startsWith("note-")) noteStatus("kept here, not sent yet");
    if (item.token === leaving) enableFinish();
  },
});

function enableFinish() {
  for (const button of document.querySelectorAll("#finish button")) button.disabled = false;
}

/* ---- the lesson note ---- */

const noteForm = document.querySelector("form[data-note]");
const noteBegins = `note-${noteForm.dataset.note}-`;
const leftOver = line().find((item) => item.key.startsWith(noteBegins));
// A note left waiting goes on under the name of the page that wrote it, so that it is no conflict with itself.
const writer = leftOver ? leftOver.key.slice(noteBegins.length) : makeToken();
const noteKey = noteBegins + writer;
let actions = lastKnown();

function noteStatus(words) {
  const status = noteForm.querySelector("[data-note-status]");
  if (status.textContent !== words) status.textContent = words;
}

function keepNote(after = NOTE_PAUSE) {
  const fields = [
    ["note", noteForm.elements.note.value],
    ["private_note", noteForm.elements.private_note.value],
    ["writer", writer],
    ["base", noteForm.elements.base.value],
  ];
  keep({ address: noteForm.action, fields, words: "the lesson note", key: noteKey, after });
}

function noteSaved(answer) {
  noteForm.elements.base.value = answer.version;
  if (!line().some((item) => item.key === noteKey)) noteStatus(`saved ${answer.saved}`);
}

function noteConflict(answer) {
  const box = noteForm.querySelector("[data-note-conflict]");
  box.querySelector("[data-note-theirs]").textContent = [answer.note, answer.private_note].filter(Boolean).join(" / ");
  box.hidden = false;
  noteStatus("not saved: choose one of the two");
  box.onclick = (event) => {
    const choice = event.target.dataset.noteKeep;
    if (!choice) return;
    noteForm.elements.base.value = answer.version;
    if (choice === "theirs") {
      noteForm.elements.note.value = answer.note;
      noteForm.elements.private_note.value = answer.private_note;
      noteStatus(`saved ${answer.saved}`);
    } else {
      keepNote(0);
    }
    box.hidden = true;
    noteForm.elements.note.focus();
  };
}

noteForm.querySelector("[data-note-button]").hidden = true;
if (leftOver) {
  const held = Object.fromEntries(leftOver.fields);
  noteForm.elements.note.value = held.note;
  noteForm.elements.private_note.value = held.private_note;
  noteStatus("kept here, not sent yet");
}
noteForm.addEventListener("input", () => {
  noteStatus("…");
  keepNote();
});
noteForm.addEventListener("focusout", () => { if (line().some((item) => item.key === noteKey)) hurry(); });
noteForm.addEventListener("submit", (event) => { event.preventDefault(); keepNote(0); });
window.addEventListener("beforeunload", (event) => {
  if (!noteForm.querySelector("[data-note-conflict]").hidden) event.preventDefault();
});

/* ---- flags on notes ---- */

function nearest(excerpt, x, y) {
  let best = null;
  let least = REACH;
  for (const place of excerpt.querySelectorAll("g.note[data-address]")) {
    const box = (place.querySelector(":scope > use, :scope > path") ?? place).getBoundingClientRect();
    const away = Math.hypot(x - (box.left + box.width / 2), (y - (box.top + box.height / 2)) * 0.6);
    if (away < least) [best, least] = [place, away];
  }
  return best;
}

function pick(excerpt, place) {
  const details = document.getElementById(excerpt.dataset.flags);
  const select = details.querySelector("select");
  const address = place.dataset.address.replace(/p\d+$/, "");
  if (![...select.options].some((option) => option.value === address)) return;
  select.value = address;
  details.open = true;
  for (const each of excerpt.querySelectorAll(".picked")) each.classList.remove("picked");
  place.classList.add("picked");
  details.querySelector(".themes button").focus({ preventScroll: true });
  // The form rests at the foot of the window: the note goes up from under it.
  const covered = place.getBoundingClientRect().bottom + 24 - details.getBoundingClientRect().top;
  if (covered > 0) window.scrollBy(0, covered);
  announce(select.selectedOptions[0].textContent);
}

document.addEventListener("click", (event) => {
  const excerpt = event.target.closest(".lesson-excerpt");
  if (!excerpt) return;
  const place = nearest(excerpt, event.clientX, event.clientY);
  if (place) pick(excerpt, place);
});
document.addEventListener("keydown", (event) => {
  const place = event.target.closest?.(".lesson-excerpt g[data-address]");
  if (!place) return;
  const excerpt = place.closest(".lesson-excerpt");
  const places = [...excerpt.querySelectorAll("g[data-address]")];
  const next = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (next) {
    event.preventDefault();
    places[places.indexOf(place) + next]?.focus();
  } else if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    pick(excerpt, place);
  }
});

/** Mark the flagged notes in the notation; the list below says the same in words. */
function ring() {
  for (const excerpt of document.querySelectorAll(".lesson-excerpt")) {
    const section = excerpt.closest("section");
    const flagged = new Set([...section.querySelectorAll("[data-flagged]")].map((row) => row.dataset.flagged));
    for (const place of excerpt.querySelectorAll("g[data-address]")) {
      place.classList.toggle("flagged", flagged.has(place.dataset.address.replace(/p\d+$/, "")));
    }
  }
}
document.addEventListener("excerpt:redrawn", ring);
ring();

/* ---- what this page left waiting when it was last open ---- */

for (const item of line()) {
  if (!item.about || item.key.startsWith("note-")) continue;
  list(item.token, item.about, item.words, new Date(item.made));
  const tempoForm = item.key.startsWith("tempo-") && document.querySelector(`#work-${item.about} form[data-keep=tempo]`);
  if (tempoForm) showTempo(tempoForm, Number(item.fields.find(([name]) => name === "tempo")[1]));
}
