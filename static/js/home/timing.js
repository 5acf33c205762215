// When things sound: from quarter notes to seconds, loops, bow strokes, count-in. Pure functions of their arguments,
// so that what is heard can be computed and measured without a page.

const COLUMNS = ["address", "pass", "onset", "length", "midi", "level", "joined", "pizzicato", "accent"];
const NEAR = 1e-4; // quarter notes: onsets are rounded to 1e-6

/** Rows of the schedule as objects, in the order of their onsets. */
export function readNotes(schedule) {
  if (schedule.format !== 1 || schedule.columns.join() !== COLUMNS.join()) throw new Error("This sheet was made for another player.");
  return schedule.notes
    .map((row) => Object.fromEntries(COLUMNS.map((name, place) => [name, row[place]])))
    .sort((a, b) => a.onset - b.onset || a.midi - b.midi);
}

/** Seconds of one quarter note at a tempo in beats of `unit` quarter notes a minute. */
export function quarterSeconds(tempo, unit) {
  return 60 / (tempo * unit);
}

/** Frequency of a MIDI number in equal temperament at the studio's A. */
export function hertz(midi, a4) {
  return a4 * 2 ** ((midi - 69) / 12);
}

/** `b12n3` for a chord's member `b12n3p2`. */
export function eventOf(address) {
  return address.split("p")[0];
}

/** From one written note to another, in quarter notes of played time: until the next note begins after the last one. */
export function stretch(notes, length, first, last) {
  const begin = notes.find((note) => eventOf(note.address) === eventOf(first));
  if (!begin) return { from: 0, to: length };
  if (!last) return { from: begin.onset, to: length };
  const end = notes.find((note) => eventOf(note.address) === eventOf(last) && note.onset >= begin.onset - NEAR) ?? begin;
  // A written-out ornament has several notes at one address: all of them belong to its note.
  const next = notes.find((note) => note.onset > end.onset + NEAR && eventOf(note.address) !== eventOf(end.address));
  return { from: begin.onset, to: next ? next.onset : length };
}

/** The notes that begin in a stretch, cut at its end. */
export function notesIn(notes, { from, to }) {
  return notes
    .filter((note) => note.onset >= from - NEAR && note.onset < to - NEAR)
    .map((note) => ({ ...note, length: Math.min(note.length, to - note.onset) }));
}

/** Notes in the groups one bow carries: each group is a list of notes that run into each other. */
export function strokesOf(notes) {
  const strokes = [];
  for (const note of notes) {
    const before = note.joined && !note.pizzicato
      ? strokes
        .filter((stroke) => {
          const last = stroke.at(-1);
          return !last.pizzicato && last.onset < note.onset - NEAR && Math.abs(last.onset + last.length - note.onset) < NEAR;
        })
        .sort((a, b) => Math.abs(a.at(-1).midi - note.midi) - Math.abs(b.at(-1).midi - note.midi))[0]
      : undefined;
    if (before) before.push(note);
    else strokes.push([note]);
  }
  return strokes;
}

/** How long a beat lasts at a place, against one at the opening tempo; older pages don't tell. */
export function beatShare(schedule, place) {
  return (schedule.beats ?? []).filter(([begin]) => begin <= place + NEAR).at(-1)?.[1] ?? 1;
}

/** The clicks to count before a stretch: the written ones before the beginning, else as many on the beats before it. */
export function countInBefore(schedule, from) {
  if (from < NEAR) return schedule.countIn.map(([onset, accent]) => ({ onset, accent: Boolean(accent) }));
  const beats = schedule.countIn.length;
  const reached = schedule.clicks.filter(([onset]) => onset <= from + NEAR).at(-1)?.[0] ?? from;
  const even = beats > 1 ? schedule.countIn[1][0] - schedule.countIn[0][0] : schedule.unit;
  const step = even * beatShare(schedule, from);
  const begun = from - reached > NEAR ? 1 : 0; // in the middle of a beat: that beat is counted too
  return Array.from({ length: beats }, (_, n) => ({ onset: reached - (beats - n - begun) * step, accent: n === 0 }))
    .filter((click) => click.onset < from - NEAR);
}

/** Everything that sounds in one round of a stretch, in order; `at` in quarter notes from the stretch's beginning. */
export function roundOf(schedule, { from, to }, { click = false, tones = true } = {}) {
  const sounds = tones ? strokesOf(notesIn(readNotes(schedule), { from, to })).map((notes) => ({ kind: "stroke", at: notes[0].onset - from, notes })) : [];
  const clicks = click
    ? schedule.clicks
      .filter(([onset]) => onset >= from - NEAR && onset < to - NEAR)
      .map(([onset, accent]) => ({ kind: "click", at: onset - from, accent: Boolean(accent) }))
    : [];
  return [...sounds, ...clicks].sort((a, b) => a.at - b.at);
}

/** What sounds in a round with another part in it: softer, and not to be followed on the notation. */
export function withOther(events, schedule, { from, to }) {
  const others = strokesOf(notesIn(readNotes(schedule), { from, to }))
    .map((notes) => ({ kind: "stroke", at: notes[0].onset - from, other: true, notes: notes.map((note) => ({ ...note, level: 0.7 * note.level })) }));
  return [...events, ...others].sort((a, b) => a.at - b.at);
}

/** A stroke's notes at their times in seconds, the stretch beginning at `start`. */
export function inSeconds(notes, from, start, quarter, a4) {
  return notes.map((note) => ({
    time: start + (note.onset - from) * quarter,
    end: start + (note.onset + note.length - from) * quarter,
    hertz: hertz(note.midi, a4),
    level: note.level,
    accent: Boolean(note.accent),
    pizzicato: Boolean(note.pizzicato),
  }));
}
