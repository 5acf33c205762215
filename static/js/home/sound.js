// What is heard: a bowed tone, a plucked one, the click of the metronome, and drones, all made here from partials.
//
// Every function takes the audio context, live or offline, and times on its clock. A stroke is one voice: its notes
// follow without a stop, the pitch moves at the very onset, and the bow's pressure gives way a little between them.

const PARTIALS = 28;
const ATTACK = 0.045; // s until a bowed note has its loudness
const ACCENTED = 0.018;
const RELEASE = 0.07;
const TURN = 0.006; // s in which the pitch changes inside a slur
const VIBRATO = { rate: 5.4, cents: 14, after: 0.22 };

const waves = new WeakMap();

/** The string's partials: near a sawtooth, as a bowed string moves, the highest ones softened by the bridge. */
function stringWave(context) {
  if (!waves.has(context)) {
    const real = new Float32Array(PARTIALS + 1);
    const imag = new Float32Array(PARTIALS + 1);
    for (let n = 1; n <= PARTIALS; n += 1) imag[n] = (n === 1 ? 0.85 : 1) / n / (1 + (n / 18) ** 2);
    waves.set(context, context.createPeriodicWave(real, imag));
  }
  return waves.get(context);
}

/** The instrument's body: three broad resonances. Returns its input. */
export function body(context, destination) {
  let input = destination;
  for (const [frequency, q, gain] of [[280, 1.6, 3], [520, 1.4, 2.5], [2400, 0.9, 2]]) {
    const peak = new BiquadFilterNode(context, { type: "peaking", frequency, Q: q, gain });
    peak.connect(input);
    input = peak;
  }
  return input;
}

/** All that sounds together on its way to the loudspeaker: held below the level at which it would break up. */
export function speaker(context) {
  const limit = new DynamicsCompressorNode(context, { threshold: -18, ratio: 12, attack: 0.001, release: 0.15 });
  const level = new GainNode(context, { gain: 0.75 });
  limit.connect(level).connect(context.destination);
  const before = new GainNode(context, { gain: 0.9 });
  before.connect(limit);
  return body(context, before);
}

const loudness = (level) => 0.04 + 0.3 * level ** 1.5;
const brightness = (level, hertz) => Math.min(9000, Math.max(1400, hertz * (3 + 7 * level)));

/** One bow stroke: `notes` as {time, end, hertz, level, accent}, one after another. Returns when it is silent. */
export function bow(context, destination, notes, { vibrato = false } = {}) {
  const first = notes[0];
  const last = notes.at(-1);
  const wave = new OscillatorNode(context, { periodicWave: stringWave(context), frequency: first.hertz });
  const filter = new BiquadFilterNode(context, { type: "lowpass", frequency: brightness(first.level, first.hertz), Q: 0.4 });
  const gain = new GainNode(context, { gain: 0 });
  wave.connect(filter).connect(gain).connect(destination);
  notes.forEach((note, place) => {
    const level = loudness(note.level);
    const attack = Math.min(note.accent ? ACCENTED : ATTACK, (note.end - note.time) / 3);
    if (place === 0) {
      gain.gain.setValueAtTime(0, note.time);
    } else {
      const before = notes[place - 1];
      wave.frequency.setValueAtTime(before.hertz, note.time);
      wave.frequency.linearRampToValueAtTime(note.hertz, note.time + TURN);
      filter.frequency.setTargetAtTime(brightness(note.level, note.hertz), note.time, 0.03);
      gain.gain.setValueAtTime(loudness(before.level), Math.max(before.time + 0.001, note.time - Math.min(0.02, (note.time - before.time) / 3)));
      const giving = note.end - note.time < 0.2 || note.time - before.time < 0.2 ? 0.95 : 0.78; // quick notes run on
      gain.gain.linearRampToValueAtTime(giving * Math.min(level, loudness(before.level)), note.time);
    }
    gain.gain.linearRampToValueAtTime(level * (note.accent ? 1.25 : 1), note.time + attack);
    if (note.accent) gain.gain.linearRampToValueAtTime(level, note.time + attack + Math.min(0.12, (note.end - note.time) / 3));
  });
  const release = Math.min(RELEASE, (last.end - last.time) / 3);
  gain.gain.setValueAtTime(loudness(last.level), last.end - release);
  gain.gain.linearRampToValueAtTime(0, last.end);
  scratch(context, gain, first);
  if (vibrato) sway(context, wave, notes);
  wave.start(first.time);
  wave.stop(last.end + 0.02);
  return last.end;
}

/** The hair catching the string: a breath of noise at the start of a stroke. */
function scratch(context, destination, note) {
  const length = 0.06;
  const source = new AudioBufferSourceNode(context, { buffer: noise(context), loop: true });
  const band = new BiquadFilterNode(context, { type: "bandpass", frequency: Math.min(5000, note.hertz * 4), Q: 0.8 });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(note.accent ? 0.35 : 0.16, note.time);
  gain.gain.exponentialRampToValueAtTime(0.001, note.time + length);
  source.connect(band).connect(gain).connect(destination);
  source.start(note.time);
  source.stop(note.time + length);
}

const noises = new WeakMap();
function noise(context) {
  if (!noises.has(context)) {
    const buffer = context.createBuffer(1, Math.floor(context.sampleRate / 4), context.sampleRate);
    const samples = buffer.getChannelData(0);
    let state = 22222; // the same noise each time, so that what is rendered can be compared
    for (let n = 0; n < samples.length; n += 1) {
      state = (state * 1103515245 + 12345) % 2147483648;
      samples[n] = state / 1073741824 - 1;
    }
    noises.set(context, buffer);
  }
  return noises.get(context);
}

/** Vibrato around the pitch, on notes long enough for it, growing after the onset. */
function sway(context, wave, notes) {
  const swing = new OscillatorNode(context, { frequency: VIBRATO.rate });
  const depth = new GainNode(context, { gain: 0 });
  swing.connect(depth).connect(wave.detune);
  for (const note of notes) {
    depth.gain.setValueAtTime(0, note.time);
    if (note.end - note.time > 0.45) depth.gain.linearRampToValueAtTime(VIBRATO.cents, note.time + VIBRATO.after + 0.2);
  }
  swing.start(notes[0].time);
  swing.stop(notes.at(-1).end + 0.02);
}

/** A plucked note that rings for as long as it is written, at least a moment. */
export function pluck(context, destination, note) {
  const ring = Math.max(0.35, Math.min(1.4, note.end - note.time + 0.2));
  const wave = new OscillatorNode(context, { periodicWave: stringWave(context), frequency: note.hertz });
  const filter = new BiquadFilterNode(context, { type: "lowpass", frequency: Math.min(8000, note.hertz * 8), Q: 0.3 });
  const gain = new GainNode(context, { gain: 0 });
  filter.frequency.setValueAtTime(Math.min(8000, note.hertz * 8), note.time);
  filter.frequency.exponentialRampToValueAtTime(note.hertz * 1.5, note.time + ring / 2);
  gain.gain.setValueAtTime(0, note.time);
  gain.gain.linearRampToValueAtTime(1.3 * loudness(note.level), note.time + 0.004);
  gain.gain.exponentialRampToValueAtTime(0.0005, note.time + ring);
  wave.connect(filter).connect(gain).connect(destination);
  wave.start(note.time);
  wave.stop(note.time + ring);
  return note.time + ring;
}

/** One stroke of the metronome. */
export function strike(context, destination, time, accent) {
  const wave = new OscillatorNode(context, { type: "triangle", frequency: accent ? 1760 : 1175 });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(0, time);
  gain.gain.linearRampToValueAtTime(accent ? 0.5 : 0.3, time + 0.001);
  gain.gain.exponentialRampToValueAtTime(0.001, time + 0.05);
  wave.connect(gain).connect(destination);
  wave.start(time);
  wave.stop(time + 0.06);
  return time + 0.06;
}

/** A held note from `time` until `stop()` is called. */
export function drone(context, destination, hertz, time) {
  const wave = new OscillatorNode(context, { periodicWave: stringWave(context), frequency: hertz });
  const filter = new BiquadFilterNode(context, { type: "lowpass", frequency: Math.max(900, hertz * 5), Q: 0.3 });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(0, time);
  gain.gain.linearRampToValueAtTime(0.16, time + 0.25);
  wave.connect(filter).connect(gain).connect(destination);
  wave.start(time);
  return {
    stop(at) {
      gain.gain.cancelScheduledValues(at);
      gain.gain.setTargetAtTime(0, at, 0.06);
      wave.stop(at + 0.5);
    },
  };
}

/** Whatever one event of a round is, sounded at its time. `start` is when the round begins, `quarter` in seconds. */
export function sound(context, destination, event, seconds, { vibrato = false } = {}) {
  if (event.kind === "click") return strike(context, destination, seconds.time, event.accent);
  if (seconds.notes[0].pizzicato) return pluck(context, destination, seconds.notes[0]);
  return bow(context, destination, seconds.notes, { vibrato });
}
