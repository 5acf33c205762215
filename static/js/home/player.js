// Plays a stretch of a schedule, once or round and round. What is to sound soon is handed to the audio clock a little
// ahead of time, so that a busy page can't make it late; the page only asks every few hundredths of a second.

import { countInBefore, inSeconds, quarterSeconds, roundOf, withOther } from "./timing.js";
import { sound } from "./sound.js";

const AHEAD = 0.35; // s
const AHEAD_UNSEEN = 2.5; // in a page that isn't looked at timers come once a second
const EVERY = 60; // ms
const LEAD = 0.12; // s from the touch to the first sound

export class Player {
  /** `output` is what it plays into; `ended` is called when it has stopped by itself. */
  constructor(context, output, ended = () => {}) {
    Object.assign(this, { context, output, ended });
    this.playing = false;
    this.sounded = []; // what was handed to the clock: {time, addresses} for the notation to follow
  }

  /** `options`: stretch {from, to}, tempo, a4, loop, click, tones, countIn, vibrato; `begin` in quarter notes. */
  start(schedule, options, begin = options.stretch.from) {
    this.stop();
    Object.assign(this, { schedule, options });
    this.quarter = quarterSeconds(options.tempo, schedule.unit);
    this.gain = new GainNode(this.context, { gain: 1 });
    this.gain.connect(this.output);
    this.events = roundOf(schedule, options.stretch, options);
    if (options.other) this.events = withOther(this.events, options.other, options.stretch);
    const counted = options.countIn ? countInBefore(schedule, begin) : [];
    const before = counted.length ? begin - counted[0].onset : 0;
    const now = this.context.currentTime + LEAD;
    // The round began before now when playing starts in its middle.
    this.roundStart = now + (before - (begin - options.stretch.from)) * this.quarter;
    for (const click of counted) {
      const time = now + (click.onset - begin + before) * this.quarter;
      sound(this.context, this.gain, { kind: "click", accent: click.accent }, { time });
    }
    this.next = this.events.findIndex((event) => event.at >= begin - options.stretch.from - 1e-4);
    if (this.next < 0) this.next = this.events.length;
    this.sounded = [];
    this.playing = true;
    this.timer = setInterval(() => this.feed(), EVERY);
    this.feed();
  }

  get length() {
    return this.options.stretch.to - this.options.stretch.from;
  }

  /** Where playing is now, in quarter notes of played time. */
  get position() {
    const { from } = this.options.stretch;
    const gone = (this.context.currentTime - this.roundStart) / this.quarter;
    return from + Math.max(0, gone < 0 && this.options.loop ? gone + this.length : gone);
  }

  /** Hand everything to the clock that is due before `AHEAD`. */
  feed() {
    const until = this.context.currentTime + (globalThis.document?.hidden ? AHEAD_UNSEEN : AHEAD);
    while (this.playing) {
      if (this.next >= this.events.length) {
        const end = this.roundStart + this.length * this.quarter;
        if (!this.options.loop) {
          if (this.context.currentTime > end + 0.1) this.stop(true);
          return;
        }
        if (end > until) return;
        this.roundStart = end;
        this.next = 0;
        if (!this.events.length) return;
      }
      const event = this.events[this.next];
      const time = this.roundStart + event.at * this.quarter;
      if (time > until) return;
      this.next += 1;
      if (event.kind === "click") {
        sound(this.context, this.gain, event, { time });
        continue;
      }
      const notes = inSeconds(event.notes, this.options.stretch.from, this.roundStart, this.quarter, this.options.a4);
      sound(this.context, this.gain, event, { time, notes }, this.options);
      if (event.other) continue;
      event.notes.forEach((note, place) => this.sounded.push({ address: note.address, time: notes[place].time, end: notes[place].end }));
      if (this.sounded.length > 400) this.sounded.splice(0, 200);
    }
  }

  /** Addresses that sound at a moment of the clock. */
  soundingAt(time) {
    return this.sounded.filter((note) => note.time <= time && time < note.end).map((note) => note.address);
  }

  stop(byItself = false) {
    if (!this.playing) return;
    this.playing = false;
    clearInterval(this.timer);
    const { gain } = this;
    gain.gain.setTargetAtTime(0, this.context.currentTime, 0.02);
    setTimeout(() => gain.disconnect(), 200);
    this.sounded = [];
    if (byItself) this.ended();
  }
}
