// The boxes of the days: what the studio knows, and over it what was tapped here since.

import { readStore, writeStore } from "./keep.js";

const WEEKDAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];

/** The local day as 2026-11-25. */
export function isoDay(date) {
  const two = (number) => String(number).padStart(2, "0");
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}

/** The days to show: the sheet's week; seven from today before it begins (the lesson's own day counts), and the seven
 * up to today once it is over. */
export function daysToShow(sheetDays, today) {
  const early = sheetDays.length && isoDay(today) < sheetDays[0].iso;
  if (!sheetDays.length || (!early && isoDay(today) <= sheetDays.at(-1).iso)) return sheetDays;
  return Array.from({ length: 7 }, (_, n) => {
    const day = new Date(today.getFullYear(), today.getMonth(), today.getDate() - (early ? 0 : 6) + n);
    return { iso: isoDay(day), words: `${WEEKDAYS[day.getDay()]} ${day.getDate()}` };
  });
}

export class Days {
  /** `told` are the days and ticks of the page; `store` names what is kept in this browser; `keep(fields)` sends. */
  constructor(told, store, keep) {
    Object.assign(this, { told, store, keep });
    this.days = daysToShow(told.days, new Date());
    const own = readStore(store, {});
    this.state = { ...told.ticks };
    for (const [key, tick] of Object.entries(own)) {
      if (!this.state[key] || Date.parse(this.state[key].made) < Date.parse(tick.made)) this.state[key] = tick;
    }
  }

  tick(item, day) {
    return this.state[`${item} ${day}`] ?? { done: false, minutes: 0 };
  }

  set(item, day, change) {
    const tick = { ...this.tick(item, day), ...change, made: new Date().toISOString() };
    const own = readStore(this.store, {});
    this.state[`${item} ${day}`] = tick;
    own[`${item} ${day}`] = tick;
    writeStore(this.store, own);
    this.keep({ what: "tick", item, day, done: tick.done ? "yes" : "no", minutes: tick.minutes || "" });
  }

  /** Fill an item's form with its seven boxes. */
  attach(form) {
    const item = Number(form.dataset.item);
    const row = form.querySelector("[data-days]");
    const after = form.querySelector("[data-minutes]");
    const today = isoDay(new Date());
    row.replaceChildren(...this.days.map(({ iso, words }) => {
      const button = document.createElement("button");
      const [weekday, number] = words.split(" ");
      button.type = "button";
      button.className = "day";
      button.dataset.day = iso;
      button.innerHTML = '<span class="weekday"></span><span class="date"></span><span class="box" aria-hidden="true"></span>';
      button.querySelector(".weekday").textContent = weekday;
      button.querySelector(".date").textContent = number;
      button.classList.toggle("today", iso === today);
      button.addEventListener("click", () => {
        this.set(item, iso, { done: !this.tick(item, iso).done });
        this.show(form, this.tick(item, iso).done ? iso : "");
      });
      return button;
    }));
    after.querySelector("select").addEventListener("change", (event) => {
      this.set(item, after.dataset.day, { minutes: Number(event.target.value) });
      this.show(form, after.dataset.day);
    });
    this.show(form, "");
    document.addEventListener("visibilitychange", () => this.show(form, after.hidden ? "" : after.dataset.day));
  }

  /** Show the boxes; `open` is the day whose minutes can be told. */
  show(form, open) {
    const item = Number(form.dataset.item);
    for (const button of form.querySelectorAll("[data-day].day")) {
      const tick = this.tick(item, button.dataset.day);
      button.disabled = button.dataset.day > isoDay(new Date()); // nobody has practised tomorrow
      button.setAttribute("aria-pressed", String(tick.done));
      button.querySelector(".box").textContent = tick.done ? (tick.minutes ? `${tick.minutes}′` : "✓") : "";
      const words = `${button.querySelector(".weekday").textContent} ${button.querySelector(".date").textContent}`;
      button.setAttribute("aria-label", tick.done ? `${words}: practised${tick.minutes ? `, ${tick.minutes} minutes` : ""}` : words);
    }
    const after = form.querySelector("[data-minutes]");
    after.hidden = !open;
    if (open) {
      after.dataset.day = open;
      after.querySelector("[data-minutes-day]").textContent = this.days.find((day) => day.iso === open)?.words ?? "";
      after.querySelector("select").value = String(this.tick(item, open).minutes || 0);
    }
  }
}
