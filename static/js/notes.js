// Notes that can be picked: one, or from one to another, by touch, mouse and keys. The list box keeps the
// focus and names the active note, so that the picture inside it can be drawn anew at any time.

const REACH = 90; // px: a tap further from every note picks nothing

export class Notes {
  /** `box` is the list box around the picture; `changed` is called after every pick. */
  constructor(box, changed) {
    this.box = box;
    this.changed = changed;
    this.active = "";
    this.anchor = "";
    this.extending = false;
    box.addEventListener("click", (event) => this.#tapped(event));
    box.addEventListener("keydown", (event) => this.#moved(event));
    box.addEventListener("focus", () => { if (!this.active && this.places.length) this.pick(this.places[0].dataset.address); });
  }

  get places() {
    return [...this.box.querySelectorAll("[role=option]")];
  }

  place(address) {
    return document.getElementById(`pick-${address}`);
  }

  get events() {
    return [...new Set(this.places.map((place) => place.dataset.event))];
  }

  /** First and last address of the selection in reading order; empty strings when nothing is picked. */
  get selection() {
    if (!this.active) return { first: "", last: "" };
    if (this.anchor === this.active) return { first: this.active, last: this.active };
    const order = this.places.map((place) => place.dataset.address);
    const ends = [this.anchor, this.active];
    if (order.indexOf(ends[0]) > order.indexOf(ends[1])) ends.reverse();
    return { first: ends[0], last: ends[1] };
  }

  pick(address, { extend = false, scroll = true } = {}) {
    if (!this.place(address)) return;
    if (!(extend || this.extending) || !this.anchor) this.anchor = address;
    this.active = address;
    this.extending = false;
    this.show();
    if (scroll) this.#scroll();
    this.changed();
  }

  /** Draw the selection on the places; call it again after the picture was drawn anew. */
  show() {
    const { first, last } = this.selection;
    const places = this.places;
    const order = places.map((place) => place.dataset.address);
    const [from, to] = [order.indexOf(first), order.indexOf(last)];
    const several = first !== last;
    const ends = several ? [this.place(first)?.dataset.event, this.place(last)?.dataset.event] : [];
    places.forEach((place, index) => {
      const inside = several
        ? (index >= from && index <= to) || ends.includes(place.dataset.event)
        : place.dataset.address === first;
      place.setAttribute("aria-selected", String(Boolean(first) && inside));
      place.classList.toggle("active", place.dataset.address === this.active);
    });
    if (this.active && this.place(this.active)) this.box.setAttribute("aria-activedescendant", `pick-${this.active}`);
    else this.box.removeAttribute("aria-activedescendant");
  }

  move(steps, { extend = false } = {}) {
    const events = this.events;
    if (!this.active) return this.pick(this.places[0]?.dataset.address);
    const here = this.place(this.active);
    const next = events[events.indexOf(here.dataset.event) + steps];
    if (!next) return undefined;
    const members = this.#members(next);
    const rank = this.#members(here.dataset.event).indexOf(here);
    return this.pick((members[rank] ?? members[members.length - 1]).dataset.address, { extend });
  }

  #members(event) {
    return this.places.filter((place) => place.dataset.event === event);
  }

  #within(steps) {
    const members = this.#members(this.place(this.active).dataset.event);
    const next = members[members.indexOf(this.place(this.active)) + steps];
    if (next) this.pick(next.dataset.address);
  }

  #moved(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const extend = event.shiftKey;
    const places = this.places;
    const actions = {
      ArrowLeft: () => this.move(-1, { extend }),
      ArrowRight: () => this.move(1, { extend }),
      ArrowUp: () => this.active && this.#within(1),
      ArrowDown: () => this.active && this.#within(-1),
      Home: () => this.pick(places[0]?.dataset.address, { extend }),
      End: () => this.pick(places[places.length - 1]?.dataset.address, { extend }),
      Escape: () => { this.extending = false; this.pick(this.active); },
    };
    if (actions[event.key]) {
      event.preventDefault();
      actions[event.key]();
    }
  }

  #tapped(event) {
    // A finger is wider than a note: the nearest head is meant, and what stands above or below it counts as its own.
    let best = null;
    let least = REACH;
    for (const place of this.places) {
      const box = place.getBoundingClientRect();
      const dx = event.clientX - (box.left + box.width / 2);
      const dy = event.clientY - (box.top + box.height / 2);
      const away = Math.hypot(dx, dy * 0.6);
      if (away < least) [best, least] = [place, away];
    }
    if (best) this.pick(best.dataset.address, { extend: event.shiftKey, scroll: false });
  }

  #scroll() {
    const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.place(this.active)?.scrollIntoView({ block: "nearest", inline: "nearest", behavior: still ? "auto" : "smooth" });
  }
}
