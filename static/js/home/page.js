// The student's page: its player, the notes that can be tapped, drones, the days, the line to the teacher, and the
// worker that keeps the page for use without network.

import { Days } from "./days.js";
import { Keeping } from "./keep.js";
import { Music } from "./music.js";
import { Player } from "./player.js";
import { drone, speaker } from "./sound.js";

const told = JSON.parse(document.getElementById("home-page").textContent);
const sends = Boolean(told.address);
const panel = document.querySelector("[data-player]");
const find = (name) => panel.querySelector(`[data-${name}]`);
const say = (words) => { document.getElementById("status").textContent = words; };

let context = null;
let output = null;
let player = null;
let current = null;
const musics = new Map();
const sounding = new Map(); // drones by their button

function audio() {
  if (!context) {
    context = new AudioContext({ latencyHint: "interactive" });
    output = speaker(context);
    player = new Player(context, output, stopped);
    window.passagework = { context, player };
  }
  context.resume();
  return context;
}

// --- the player -------------------------------------------------------------------------------------------------

function pressed(name) {
  return find(name).getAttribute("aria-pressed") === "true";
}

function options() {
  return {
    stretch: current.stretch, tempo: current.tempo, a4: told.a4, loop: current.loops || pressed("loop"), click: pressed("click"),
    tones: pressed("tones"), other: pressed("other") && current.told.cue ? current.told.cue.schedule : null, countIn: pressed("count-in"), vibrato: pressed("vibrato"),
  };
}

function play() {
  audio();
  player.start(current.told.schedule, options());
  showPlaying();
  follow();
}

function restart() {
  if (!player?.playing) return;
  const { from, to } = current.stretch;
  const at = Math.min(Math.max(player.position, from), to);
  const tail = current.loops || pressed("loop") || at < to - 1e-3;
  player.start(current.told.schedule, { ...options(), countIn: false }, tail ? at : from);
}

function stop() {
  player?.stop();
  stopped();
}

function stopped() {
  current?.follow([]);
  showPlaying();
}

function toggle(music) {
  if (player?.playing && current === music) {
    stop();
    return;
  }
  if (current !== music) choose(music);
  play();
}

function choose(music) {
  if (current && current !== music) {
    player?.stop();
    current.follow([]);
  }
  current = music;
  showPanel();
}

function showPlaying() {
  const playing = Boolean(player?.playing);
  for (const music of musics.values()) {
    const button = music.element.querySelector("[data-play-this]");
    const on = playing && music === current;
    button.querySelector("[data-word]").textContent = on ? "Stop" : "Play";
    button.classList.toggle("on", on);
    music.element.classList.toggle("current", music === current);
  }
  find("play").querySelector("[data-word]").textContent = playing ? "Stop" : "Play";
  find("play").classList.toggle("on", playing);
}

function showPanel() {
  const { tempo } = current.told;
  panel.hidden = false;
  find("what").textContent = current.title;
  const words = current.loops
    ? `${current.words(current.first)}, to ${current.words(current.last)}, again and again`
    : current.first ? `from ${current.words(current.first)}; tap where to end, to repeat it` : "all of it";
  find("where").textContent = words;
  find("whole").hidden = !current.first;
  find("other").hidden = !current.told.cue;
  if (current.told.cue) find("other").textContent = current.told.cue.name;
  const slider = find("tempo");
  const known = [tempo.now, tempo.goal, current.told.start].filter(Boolean);
  slider.min = Math.max(20, Math.floor(Math.min(...known) / 2));
  slider.max = Math.min(320, Math.ceil(Math.max(...known) * 1.25));
  slider.value = current.tempo;
  find("beat").src = tempo.sign;
  find("marks").replaceChildren(...[["now", tempo.now], ["goal", tempo.goal]].filter(([, at]) => at).map(([word, at]) => {
    const mark = document.createElement("span");
    mark.className = word;
    mark.textContent = `${word} ${at}`;
    mark.style.left = `${(100 * (at - slider.min)) / (slider.max - slider.min)}%`;
    return mark;
  }));
  showTempo();
  showPlaying();
}

function showTempo() {
  find("number").textContent = current.tempo;
  find("tempo").setAttribute("aria-valuetext", `${current.told.tempo.unit} = ${current.tempo}`);
  for (const rung of document.querySelectorAll("[data-rung]")) {
    const music = musics.get(rung.dataset.of);
    rung.setAttribute("aria-pressed", String(music === current && music.tempo === Number(rung.dataset.rung)));
  }
}

function setTempo(value) {
  const slider = find("tempo");
  current.tempo = Math.min(Number(slider.max), Math.max(Number(slider.min), value));
  slider.value = current.tempo;
  showTempo();
  restart();
}

function follow() {
  if (!player.playing) return;
  current.follow(player.soundingAt(context.currentTime - (context.outputLatency || 0)));
  requestAnimationFrame(follow);
}

// --- drones -----------------------------------------------------------------------------------------------------

function tuning(button) {
  return button.closest("[data-drones]").querySelector("[data-tuning]:checked").dataset.tuning;
}

function silence(button) {
  sounding.get(button)?.stop(context.currentTime);
  sounding.delete(button);
  button.setAttribute("aria-pressed", "false");
}

function hold(button) {
  const hertz = Number(button.dataset[tuning(button)]);
  for (const other of [...sounding.keys()]) if (other.dataset.group !== button.dataset.group) silence(other);
  audio();
  sounding.set(button, drone(context, output, hertz, context.currentTime + 0.02));
  button.setAttribute("aria-pressed", "true");
}

// --- beginning --------------------------------------------------------------------------------------------------

function showLine({ waiting, state, problem = "" }) {
  const place = document.querySelector("[data-line]");
  const words = {
    sent: waiting ? "" : "Everything is sent.",
    waiting: `${waiting} kept on this device, sent when there is network again.`,
    closed: "This page’s link was ended, so nothing more can be sent: ask your teacher for a new one.",
    full: "This browser can’t keep anything: write it on paper for your teacher.",
    refused: problem,
  }[state];
  place.textContent = words;
  place.hidden = !words;
  place.classList.toggle("warning", state !== "sent");
}

const keeping = sends ? new Keeping(showLine) : null;
const days = new Days(told, `passagework-home-ticks-${told.key}`, (fields) => keeping?.keep(`${told.address}keep`, fields));
for (const form of document.querySelectorAll("form[data-item]")) days.attach(form);

for (const element of document.querySelectorAll("[data-music]")) {
  const music = new Music(element, told.music[element.dataset.music], (changed) => {
    if (current === changed) showPanel();
    else choose(changed);
    if (player?.playing) play();
    say(find("where").textContent);
  });
  musics.set(element.dataset.music, music);
  const button = element.querySelector("[data-play-this]");
  button.hidden = false;
  button.addEventListener("click", () => toggle(music));
}

for (const toggling of panel.querySelectorAll("button[aria-pressed]")) {
  toggling.addEventListener("click", () => {
    toggling.setAttribute("aria-pressed", String(toggling.getAttribute("aria-pressed") !== "true"));
    restart();
  });
}
for (const rung of document.querySelectorAll("[data-rung]")) {
  rung.addEventListener("click", () => {
    const music = musics.get(rung.dataset.of);
    if (!music) return;
    if (current !== music) choose(music);
    setTempo(Number(rung.dataset.rung));
    say(`${music.title}: ${rung.dataset.rung}`);
  });
}
find("play").addEventListener("click", () => toggle(current));
find("whole").addEventListener("click", () => { current.clear(); find("play").focus(); });
find("tempo").addEventListener("input", (event) => { current.tempo = Number(event.target.value); showTempo(); });
find("tempo").addEventListener("change", (event) => setTempo(Number(event.target.value)));
find("slower").addEventListener("click", () => setTempo(current.tempo - 2));
find("faster").addEventListener("click", () => setTempo(current.tempo + 2));

for (const group of document.querySelectorAll("[data-drones]")) {
  group.hidden = false;
  for (const button of group.querySelectorAll("button")) {
    button.addEventListener("click", () => (sounding.has(button) ? silence(button) : hold(button)));
  }
  for (const choice of group.querySelectorAll("[data-tuning]")) {
    choice.addEventListener("change", () => {
      for (const button of [...sounding.keys()]) { silence(button); hold(button); }
    });
  }
}

const form = document.querySelector("[data-question]");
form?.addEventListener("submit", (event) => {
  event.preventDefault();
  const field = form.querySelector("[name=text]");
  const text = field.value.trim();
  if (!text) { field.focus(); return; }
  if (keeping.keep(`${told.address}keep`, { what: "question", text })) {
    field.value = "";
    say("Kept for your teacher.");
    document.querySelector("[data-asked]").append(Object.assign(document.createElement("li"), { textContent: text }));
  }
});

if (keeping) {
  if (keeping.line.length) keeping.send();
  if ("serviceWorker" in navigator && window.isSecureContext) {
    navigator.serviceWorker.register(`${told.address}worker.js`, { scope: told.address }).then(() => navigator.serviceWorker.ready).then(() => {
      document.body.dataset.offline = "ready";
      document.querySelector("[data-offline]").hidden = false;
    }, () => {});
  }
}
if (musics.size) choose(musics.values().next().value);
document.body.dataset.ready = "yes";
