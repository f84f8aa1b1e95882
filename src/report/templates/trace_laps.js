// The laps of a trace: where a lap is in the log, how far round it was at each moment, and what it lost on another lap.
"use strict";
// A series of numbers from its packed text: steps as base64 quantities, "!" for none, "." with how often the item before comes again.
const BASE64 = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
const unpacked = (text, digits) => {
  const scale = 10 ** digits, all = [];
  let last = 0, step = null, at = 0;
  const quantity = () => {
    let value = 0, bit = 1, six;
    do { six = BASE64.indexOf(text[at++]); value += (six & 31) * bit; bit *= 32; } while (six & 32);
    return value % 2 ? -(value - 1) / 2 : value / 2;
  };
  const add = () => { if (step != null) last += step; all.push(step == null ? null : last / scale); };
  while (at < text.length) {
    if (text[at] === ".") { at++; for (let n = quantity(); n > 0; n--) add(); continue; }
    if (text[at] === "!") { at++; step = null; } else step = quantity();
    add();
  }
  return all;
};
// The series of a log or a lap of one, unpacked.
const withSeries = (source) => {
  source.time = unpacked(source.time.packed, source.time.digits);
  for (const c of source.channels) c.values = unpacked(c.packed, c.digits);
  return source;
};
const rowBefore = (xs, x) => {
  let low = 0, high = xs.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (xs[middle] <= x) low = middle; else high = middle;
  }
  return low;
};
const interpolated = (xs, ys, x) => {
  const n = rowBefore(xs, x), width = xs[n + 1] - xs[n];
  if (!(width > 0) || ys[n] == null || ys[n + 1] == null) return ys[n];
  return ys[n] + (ys[n + 1] - ys[n]) * (x - xs[n]) / width;
};
// Motor turns from the first row on: how far round a lap is that has no places.
const withTurns = (source) => {
  withSeries(source);
  const rpm = source.channels.find((c) => c.name === "rpm");
  source.turns = [0];
  for (let n = 1; n < source.time.length; n++) {
    const mean = rpm ? ((rpm.values[n] || 0) + (rpm.values[n - 1] || 0)) / 2 : 1;
    source.turns.push(source.turns[n - 1] + mean * (source.time[n] - source.time[n - 1]));
  }
  return source;
};
// A lap's times at its places and their doubts, in milliseconds.
const withTimes = (places) => {
  if (!places) return null;
  const ms = unpacked(places.ms, 0), doubt = (text) => text == null ? null : unpacked(text, 0);
  return { ms, u: unpacked(places.u, 0), back: doubt(places.back), on: doubt(places.on), line: places.line, shares: ms.map((_, n) => n / (ms.length - 1)) };
};
// All laps that can be shown or laid over, by what an address calls them.
const lapsOf = (data) => {
  const laps = new Map();
  withTurns(data);
  for (const l of data.laps) {
    laps.set(`lap-${l.lap}`, { source: data, from: l.start, to: l.end, seconds: l.seconds, places: withTimes(l.places), name: `lap ${l.lap}`, own: true, aside: l.aside });
  }
  if (data.median) laps.set("median", { seconds: data.median.seconds, places: withTimes(data.median.places), name: "the median lap" });
  data.others.forEach((o, n) => {
    const name = `run ${o.run}, lap ${o.lap}`;
    laps.set(`run-${n}`, { source: withTurns(o), from: o.laid?.from ?? o.start, to: o.laid?.to ?? o.end, seconds: o.seconds, places: withTimes(o.laid?.places), name, run: o.run });
  });
  return laps;
};
// The log time at a share of the lap, and the share at a log time.
const timeAt = (lap, share) => {
  const { source, from, to, places } = lap;
  if (places) return from + (to - from) * interpolated(places.shares, places.ms, share) / places.ms[places.ms.length - 1];
  const first = interpolated(source.time, source.turns, from), last = interpolated(source.time, source.turns, to);
  return interpolated(source.turns, source.time, first + (last - first) * share);
};
const shareAt = (lap, time) => {
  const { source, from, to, places } = lap;
  if (places) return interpolated(places.ms, places.shares, places.ms[places.ms.length - 1] * (time - from) / (to - from));
  const turns = (t) => interpolated(source.time, source.turns, t);
  return (turns(time) - turns(from)) / (turns(to) - turns(from));
};
// A channel of a lap over the lap, on a grid of two thousand.
const GRID = 2000;
const overLap = (lap, name) => {
  const channel = lap.source?.channels.find((c) => c.name === name);
  if (!channel) return Array(GRID + 1).fill(null);
  lap.times ??= Array.from({ length: GRID + 1 }, (_, n) => timeAt(lap, n / GRID));
  return lap.times.map((t) => interpolated(lap.source.time, channel.values, t));
};
// Half-width of a 95 % interval in standard deviations of a normal value.
const COVERAGE_95 = 1.959964;
// What `one` has lost so far on `two` at each place, and half the width of its 95 % interval, s; null where either has no places.
const lostOn = (one, two) => {
  const a = one.places, b = two.places;
  if (!a || !b) return null;
  const lost = a.ms.map((ms, n) => (ms - b.ms[n]) / 1000), whole = lost[lost.length - 1];
  // Of another run's lap: beyond the line both go on as if the laps around were alike.
  const lostAt = (share) => { const laps = Math.floor(share); return laps * whole + interpolated(a.shares, lost, share - laps); };
  const byLine = (n) => b.line == null
    ? Math.max(Math.abs(a.back[n] - b.back[n]), Math.abs(a.on[n] - b.on[n])) / 1000
    : Math.max(...[-b.line, b.line].map((by) => Math.abs(lostAt(a.shares[n] + by) - lostAt(by) - lost[n])));
  const band = lost.map((_, n) => COVERAGE_95 * Math.hypot(a.u[n] / 1000, b.u[n] / 1000, byLine(n)));
  return { shares: a.shares, lost, band };
};
