// The trace of a run: every channel over time, or over the share of a lap, with one cursor and one zoom for all of them.
// The page is painted first: it does not wait for its trace.
"use strict";
const afterFirstPaint = (make) => {
  let made = false;
  const once = () => { if (!made) { made = true; setTimeout(make); } };
  // A page in a hidden tab is not painted, nor does every browser say when it was.
  const LONGEST_WAIT_MS = 2000;
  if (!PerformanceObserver.supportedEntryTypes?.includes("paint")) requestAnimationFrame(() => requestAnimationFrame(once));
  else new PerformanceObserver((entries, watch) => {
    if (entries.getEntriesByName("first-contentful-paint").length) { watch.disconnect(); once(); }
  }).observe({ type: "paint", buffered: true });
  setTimeout(once, LONGEST_WAIT_MS);
};
afterFirstPaint(() => {
  const data = JSON.parse(document.getElementById("trace-data").textContent);
  const room = document.getElementById("trace-charts");
  const pick = (id) => document.getElementById(id);
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const lines = () => dark.matches ? ["#56b4e9", "#ff9a5c", "#4fd0a5", "#e6a5c8"] : ["#0072b2", "#d55e00", "#009e73", "#cc79a7"];
  const KEY_STEP = 0.15;
  let charts = [];
  let span = [0, 1];
  let full = [0, 1];

  // Motor turns from the first row on, by which a lap's rows find their share of it.
  const withTurns = (source) => {
    const rpm = source.channels.find((c) => c.name === "rpm");
    source.turns = [0];
    for (let n = 1; n < source.time.length; n++) {
      const mean = rpm ? ((rpm.values[n] || 0) + (rpm.values[n - 1] || 0)) / 2 : 1;
      source.turns.push(source.turns[n - 1] + mean * (source.time[n] - source.time[n - 1]));
    }
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
  // A channel of a lap against the share of its motor turns, on a grid of two thousand.
  const GRID = 2000;
  const overLap = ({ source, start, end }, name) => {
    const channel = source.channels.find((c) => c.name === name);
    if (!channel) return Array(GRID + 1).fill(null);
    const from = interpolated(source.time, source.turns, start), to = interpolated(source.time, source.turns, end);
    const out = [];
    for (let n = 0; n <= GRID; n++) out.push(interpolated(source.turns, channel.values, from + (to - from) * n / GRID));
    return out;
  };

  // Laps that can be shown, by the value of their option: those of this run, and the best of the car's other runs.
  withTurns(data);
  const laps = new Map(data.laps.map((l) => [String(l.lap), { source: data, start: l.start, end: l.end, name: `lap ${l.lap}` }]));
  data.others.forEach((o, n) => laps.set(`run ${n}`, { source: withTurns(o), start: o.start, end: o.end, name: `run ${o.run}, lap ${o.lap}` }));
  const lapOf = (id) => laps.get(pick(id).value);
  // Over the whole run no other lap can be laid, whatever is still chosen for it.
  const lapOver = () => lapOf("trace-lap") && lapOf("trace-over");

  // Columns of the chart for a group of channels.
  const columns = (group) => {
    const one = lapOf("trace-lap"), two = lapOver();
    if (!one) return [data.time, ...group.map((c) => c.values)];
    const share = Array.from({ length: GRID + 1 }, (_, n) => 100 * n / GRID);
    return [share, ...(two ? [one, two] : [one]).flatMap((lap) => group.map((c) => overLap(lap, c.name)))];
  };

  const series = (group) => {
    const one = lapOf("trace-lap"), two = lapOver();
    // The lap laid over is dashed and in the page's ink, whatever the channel.
    const line = (c, n, lap, over) => ({
      label: lap ? `${c.label}, ${lap.name}` : c.label,
      stroke: over ? colour("--ink") : lines()[c.colour],
      width: 1.5,
      dash: over ? [[5, 3], [2, 2]][n % 2] : undefined,
      spanGaps: false,
      points: { show: false },
      value: (_, v) => v == null ? "–" : `${v.toFixed(c.digits)} ${c.unit}`,
    });
    const first = group.map((c, n) => line(c, n, one, false));
    return two ? [...first, ...group.map((c, n) => line(c, n, two, true))] : first;
  };

  // Dotted lines where laps start, orange bands where the wheels spin; of one lap its own wheelspin.
  const marks = (u) => {
    const lap = lapOf("trace-lap");
    const turns = (t) => interpolated(data.time, data.turns, t);
    const share = (t) => lap ? 100 * (turns(t) - turns(lap.start)) / (turns(lap.end) - turns(lap.start)) : t;
    const spins = data.spins.filter(([from, to]) => !lap || (to > lap.start && from < lap.end));
    const { ctx, bbox } = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    ctx.fillStyle = "rgba(213,94,0,0.18)";
    for (const [from, to] of spins) {
      const x = u.valToPos(share(from), "x", true);
      ctx.fillRect(x, bbox.top, Math.max(u.valToPos(share(to), "x", true) - x, 1), bbox.height);
    }
    ctx.strokeStyle = colour("--soft");
    ctx.lineWidth = 1;
    ctx.setLineDash([2, 3]);
    for (const { start } of lap ? [] : data.laps) {
      const x = Math.round(u.valToPos(start, "x", true)) + 0.5;
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  };

  const zoom = (from, to) => {
    const least = (full[1] - full[0]) / 2000, width = Math.max(to - from, least);
    const low = Math.min(Math.max(from, full[0]), full[1] - Math.min(width, full[1] - full[0]));
    span = [low, Math.min(low + width, full[1])];
    for (const u of charts) u.setScale("x", { min: span[0], max: span[1] });
  };
  const scaled = (factor, around) => zoom(around - (around - span[0]) * factor, around + (span[1] - around) * factor);
  const moved = (share) => zoom(span[0] + share * (span[1] - span[0]), span[1] + share * (span[1] - span[0]));

  const touches = (over, u) => {
    let last = null;
    const fingers = (e) => {
      const box = over.getBoundingClientRect();
      const xs = [...e.touches].map((t) => u.posToVal(t.clientX - box.left, "x"));
      return { middle: (xs[0] + xs[1]) / 2, apart: Math.abs(xs[0] - xs[1]) / (span[1] - span[0]) };
    };
    over.addEventListener("touchstart", (e) => { last = e.touches.length === 2 ? fingers(e) : null; }, { passive: true });
    over.addEventListener("touchmove", (e) => {
      if (e.touches.length !== 2 || !last) return;
      e.preventDefault();
      const now = fingers(e);
      if (now.apart > 0.01) scaled(last.apart / now.apart, now.middle);
      last = fingers(e);
    }, { passive: false });
    over.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && !e.shiftKey && Math.abs(e.deltaX) < Math.abs(e.deltaY) && !room.contains(document.activeElement)) return;
      e.preventDefault();
      if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) moved(e.deltaX / 1000);
      else scaled(Math.exp(e.deltaY / 400), u.posToVal(e.clientX - over.getBoundingClientRect().left, "x"));
    }, { passive: false });
  };

  const axis = (label) => ({
    stroke: colour("--soft"), grid: { stroke: colour("--rule"), width: 1 }, ticks: { stroke: colour("--rule"), size: 5 }, gap: 3,
    font: "12px system-ui, sans-serif", label, labelSize: label ? 18 : 0, labelFont: "12px system-ui, sans-serif",
  });

  const draw = () => {
    for (const u of charts) u.destroy();
    room.textContent = "";
    const lap = lapOf("trace-lap");
    pick("trace-over").disabled = !lap;
    full = lap ? [0, 100] : [data.time[0], data.time[data.time.length - 1]];
    span = full;
    const groups = [...new Set(data.channels.map((c) => c.group))];
    charts = groups.map((name, n) => {
      const group = data.channels.filter((c) => c.group === name), last = n === groups.length - 1;
      return new uPlot({
        width: room.clientWidth, height: last ? 164 : 140,
        cursor: { sync: { key: "trace" }, drag: { x: true, y: false, setScale: false } },
        scales: { x: { time: false, min: full[0], max: full[1] } },
        legend: { live: true },
        series: [{ label: lap ? "round the lap" : "time", value: (_, v) => v == null ? "–" : lap ? `${v.toFixed(1)} %` : `${v.toFixed(2)} s` }, ...series(group)],
        axes: [{ ...axis(last ? (lap ? "how far round the lap, %" : "time, s") : ""), size: 24 }, { ...axis(group[0].unit), size: 64, space: 24, values: (_, ticks) => ticks.map((t) => String(+t.toFixed(3))) }],
        hooks: {
          draw: [marks],
          setSelect: [(u) => {
            if (u.select.width > 4) zoom(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x"));
            u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
          }],
          ready: [(u) => touches(u.over, u)],
        },
      }, columns(group), room);
    });
  };

  room.addEventListener("keydown", (e) => {
    const middle = (span[0] + span[1]) / 2;
    const does = { ArrowLeft: () => moved(-KEY_STEP), ArrowRight: () => moved(KEY_STEP), "+": () => scaled(0.7, middle), "=": () => scaled(0.7, middle), "-": () => scaled(1 / 0.7, middle), 0: () => zoom(...full), Escape: () => zoom(...full) }[e.key];
    if (does) { does(); e.preventDefault(); }
  });
  room.addEventListener("dblclick", () => zoom(...full));
  pick("trace-whole").addEventListener("click", () => zoom(...full));
  for (const [value, lap] of laps) {
    const option = () => new Option(`${lap.name}, ${(lap.end - lap.start).toFixed(2)} s`, value);
    if (lap.source === data) pick("trace-lap").append(option());
    pick("trace-over").append(option());
  }
  // What is shown stays over a page that renews itself, for as long as its tab is open.
  const CHOSEN = `trace ${location.pathname}`;
  const remembered = () => { try { return JSON.parse(sessionStorage.getItem(CHOSEN)) ?? []; } catch { return []; } };
  const remember = () => { try { sessionStorage.setItem(CHOSEN, JSON.stringify([pick("trace-lap").value, pick("trace-over").value])); } catch { /* a tab without storage */ } };
  ["trace-lap", "trace-over"].forEach((id, n) => {
    if (laps.has(remembered()[n])) pick(id).value = remembered()[n];
    pick(id).addEventListener("change", () => { remember(); draw(); });
  });
  let asked = 0;
  window.addEventListener("resize", () => { cancelAnimationFrame(asked); asked = requestAnimationFrame(() => charts.forEach((u) => u.setSize({ width: room.clientWidth, height: u.height }))); });
  dark.addEventListener("change", draw);
  document.getElementById("trace").hidden = false;
  draw();
});
