// The trace of a run: every channel over time, or over the place round a lap, with one cursor and one zoom for all of them.
// The page is painted first: it does not wait for its trace.
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
  const element = (tag, text = "", name = "") => { const e = document.createElement(tag); e.textContent = text; e.className = name; return e; };
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const lines = () => dark.matches ? ["#56b4e9", "#ff9a5c", "#4fd0a5", "#e6a5c8", "#f0e442"] : ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#9a6b00"];
  // A second lap is in the page's ink, dashed; of two lines in a chart the second is dotted.
  const DASHES = [[5, 3], [2, 2]], DASH_NAMES = ["dashed", "dotted"];
  const KEY_STEP = 0.15;
  // How near to a mark a click is meant for it, pixels: a fingertip.
  const NEAR_PX = 8;
  let charts = [];
  let groups = [];
  let span = [0, 1];
  let full = [0, 1];

  const laps = lapsOf(data);
  const lapOf = (id) => laps.get(pick(id).value);
  // Over the whole run no other lap can be laid, whatever is still chosen for it.
  const lapOver = () => lapOf("trace-lap") && lapOf("trace-over");
  const xOf = (time) => { const lap = lapOf("trace-lap"); return lap ? 100 * shareAt(lap, time) : time; };

  // Seconds lost so far against the other lap, on the grid of the laps; hidden where its interval holds nought.
  const strip = (one, two) => {
    const found = lostOn(one, two);
    if (!found) return null;
    const grid = (values) => Array.from({ length: GRID + 1 }, (_, n) => interpolated(found.shares, values, n / GRID));
    const lost = grid(found.lost), band = grid(found.band);
    return { lost, band, clear: lost.map((s, n) => Math.abs(s) > band[n] ? s : null), upper: lost.map((s, n) => s + band[n]), lower: lost.map((s, n) => s - band[n]) };
  };

  // The units that the page shows, in which a channel's values are drawn and said.
  const shownIn = (channel) => channel.shown[document.documentElement.dataset.units];
  const inUnits = (channel, values) => {
    const { factor, zero } = shownIn(channel);
    return factor === 1 && zero === 0 ? values : values.map((v) => v == null ? null : factor * v + zero);
  };

  // The charts, from the top: time lost where two laps are shown, then a chart for each group of channels.
  const chartsShown = () => {
    const one = lapOf("trace-lap"), two = lapOver();
    const names = [...new Set(data.channels.map((c) => c.group))];
    const share = one && Array.from({ length: GRID + 1 }, (_, n) => 100 * n / GRID);
    const all = names.map((name) => {
      const channels = data.channels.filter((c) => c.group === name);
      const columns = one ? [one, ...(two?.source ? [two] : [])].flatMap((lap) => channels.map((c) => inUnits(c, overLap(lap, c.name)))) : channels.map((c) => inUnits(c, c.values));
      return { channels, columns: [share ?? data.time, ...columns], unit: shownIn(channels[0]).unit };
    });
    const lost = two && strip(one, two);
    if (lost) all.unshift({ lost, channels: [], columns: [share, lost.clear, lost.upper, lost.lower], unit: "s" });
    return all;
  };

  const series = ({ channels, lost }) => {
    const plain = { spanGaps: false, points: { show: false } };
    if (lost) return [{ ...plain, stroke: lines()[0], width: 2 }, { ...plain, width: 0 }, { ...plain, width: 0 }];
    const first = channels.map((c) => ({ ...plain, stroke: lines()[c.colour], width: 1.5 }));
    return lapOver()?.source ? [...first, ...channels.map((_, n) => ({ ...plain, stroke: colour("--ink"), width: 1.5, dash: DASHES[n % 2] }))] : first;
  };

  // Dotted lines where laps start, orange bands where the wheels spin; of one lap its own wheelspin.
  const spinsShown = () => {
    const lap = lapOf("trace-lap");
    return data.spins.filter(([from, to]) => !lap || (to > lap.from && from < lap.to));
  };
  const marks = (u) => {
    const { ctx, bbox } = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    ctx.fillStyle = "rgba(213,94,0,0.18)";
    for (const [from, to] of spinsShown()) {
      const x = u.valToPos(xOf(from), "x", true);
      ctx.fillRect(x, bbox.top, Math.max(u.valToPos(xOf(to), "x", true) - x, 1), bbox.height);
    }
    ctx.strokeStyle = colour("--soft");
    ctx.lineWidth = 1;
    ctx.setLineDash([2, 3]);
    const rule = (x1, y1, x2, y2) => { ctx.beginPath(); ctx.moveTo(x1, y1); ctx.lineTo(x2, y2); ctx.stroke(); };
    for (const { start } of lapOf("trace-lap") ? [] : data.laps) {
      const x = Math.round(u.valToPos(start, "x", true)) + 0.5;
      rule(x, bbox.top, x, bbox.top + bbox.height);
    }
    if (u.group.lost) {
      const y = Math.round(u.valToPos(0, "y", true)) + 0.5;
      rule(bbox.left, y, bbox.left + bbox.width, y);
    }
    names(u);
    ctx.restore();
  };
  // The names of a chart's lines, at its right edge in their colours.
  const names = (u) => {
    const { ctx, bbox, group } = u, scale = ctx.canvas.width / u.width;
    ctx.setLineDash([]);
    ctx.font = `600 ${12 * scale}px system-ui, sans-serif`;
    ctx.textAlign = "right";
    ctx.textBaseline = "top";
    ctx.lineWidth = 4 * scale;
    ctx.strokeStyle = colour("--paper");
    let right = bbox.left + bbox.width - 4 * scale;
    const words = group.lost ? [["time lost so far, s", lines()[0]]] : group.channels.map((c, n) => [n + 1 < group.channels.length ? c.label : `${c.label}, ${shownIn(c).unit}`, lines()[c.colour]]);
    for (const [text, ink] of words.reverse()) {
      ctx.strokeText(text, right, bbox.top + 2 * scale);
      ctx.fillStyle = ink;
      ctx.fillText(text, right, bbox.top + 2 * scale);
      right -= ctx.measureText(text).width + 12 * scale;
    }
  };

  // One row for the cursor, above all charts: where it is, then each line's value, in places that never move.
  const cells = [];
  const sample = (ink, dash) => { const i = element("i"); i.style.borderTop = `2px ${dash} ${ink}`; return i; };
  // Without a minus before nought.
  const withDigits = (number, digits) => number.toFixed(digits).replace(/^-(?=[0.]*$)/, "");
  const nowRow = () => {
    const one = lapOf("trace-lap"), two = lapOver();
    cells.length = 0;
    const row = pick("trace-values");
    row.textContent = "";
    const cell = (name, values) => {
      const box = element("div");
      box.append(element("b", name));
      for (const [mark, value] of values) {
        const line = element("span"), text = element("data", "–");
        line.append(...(mark ? [mark] : []), text);
        box.append(line);
        cells.push([text, value]);
      }
      row.append(box);
    };
    cell(one ? "round the lap" : "time", [[null, (n) => one ? `${(100 * n / GRID).toFixed(1)} %` : `${data.time[n].toFixed(2)} s`]]);
    groups.forEach(({ channels, columns, lost, unit }) => {
      if (lost) {
        const signed = (s) => `${s < 0 ? "−" : "+"}${Math.abs(s).toFixed(2)}`;
        cell("time lost", [[sample(lines()[0], "solid"), (n) => `${lost.clear[n] == null ? "about 0" : signed(lost.lost[n])} ${unit}`], [null, (n) => `± ${lost.band[n].toFixed(2)} ${unit}`]]);
      }
      channels.forEach((c, n) => {
        const { unit, digits } = shownIn(c), value = (column) => (row) => column?.[row] == null ? "–" : `${withDigits(column[row], digits)} ${unit}`;
        const own = [sample(lines()[c.colour], "solid"), value(columns[1 + n])];
        cell(c.label, two?.source ? [own, [sample(colour("--ink"), DASH_NAMES[n % 2]), value(columns[1 + channels.length + n])]] : [own]);
      });
    });
  };
  const spinWords = ([from, to, lap, fraction]) => `wheels spun ${(to - from).toFixed(2)} s${lap == null ? "" : `, lap ${lap}`}${fraction == null ? "" : `, ${Math.round(100 * fraction)} % round`}`;
  // What is at a place of the charts: a spin, else the lap.
  const whatIsAt = (x) => {
    const one = lapOf("trace-lap"), two = lapOver();
    const spin = spinsShown().find(([from, to]) => xOf(from) <= x && x <= xOf(to));
    if (spin) return spinWords(spin);
    if (one) return two ? `${one.name} with ${two.name}` : one.name;
    const lap = data.laps.find((l) => l.start <= x && x < l.end);
    return lap ? `lap ${lap.lap}, ${Math.round(100 * shareAt(laps.get(`lap-${lap.lap}`), x))} % round` : data.laps.length ? "outside the laps" : "the whole run";
  };
  let row = null, asked = 0;
  const say = () => {
    for (const [text, value] of cells) text.textContent = row == null ? "–" : value(row);
    const one = lapOf("trace-lap"), two = lapOver();
    pick("trace-what").textContent = row != null ? whatIsAt(groups[0].columns[0][row]) : one ? (two ? `${one.name} with ${two.name}` : one.name) : "the whole run";
  };
  const moveTo = (u) => { row = u.cursor.idx ?? null; cancelAnimationFrame(asked); asked = requestAnimationFrame(say); };

  const zoom = (from, to) => {
    const least = (full[1] - full[0]) / 2000, width = Math.max(to - from, least);
    const low = Math.min(Math.max(from, full[0]), full[1] - Math.min(width, full[1] - full[0]));
    span = [low, Math.min(low + width, full[1])];
    for (const u of charts) u.setScale("x", { min: span[0], max: span[1] });
    markChosen();
  };
  // Paper shows the trace where somebody chose what is in it.
  const isWhole = () => span[0] === full[0] && span[1] === full[1];
  const markChosen = () => pick("trace").classList.toggle("chosen", Boolean(lapOf("trace-lap")) || !isWhole());
  const scaled = (factor, around) => zoom(around - (around - span[0]) * factor, around + (span[1] - around) * factor);
  const moved = (share) => zoom(span[0] + share * (span[1] - span[0]), span[1] + share * (span[1] - span[0]));
  const cursorAt = (x) => charts[0]?.setCursor({ left: charts[0].valToPos(x, "x"), top: 10 });
  // A spin with as much room again on either side, and the cursor in it.
  const showSpin = ([from, to]) => {
    const low = xOf(from), high = xOf(to), room = Math.max(high - low, (full[1] - full[0]) / 200);
    zoom(low - room, high + room);
    requestAnimationFrame(() => cursorAt((low + high) / 2));
  };
  const nextSpin = (step) => {
    const middle = (span[0] + span[1]) / 2, all = spinsShown().map((spin) => [spin, (xOf(spin[0]) + xOf(spin[1])) / 2]);
    const least = (span[1] - span[0]) / 1000;
    const found = step > 0 ? all.find(([, x]) => x > middle + least) ?? all[0] : all.findLast(([, x]) => x < middle - least) ?? all[all.length - 1];
    if (found) showSpin(found[0]);
  };
  // What a click is meant for: the nearest spin or start of a lap, where one is near enough.
  const clicked = (u, e) => {
    const left = e.clientX - u.over.getBoundingClientRect().left;
    const far = (from, to) => { const [low, high] = [u.valToPos(from, "x"), u.valToPos(to, "x")]; return Math.max(low - left, left - high, 0); };
    const spins = spinsShown().map((spin) => [far(xOf(spin[0]), xOf(spin[1])), () => showSpin(spin)]);
    const starts = lapOf("trace-lap") ? [] : data.laps.map((l) => [far(l.start, l.start), () => choose(`lap-${l.lap}`, pick("trace-over").value)]);
    const nearest = [...spins, ...starts].filter(([px]) => px < NEAR_PX).sort((a, b) => a[0] - b[0])[0];
    nearest?.[1]();
  };

  const touches = (over, u) => {
    let last = null, alone = null;
    const fingers = (e) => {
      const box = over.getBoundingClientRect();
      const xs = [...e.touches].map((t) => u.posToVal(t.clientX - box.left, "x"));
      return { middle: (xs[0] + xs[1]) / 2, apart: Math.abs(xs[0] - xs[1]) / (span[1] - span[0]) };
    };
    over.addEventListener("touchstart", (e) => {
      last = e.touches.length === 2 ? fingers(e) : null;
      alone = e.touches.length === 1 ? e.touches[0] : null;
    }, { passive: true });
    over.addEventListener("touchmove", (e) => {
      if (e.touches.length === 1 && alone) {
        // One finger across moves the cursor; up and down it moves the page.
        const { clientX, clientY } = e.touches[0];
        if (Math.abs(clientX - alone.clientX) < Math.abs(clientY - alone.clientY)) return;
        if (e.cancelable) e.preventDefault();
        u.setCursor({ left: clientX - over.getBoundingClientRect().left, top: 10 });
        return;
      }
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
    over.addEventListener("click", (e) => clicked(u, e));
  };

  const axis = (label) => ({
    stroke: colour("--soft"), grid: { stroke: colour("--rule"), width: 1 }, ticks: { stroke: colour("--rule"), size: 5 }, gap: 3,
    font: "12px system-ui, sans-serif", label, labelSize: label ? 18 : 0, labelFont: "12px system-ui, sans-serif",
  });
  const xAxis = (last) => last ? { ...axis(lapOf("trace-lap") ? (lapOf("trace-lap").places ? "place round the lap, %" : "share of the lap’s motor turns, %") : "time, s"), size: 24 } : { ...axis(""), size: 6, values: (_, ticks) => ticks.map(() => "") };
  // Room above the lines for their names.
  const withRoom = (low, high) => {
    if (low == null || high == null) return [0, 1];
    const height = Math.max(high - low, 1e-6);
    return [low - 0.05 * height, high + 0.22 * height];
  };
  // Room for the band, and not less than a twentieth of a second: less is nothing that a driver could find.
  const lostRange = (lost) => {
    return withRoom(Math.min(-0.05, ...lost.lower), Math.max(0.05, ...lost.upper));
  };

  const draw = () => {
    for (const u of charts) u.destroy();
    room.textContent = "";
    row = null;
    const lap = lapOf("trace-lap");
    pick("trace-over").disabled = !lap;
    full = lap ? [0, 100] : [data.time[0], data.time[data.time.length - 1]];
    span = full;
    groups = chartsShown();
    nowRow();
    const narrow = room.clientWidth < 500;
    charts = groups.map((group, n) => {
      const last = n === groups.length - 1;
      const chart = new uPlot({
        width: room.clientWidth, height: (narrow ? 104 : 120) + (last ? 36 : 0),
        cursor: { y: false, sync: { key: "trace" }, drag: { x: true, y: false, setScale: false } },
        scales: { x: { time: false, min: full[0], max: full[1] }, y: { range: group.lost ? lostRange(group.lost) : (_, low, high) => withRoom(low, high) } },
        legend: { show: false },
        series: [{}, ...series(group)],
        bands: group.lost ? [{ series: [2, 3], fill: dark.matches ? "rgba(86,180,233,0.22)" : "rgba(0,114,178,0.18)" }] : [],
        axes: [xAxis(last), { ...axis(""), size: narrow ? 46 : 54, space: 24, values: (_, ticks) => ticks.map((t) => String(+t.toFixed(3))) }],
        hooks: {
          init: [(u) => { u.group = group; }],
          draw: [marks],
          setCursor: [moveTo],
          setSelect: [(u) => {
            if (u.select.width > 4) zoom(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x"));
            u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
          }],
          ready: [(u) => touches(u.over, u)],
        },
      }, group.columns, room);
      return chart;
    });
    lostMost();
    markChosen();
    say();
  };

  // Where the lap lost most on the other, as links; and what is not by its place, and why.
  const lostMost = () => {
    const one = lapOf("trace-lap"), two = lapOver(), says = pick("trace-most");
    says.textContent = "";
    if (!one) return;
    const upper = (text) => text[0].toUpperCase() + text.slice(1);
    const without = [one, ...(two ? [two] : [])].filter((lap) => !lap.places);
    if (without.length) {
      const why = (lap) => lap.aside ? `${lap.name} was set aside` : lap.run ? `how ${lap.name}, lies over this run is not known` : `the places of ${lap.name} are not known`;
      says.append(`${upper(without.map(why).join("; "))}: shown by the share of motor turns.${two ? " So it is not known where time was lost." : ""}`);
      return;
    }
    const over = pick("trace-over").value, mine = pick("trace-lap").value;
    if (!two || !data.compared_with.includes(over)) return;
    const found = data.lost_most[mine.slice("lap-".length)]?.[over] ?? [];
    if (!found.length) {
      const slower = one.seconds - two.seconds, by = Math.abs(slower).toFixed(2);
      says.append(slower > 0 ? `${upper(one.name)} was ${by} s slower than ${two.name}, but no single stretch was slower by more than its doubt.` : `${upper(one.name)} was ${by} s faster than ${two.name}, and no stretch was slower by more than its doubt.`);
      return;
    }
    says.append(`${upper(one.name)} lost most on ${two.name}: `);
    found.forEach(([from, to, ms, half], n) => {
      const link = element("a", `${from} to ${to} %`);
      link.href = `#trace=${mine},with-${over},${from}-${to}`;
      says.append(n ? ", " : "", link, ` ${(ms / 1000).toFixed(2)} s ± ${(half / 1000).toFixed(2)}`);
    });
    says.append(".");
  };

  // What is shown stays over a page that renews itself, for as long as its tab is open; an address that names laps goes before it.
  const CHOSEN = `trace ${location.pathname}`;
  const remembered = () => { try { return JSON.parse(sessionStorage.getItem(CHOSEN)) ?? []; } catch { return []; } };
  const remember = () => { try { sessionStorage.setItem(CHOSEN, JSON.stringify([pick("trace-lap").value, pick("trace-over").value])); } catch { /* a tab without storage */ } };
  const choose = (lap, over) => {
    pick("trace-lap").value = laps.get(lap)?.own ? lap : "";
    pick("trace-over").value = laps.has(over) && over !== lap ? over : "";
    remember();
    draw();
  };
  const follow = (hash) => {
    if (!hash.startsWith("#trace=")) return false;
    const parts = decodeURIComponent(hash).slice("#trace=".length).split(",");
    const lap = parts.find((p) => laps.get(p)?.own);
    if (!lap) return false;
    choose(lap, parts.find((p) => p.startsWith("with-"))?.slice("with-".length));
    const place = parts.map((p) => /^(\d+)-(\d+)$/.exec(p)).find(Boolean);
    if (place) zoom(Number(place[1]), Number(place[2]));
    pick("trace-tools").scrollIntoView({ block: "start" });
    return true;
  };

  room.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const middle = (span[0] + span[1]) / 2;
    const does = { ArrowLeft: () => moved(-KEY_STEP), ArrowRight: () => moved(KEY_STEP), "+": () => scaled(0.7, middle), "=": () => scaled(0.7, middle), "-": () => scaled(1 / 0.7, middle), 0: () => zoom(...full), Escape: () => zoom(...full), n: () => nextSpin(1), b: () => nextSpin(-1) }[e.key];
    // Said aloud by keys alone: under a moving mouse it would never end.
    if (does) { pick("trace-what").setAttribute("aria-live", "polite"); does(); e.preventDefault(); }
  });
  room.addEventListener("pointermove", () => pick("trace-what").setAttribute("aria-live", "off"));
  room.addEventListener("dblclick", () => zoom(...full));
  pick("trace-whole").addEventListener("click", () => zoom(...full));
  pick("trace-picture").addEventListener("click", () => {
    const one = lapOf("trace-lap"), two = lapOver();
    const shown = !one ? "the whole run" : two?.source ? `${one.name}, with ${two.name} dashed` : two ? `${one.name} against ${two.name}` : one.name;
    const stretch = isWhole() ? "" : one ? `, ${span[0].toFixed(0)} to ${span[1].toFixed(0)} % of the lap` : `, ${span[0].toFixed(1)} to ${span[1].toFixed(1)} s`;
    saveStack(`${data.of}: ${shown}${stretch}`, charts.map((u) => u.ctx.canvas));
  });
  for (const [value, lap] of laps) {
    const option = () => new Option(`${lap.name}, ${lap.seconds.toFixed(2)} s`, value);
    if (lap.own) pick("trace-lap").append(option());
    pick("trace-over").append(option());
  }
  const [lap, over] = remembered();
  if (laps.get(lap)?.own) pick("trace-lap").value = lap;
  if (laps.has(over)) pick("trace-over").value = over;
  for (const id of ["trace-lap", "trace-over"]) {
    pick(id).addEventListener("change", () => {
      remember();
      if (location.hash.startsWith("#trace=")) history.replaceState(null, "", location.pathname + location.search);
      draw();
    });
  }
  window.addEventListener("hashchange", () => follow(location.hash));
  document.addEventListener("click", (e) => {
    // The same link a second time changes no address.
    const link = e.target.closest?.("a[href^='#trace=']");
    if (link && link.getAttribute("href") === location.hash) follow(location.hash);
  });
  let resized = 0;
  const fit = (width) => charts.forEach((u) => u.setSize({ width, height: u.height }));
  window.addEventListener("resize", () => { cancelAnimationFrame(resized); resized = requestAnimationFrame(() => fit(room.clientWidth)); });
  // A sheet of A4 without its margins, in CSS pixels.
  const PAPER_PX = 700;
  window.addEventListener("beforeprint", () => fit(PAPER_PX));
  window.addEventListener("afterprint", () => fit(room.clientWidth));
  dark.addEventListener("change", draw);
  document.addEventListener("units", () => { const shown = span; draw(); zoom(...shown); });
  document.getElementById("trace").hidden = false;
  for (const hidden of document.querySelectorAll(".to-trace")) hidden.hidden = false;
  if (!follow(location.hash)) draw();
});
