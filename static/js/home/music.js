// One excerpt or practice stave on the page: its notes can be tapped to play from one to another, and light up while
// they sound. Both drawings, for narrow and wide screens, stand in the page; CSS shows one.

import { eventOf, readNotes, stretch } from "./timing.js";

const REACH = 44; // px: a tap further than this from every note picks nothing

export class Music {
  constructor(element, told, changed) {
    Object.assign(this, { element, told, changed });
    this.notes = readNotes(told.schedule);
    this.first = "";
    this.last = "";
    this.tempo = told.start;
    this.title = element.dataset.title;
    element.addEventListener("click", (event) => this.#tapped(event));
    element.addEventListener("keydown", (event) => this.#key(event));
    for (const drawing of element.querySelectorAll("[data-drawing]")) {
      const places = [...drawing.querySelectorAll("[data-address]")];
      places.forEach((place, number) => place.setAttribute("tabindex", number ? "-1" : "0"));
    }
  }

  /** What is to be played, in quarter notes. */
  get stretch() {
    const { length } = this.told.schedule;
    return this.first ? stretch(this.notes, length, this.first, this.last) : { from: 0, to: length };
  }

  get loops() {
    return Boolean(this.first && this.last);
  }

  get shown() {
    return [...this.element.querySelectorAll("[data-drawing]")].find((drawing) => drawing.offsetParent !== null);
  }

  places(address) {
    const event = eventOf(address);
    return [...this.element.querySelectorAll(`[data-address="${address}"], [data-address="${event}"]`)];
  }

  /** The first tap is the beginning, the second the end of what is repeated, a third begins anew. */
  pick(address) {
    const event = eventOf(address);
    const onset = (name) => this.notes.find((note) => eventOf(note.address) === name)?.onset;
    if (onset(event) === undefined) return;
    if (!this.first || this.last) {
      [this.first, this.last] = [event, ""];
    } else if (onset(event) < onset(this.first)) {
      [this.first, this.last] = [event, this.first];
    } else {
      this.last = event;
    }
    this.show();
    this.changed(this);
  }

  clear() {
    [this.first, this.last] = ["", ""];
    this.show();
    this.changed(this);
  }

  /** A note in words, as the picture names it: “bar 3, second note”. */
  words(address) {
    const label = this.places(address)[0]?.getAttribute("aria-label") ?? "";
    return label.split(", ").slice(0, 2).join(", ");
  }

  show() {
    const { from, to } = this.stretch;
    const inside = new Set(this.first
      ? this.notes.filter((note) => note.onset >= from - 1e-4 && note.onset < to - 1e-4).map((note) => eventOf(note.address))
      : []);
    for (const place of this.element.querySelectorAll("[data-address]")) {
      const event = eventOf(place.dataset.address);
      const end = Boolean(event) && (event === this.first || event === this.last);
      place.setAttribute("aria-pressed", String(end));
      place.classList.toggle("inside", this.loops && inside.has(event) && !end);
    }
  }

  /** Light up what sounds now. */
  follow(addresses) {
    const wanted = new Set(addresses.flatMap((address) => this.places(address)));
    for (const place of this.element.querySelectorAll(".now")) if (!wanted.has(place)) place.classList.remove("now");
    for (const place of wanted) place.classList.add("now");
    const system = [...wanted].map((place) => place.closest(".system")).find((each) => each?.offsetParent !== null);
    if (system && system !== this.system) {
      this.system = system;
      const quiet = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
      system.scrollIntoView({ block: "nearest", behavior: quiet ? "auto" : "smooth" });
    }
  }

  #tapped(event) {
    const drawing = event.target.closest("[data-drawing]");
    if (!drawing) return;
    const place = event.target.closest("[data-address]") ?? this.#nearest(drawing, event);
    if (!place) return;
    this.#focus(place, drawing);
    this.pick(place.dataset.address);
  }

  #nearest(drawing, { clientX, clientY }) {
    let [found, best] = [null, REACH];
    for (const place of drawing.querySelectorAll("[data-address]")) {
      const box = place.getBoundingClientRect();
      const away = Math.hypot(
        Math.max(box.left - clientX, 0, clientX - box.right), Math.max(box.top - clientY, 0, clientY - box.bottom),
      );
      if (away < best) [found, best] = [place, away];
    }
    return found;
  }

  #focus(place, drawing) {
    drawing.querySelector('[data-address][tabindex="0"]')?.setAttribute("tabindex", "-1");
    place.setAttribute("tabindex", "0");
    place.focus({ preventScroll: true });
  }

  #key(event) {
    const place = event.target.closest?.("[data-address]");
    if (!place) return;
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.pick(place.dataset.address);
      return;
    }
    if (event.key === "Escape") {
      this.clear();
      return;
    }
    const drawing = place.closest("[data-drawing]");
    const places = [...drawing.querySelectorAll("[data-address]")];
    const at = places.indexOf(place);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: places.length - 1 }[event.key];
    if (to === undefined || !places[to]) return;
    event.preventDefault();
    this.#focus(places[to], drawing);
    places[to].scrollIntoView({ block: "nearest" });
  }
}
