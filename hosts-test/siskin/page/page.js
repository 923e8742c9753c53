/* SPDX-License-Identifier: ISC */
/* Draws the graphs of the page and plays its sounds. Everything comes from the page itself. */
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const $ = (id) => document.getElementById(id);
  const LENGTH = data.length_s;
  const TRACKS = ["raw", "result", "removed"];

  const clamp = (x, low, high) => Math.min(high, Math.max(low, x));

  /* 83.25 -> "1:23.3", with so many decimals; a true minus before negative ones. */
  const clock = (s, decimals = 1) => {
    const scale = 10 ** decimals;
    const all = Math.round(Math.abs(s) * scale);
    const rest = ((all % (60 * scale)) / scale).toFixed(decimals);
    return `${Math.floor(all / (60 * scale))}:${rest.padStart(decimals ? decimals + 3 : 2, "0")}`;
  };
  const signed = (x, decimals) => (x < 0 ? "\u2212" : "") + Math.abs(x).toFixed(decimals);

  const bytes = (base64) => {
    const text = atob(base64);
    const out = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i++) out[i] = text.charCodeAt(i);
    return out;
  };
  const NOT_KNOWN = -32768;
  const series = (base64) => {
    const view = new DataView(bytes(base64).buffer);
    const out = new Float32Array(view.byteLength / 2);
    for (let i = 0; i < out.length; i++) {
      const value = view.getInt16(2 * i, true);
      out[i] = value === NOT_KNOWN ? NaN : value;
    }
    return out;
  };

  /* ---- player: parts are decoded as they come up, and all three tracks run side by side ---- */

  const KEPT_PARTS = 4;
  const AHEAD_S = 3;
  const N_PARTS = Math.max(1, Math.ceil(LENGTH / data.part_s));
  const player = { at: 0, playing: false, track: 0, matched: false, run: 0 };
  let context = null;
  let outputs = [], edges = null;
  const parts = new Map();

  const say = (text) => { $("status").textContent = text; };

  const open = () => {
    if (context) return;
    context = new AudioContext();
    edges = context.createGain();
    edges.connect(context.destination);
    outputs = TRACKS.map(() => {
      const gain = context.createGain();
      gain.connect(edges);
      return gain;
    });
    setGains(0);
  };

  const decode = (part) => {
    if (!parts.has(part)) {
      const all = TRACKS.map((_, track) => {
        const element = $(`sound-${part}-${track}`);
        return context.decodeAudioData(bytes(element.textContent).buffer)
          .then((buffer) => ({ buffer, lead: Number(element.dataset.lead) }));
      });
      parts.set(part, Promise.all(all));
      parts.get(part).catch(() => parts.delete(part));
      for (const old of parts.keys()) {
        if (parts.size <= KEPT_PARTS) break;
        if (old !== part) parts.delete(old);
      }
    }
    return parts.get(part);
  };

  const matchDb = (track) => (player.matched && track < 2 ? data.match_db[track] || 0 : 0);

  const setGains = (ramp_s) => {
    outputs.forEach((output, track) => {
      const gain = track === player.track ? 10 ** (matchDb(track) / 20) : 0;
      const now = context.currentTime;
      output.gain.cancelScheduledValues(now);
      output.gain.setValueAtTime(output.gain.value, now);
      output.gain.linearRampToValueAtTime(gain, now + ramp_s);
    });
  };

  const position = () => {
    if (!player.playing || player.began === undefined) return player.at;
    return clamp(player.at + context.currentTime - player.began, 0, LENGTH);
  };

  /* Where playing ends: at the end of a note that is heard by itself, else of the take. */
  const last = () => Math.min(LENGTH, player.until === undefined ? LENGTH : player.until);

  /* A note by itself comes in and goes within 10 ms, so that it does not click. */
  const fadeEdges = () => {
    const { gain } = edges, from = player.began, until = from + last() - player.at;
    gain.cancelScheduledValues(0);
    gain.setValueAtTime(player.until === undefined ? 1 : 0, from);
    if (player.until === undefined) return;
    const fade = Math.min(0.01, 0.25 * (until - from));
    gain.linearRampToValueAtTime(1, from + fade);
    gain.setValueAtTime(1, until - fade);
    gain.linearRampToValueAtTime(0, until);
  };

  const schedule = (sounds, part, from, when) => {
    const until = Math.min(last(), (part + 1) * data.part_s);
    sounds.forEach(({ buffer, lead }, track) => {
      const source = context.createBufferSource();
      source.buffer = buffer;
      source.connect(outputs[track]);
      source.start(when, from - part * data.part_s + lead, until - from);
      player.sources.push(source);
    });
    player.scheduled = until;
    player.next = part + 1;
  };

  const keepAhead = async (run) => {
    while (run === player.run && player.playing && player.next < N_PARTS &&
           player.scheduled < last() &&
           player.scheduled - position() < AHEAD_S + 1) {
      const part = player.next;
      const sounds = await decode(part);
      if (run !== player.run || !player.playing || part !== player.next) return;
      schedule(sounds, part, part * data.part_s, player.began + part * data.part_s - player.at);
    }
  };

  const halt = () => {
    (player.sources || []).forEach((source) => { try { source.stop(); } catch (e) { /* over */ } });
    player.sources = [];
    clearInterval(player.timer);
  };

  const pause = () => {
    player.at = position();
    player.until = undefined;
    player.playing = false;
    player.run++;
    halt();
    showPlayer();
  };

  const play = async () => {
    open();
    const run = ++player.run;
    if (player.at >= LENGTH - 0.01) player.at = 0;
    player.playing = true;
    player.began = undefined;
    showPlayer();
    try {
      const part = clamp(Math.floor(player.at / data.part_s), 0, N_PARTS - 1);
      const [sounds] = await Promise.all([decode(part), context.resume()]);
      if (run !== player.run) return;
      player.sources = [];
      player.began = context.currentTime + 0.02;
      fadeEdges();
      schedule(sounds, part, player.at, player.began);
      player.timer = setInterval(() => keepAhead(run).catch(fail), 250);
      requestAnimationFrame(follow);
    } catch (error) {
      fail(error);
    }
  };

  const fail = (error) => {
    pause();
    say(`This browser cannot play the sound (${error.message}).`);
  };

  const seek = (to) => {
    const playing = player.playing;
    if (playing) {
      player.run++;
      halt();
    }
    player.at = clamp(to, 0, LENGTH);
    player.until = undefined;
    player.began = undefined;
    if (playing) play();
    showInView(player.at);
    showPosition();
  };

  const hear = (from, to) => {
    if (player.playing) pause();
    seek(from);
    player.until = to;
    play();
  };

  const follow = () => {
    if (!player.playing) return;
    if (position() >= last()) {
      const end = last();
      pause();
      player.at = end;
    }
    const at = position();
    if (at > view.from + view.span) showInView(at);
    showPosition();
    if (player.playing) requestAnimationFrame(follow);
  };

  const choose = (track) => {
    player.track = track;
    if (context) setGains(0.01);
    showPlayer();
  };

  const match = (on) => {
    player.matched = on && !$("match").disabled;
    $("match").checked = player.matched;
    if (context) setGains(0.05);
    showPlayer();
  };

  const showPosition = () => {
    const at = position();
    $("position").textContent = `${clock(at)} / ${clock(LENGTH)}`;
    $("seek").value = at;
    $("seek").setAttribute("aria-valuetext", `${clock(at)} of ${clock(LENGTH)}`);
    placeHead(at);
  };

  const showPlayer = () => {
    document.body.dataset.track = TRACKS[player.track];
    document.body.dataset.playing = player.playing;
    $("play").textContent = player.playing ? "Pause" : "Play";
    TRACKS.forEach((_, track) =>
      $(`track-${track}`).setAttribute("aria-pressed", track === player.track));
    const [raw, result] = data.match_db;
    const own = player.track === 2 ? "0.0" : signed(data.match_db[player.track] || 0, 1);
    $("match-note").textContent = $("match").disabled ? "(loudness unknown)"
      : player.matched ? `now ${own} dB (raw ${signed(raw, 1)}, result ${signed(result, 1)})`
      : "off";
    showPosition();
  };

  /* ---- what part of the take is seen ---- */

  const SHORTEST_S = Math.min(LENGTH, 0.25);
  const view = { from: 0, span: LENGTH };

  const look = (from, span) => {
    view.span = clamp(span, SHORTEST_S, LENGTH);
    view.from = clamp(from, 0, LENGTH - view.span);
    drawAll();
  };
  const zoom = (factor) => {
    const span = clamp(view.span * factor, SHORTEST_S, LENGTH);
    const at = position();
    const seen = at >= view.from && at <= view.from + view.span;
    const middle = seen ? at : view.from + view.span / 2;
    const share = seen ? (at - view.from) / view.span : 0.5;
    look(middle - share * span, span);
  };
  const showInView = (at) => {
    if (at < view.from || at > view.from + view.span) look(at - 0.1 * view.span, view.span);
  };

  /* ---- drawing ---- */

  const LEFT = 60, RIGHT = 8, BELOW = 18;
  const colours = {};
  const readColours = () => {
    const style = getComputedStyle(document.documentElement);
    for (const name of ["paper", "sheet", "ink", "soft", "line", "grid", "accent", "before",
      "heat-0", "heat-1", "heat-2", "heat-3"])
      colours[name] = style.getPropertyValue(`--${name}`).trim();
  };

  const timeStep = (pixels) => {
    const wanted = view.span * 76 / pixels;
    return [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800]
      .find((step) => step >= wanted) || 3600;
  };

  /* A canvas ready to draw on: plot.x(s), plot.w, plot.h; times along its foot. */
  const begin = (lane) => {
    const width = lane.canvas.clientWidth, height = lane.height + BELOW;
    const scale = Math.min(3, window.devicePixelRatio || 1);
    lane.canvas.style.height = `${height}px`;
    lane.canvas.width = Math.round(width * scale);
    lane.canvas.height = Math.round(height * scale);
    const g = lane.canvas.getContext("2d");
    g.scale(scale, scale);
    g.font = "11px system-ui, sans-serif";
    const w = width - LEFT - RIGHT, h = lane.height;
    const plot = { g, w, h, labels: [], x: (s) => LEFT + (s - view.from) / view.span * w };
    g.fillStyle = colours.sheet;
    g.fillRect(LEFT, 0, w, h);
    const step = timeStep(w);
    g.textAlign = "center";
    g.textBaseline = "top";
    for (let k = Math.ceil(view.from / step); k * step <= view.from + view.span + 1e-9; k++) {
      const x = plot.x(k * step);
      g.fillStyle = colours.grid;
      g.fillRect(x, 0, 1, h + 4);
      g.fillStyle = colours.soft;
      const decimals = step < 0.1 ? 2 : step < 1 ? 1 : 0;
      g.fillText(clock(k * step, decimals), clamp(x, LEFT + 8, LEFT + w - 14), h + 5);
    }
    return plot;
  };

  const level = (plot, y, text, strong) => {
    const { g, w, h } = plot;
    const label = clamp(y, 6, h - 5);
    g.fillStyle = strong ? colours.line : colours.grid;
    g.fillRect(LEFT, Math.round(y), w, 1);
    if (plot.labels.some((other) => Math.abs(other - label) < 12)) return;
    plot.labels.push(label);
    g.fillStyle = colours.soft;
    g.textAlign = "right";
    g.textBaseline = "middle";
    g.fillText(text, LEFT - 6, label);
  };

  const clipped = (plot, draw) => {
    plot.g.save();
    plot.g.beginPath();
    plot.g.rect(LEFT, 0, plot.w, plot.h);
    plot.g.clip();
    draw();
    plot.g.restore();
  };

  /* Elements first..last of a series of one every step_s that can be seen, one more to each side. */
  const seen = (count, step_s) => [
    clamp(Math.floor(view.from / step_s) - 1, 0, count),
    clamp(Math.ceil((view.from + view.span) / step_s) + 2, 0, count),
  ];

  const wave = { raw: series(data.wave.raw), result: series(data.wave.result) };
  const highestPeak = () => {
    let peak = 1;
    for (const which of ["raw", "result"])
      for (const value of wave[which]) peak = Math.max(peak, Math.abs(value) / 16384);
    return peak;
  };
  const drawWave = (which, colour, length_s) => {
    const values = wave[which], top = highestPeak();
    const n = values.length / 2, step_s = length_s / n;
    return (lane) => {
      const plot = begin(lane);
      const { g, w, h } = plot;
      const y = (v) => h / 2 - v / top * (h / 2 - 2);
      level(plot, y(0), "\u2212\u221e", true);
      level(plot, y(1), "0 dBFS", true);
      level(plot, y(-1), "0", true);
      level(plot, y(0.5), "\u22126");
      level(plot, y(-0.5), "\u22126");
      level(plot, y(0.25), "\u221212");
      clipped(plot, () => {
        g.fillStyle = colours[colour];
        for (let px = 0; px < w; px++) {
          const a = view.from + px / w * view.span, b = a + view.span / w;
          const first = Math.floor(a / step_s);
          const last = Math.max(first + 1, Math.ceil(b / step_s));
          let least = Infinity, most = -Infinity;
          for (let i = first; i < last && i < n; i++) {
            least = Math.min(least, values[2 * i]);
            most = Math.max(most, values[2 * i + 1]);
          }
          if (least > most) continue;
          const up = y(most / 16384), down = y(least / 16384);
          g.fillRect(LEFT + px, up, 1, Math.max(1, down - up));
        }
      });
    };
  };

  const mel = (hz) => Math.log1p(hz / 700);
  const picture = { raw: null, result: null };

  const hexes = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));
  const heat = () => {
    const stops = [0, 1, 2, 3].map((i) => hexes(colours[`heat-${i}`]));
    const table = new Uint8ClampedArray(64 * 3);
    for (let k = 0; k < 64; k++) {
      /* what lies under the lowest third is the room, and fades into the sheet */
      const at = clamp((k - 12) / 46, 0, 1) * 3, i = Math.min(2, Math.floor(at));
      for (let c = 0; c < 3; c++)
        table[3 * k + c] = stops[i][c] + (at - i) * (stops[i + 1][c] - stops[i][c]);
    }
    return table;
  };
  const colourPicture = (which) => {
    const { image, canvas } = picture[which];
    canvas.width = image.naturalWidth;
    canvas.height = image.naturalHeight;
    const g = canvas.getContext("2d", { willReadFrequently: true });
    g.drawImage(image, 0, 0);
    const pixels = g.getImageData(0, 0, canvas.width, canvas.height);
    const table = heat();
    for (let i = 0; i < pixels.data.length; i += 4) {
      const k = pixels.data[i] >> 2;
      for (let c = 0; c < 3; c++) pixels.data[i + c] = table[3 * k + c];
    }
    g.putImageData(pixels, 0, 0);
  };
  const loadPicture = async (which) => {
    const image = new Image();
    image.src = data.spectrum[which];
    await image.decode();
    picture[which] = { image, canvas: document.createElement("canvas") };
    colourPicture(which);
  };

  const drawSpectrum = (which, length_s) => (lane) => {
    const plot = begin(lane);
    const { g, w, h } = plot;
    const { lowest_hz, highest_hz } = data.spectrum;
    const y = (hz) => h * (1 - (mel(hz) - mel(lowest_hz)) / (mel(highest_hz) - mel(lowest_hz)));
    if (picture[which]) {
      const { canvas } = picture[which];
      const from = view.from / length_s * canvas.width;
      const span = view.span / length_s * canvas.width;
      clipped(plot, () => g.drawImage(canvas, from, 0, span, canvas.height, LEFT, 0, w, h));
    }
    const marks = h > 100 ? [100, 500, 1000, 2000, 4000, 8000, 16000] : [500, 2000, 8000];
    for (const hz of marks.filter((f) => f < highest_hz)) {
      g.fillStyle = colours.soft;
      g.globalAlpha = 0.35;
      g.fillRect(LEFT, Math.round(y(hz)), w, 1);
      g.globalAlpha = 1;
      g.textAlign = "right";
      g.textBaseline = "middle";
      g.fillText(hz < 1000 ? `${hz} Hz` : `${hz / 1000} kHz`, LEFT - 6, clamp(y(hz), 6, h - 5));
    }
  };

  /* A line through known values, broken where they are not; y by value. */
  const line = (plot, values, step_s, y, style) => {
    const { g } = plot;
    const [first, last] = seen(values.length, step_s);
    g.strokeStyle = style.colour;
    g.lineWidth = style.width;
    g.setLineDash(style.dash || []);
    g.beginPath();
    let pen = false;
    for (let i = first; i < last; i++) {
      const known = !Number.isNaN(values[i]);
      if (known) g[pen ? "lineTo" : "moveTo"](plot.x(i * step_s), y(values[i]));
      pen = known;
    }
    g.stroke();
    g.setLineDash([]);
  };

  const NAMES = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
  const noteName = (midi) => `${NAMES[((midi % 12) + 12) % 12]}${Math.floor(midi / 12) - 1}`;

  /* Both curves as notes over the grid's, a semitone 1; what is not voiced is NaN. */
  const A_HZ = Number.parseFloat($("notes").dataset.a);
  const curve = (which) => series(data.pitch[which])
    .map((c) => (c > 0 ? 69 + (c - 1200 * Math.log2(A_HZ / 10)) / 100 : NaN));

  /* From the 1st to the 99th in a hundred, so that a stray does not set the scale; 3 semitones
     more. */
  const pitchSpan = (curves, notes) => {
    const known = curves.flatMap((c) => [...c]).filter((v) => !Number.isNaN(v));
    known.sort((a, b) => a - b);
    const at = (p) => known[Math.round(p * (known.length - 1))];
    const all = notes.flatMap((n) => (n.now ? [n.midi, n.now.midi] : [n.midi]));
    const low = known.length ? at(0.01) : 57, high = known.length ? at(0.99) : 69;
    return {
      low: all.reduce((a, b) => Math.min(a, b), low) - 1.5,
      high: all.reduce((a, b) => Math.max(a, b), high) + 1.5,
    };
  };

  const drawCurve = (plot, values, y, style) => {
    const step_s = data.pitch.step_s, { g } = plot;
    line(plot, values, step_s, y, style);
    const [first, end] = seen(values.length, step_s);
    g.fillStyle = style.colour;
    for (let i = first; i < end; i++) /* a single voiced moment is no line */
      if (!Number.isNaN(values[i]) && Number.isNaN(values[i - 1]) && Number.isNaN(values[i + 1]))
        g.fillRect(plot.x(i * step_s) - 1, y(values[i]) - 1, 2, 2);
  };

  const drawPitch = (span) => {
    const raw = curve("raw"), result = curve("result");
    return (lane) => {
      const plot = begin(lane);
      const y = (midi) => plot.h * (1 - (midi - span.low) / (span.high - span.low));
      const wide = plot.h / (span.high - span.low) >= 8;
      for (let midi = Math.ceil(span.low); midi <= span.high; midi++)
        if (wide || midi % 12 === 0 || midi % 12 === 7)
          level(plot, y(midi), noteName(midi), midi % 12 === 0);
      clipped(plot, () => {
        drawCurve(plot, raw, y, { colour: colours.before, width: 1.5, dash: [3, 3] });
        drawCurve(plot, result, y, { colour: colours.accent, width: 1.5 });
      });
    };
  };

  const drawLoudness = () => {
    const loud = { raw: series(data.loudness.raw), result: series(data.loudness.result) };
    let most = -40;
    for (const value of [...loud.raw, ...loud.result])
      if (value / 100 > most) most = value / 100;
    const high = Math.ceil(most / 6) * 6, low = high - 36;
    return (lane) => {
      const plot = begin(lane);
      const y = (v) => plot.h * (1 - (v / 100 - low) / (high - low));
      for (let lufs = high - 6; lufs > low; lufs -= plot.h > 100 ? 6 : 12)
        level(plot, y(100 * lufs), signed(lufs, 0) + (lufs === high - 6 ? " LUFS" : ""));
      clipped(plot, () => {
        line(plot, loud.raw, data.loudness.raw_step_s, y,
          { colour: colours.before, width: 2, dash: [5, 4] });
        line(plot, loud.result, data.loudness.result_step_s, y,
          { colour: colours.accent, width: 2.5 });
      });
    };
  };

  const drawGain = (gain) => {
    const db = series(gain.db).map((v) => v / 100);
    let least = 0, most = 0;
    for (const value of db) {
      if (value < least) least = value;
      if (value > most) most = value;
    }
    const step = [1, 2, 3, 6, 12, 24, 48].find((s) => (most - least) / s <= 3) || 96;
    const deed = [
      least < -0.05 ? `down by up to ${(-least).toFixed(1)} dB` : "",
      most > 0.05 ? `up by up to ${most.toFixed(1)} dB` : "",
    ].filter((text) => text).join(", ") || "did nothing";
    const low = Math.min(-step, Math.floor(least / step) * step);
    const high = most > 0.05 ? Math.ceil(most / step) * step : 0;
    const draw = (lane) => {
      const plot = begin(lane);
      const { g, h } = plot;
      const y = (v) => 6 + (h - 12) * (high - v) / (high - low);
      for (let v = high; v >= low; v -= step)
        level(plot, y(v), `${v > 0 ? "+" : ""}${signed(v, 0)} dB`, v === 0);
      clipped(plot, () => {
        const [first, last] = seen(db.length, gain.step_s);
        g.beginPath();
        g.moveTo(plot.x(first * gain.step_s), y(0));
        for (let i = first; i < last; i++) {
          g.lineTo(plot.x(i * gain.step_s), y(db[i]));
          g.lineTo(plot.x((i + 1) * gain.step_s), y(db[i]));
        }
        g.lineTo(plot.x(last * gain.step_s), y(0));
        g.globalAlpha = 0.25;
        g.fillStyle = colours.accent;
        g.fill();
        g.globalAlpha = 1;
        g.strokeStyle = colours.accent;
        g.lineWidth = 1.25;
        g.stroke();
      });
    };
    return { draw, deed };
  };

  /* ---- graphs ---- */

  const lanes = [];
  const head = document.createElement("div");

  const addLane = (title, unit, height, description, draw) => {
    const figure = document.createElement("figure");
    const caption = document.createElement("figcaption");
    const name = document.createElement("b");
    const note = document.createElement("span");
    const canvas = document.createElement("canvas");
    name.textContent = title;
    note.textContent = unit;
    caption.append(name, note);
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", `${title}. ${description}`);
    canvas.addEventListener("click", (event) => {
      const share = (event.offsetX - LEFT) / (canvas.clientWidth - LEFT - RIGHT);
      seek(view.from + clamp(share, 0, 1) * view.span);
    });
    figure.append(caption, canvas);
    $("graphs").append(figure);
    lanes.push({ canvas, height, draw });
    return figure;
  };

  const placeHead = (at) => {
    const w = $("graphs").clientWidth - LEFT - RIGHT;
    const share = (at - view.from) / view.span;
    head.hidden = share < 0 || share > 1;
    head.style.left = `${LEFT + share * w - 1}px`;
  };

  const drawAll = () => {
    for (const lane of lanes) lane.draw(lane);
    placeMarks();
    placeBars();
    placeHead(position());
    $("view-note").textContent =
      `Shown: ${clock(view.from)} to ${clock(view.from + view.span)} of ${clock(LENGTH)} ` +
      "(minutes:seconds). Click or tap a graph to go there.";
  };

  /* ---- sounds: the list is in the page; marks are made from it ---- */

  const KINDS = ["phrase", "breath", "sibilant", "click", "thump"];
  const shown = new Set(KINDS);
  const events = [...$("events").querySelectorAll("li")].map((item) => {
    const button = item.querySelector("button");
    return {
      item, button, kind: item.dataset.kind,
      from: Number(button.dataset.from), to: Number(button.dataset.to),
      text: button.textContent.replace(/\s+/g, " ").trim(),
    };
  });

  let current = null;
  const goTo = (event, fromKeys) => {
    if (current)
      for (const element of [current.button, current.mark]) element.removeAttribute("aria-current");
    current = event;
    for (const element of [event.button, event.mark]) element.setAttribute("aria-current", "true");
    if (fromKeys) {
      const box = $("events"), top = event.item.offsetTop - box.offsetTop;
      if (top < box.scrollTop || top > box.scrollTop + box.clientHeight - 60)
        box.scrollTop = top - box.clientHeight / 3;
    }
    say(event.text);
    seek(event.from);
  };
  const step = (direction) => {
    const at = position();
    const all = events.filter((event) => shown.has(event.kind));
    const now = all.indexOf(current);
    const here = now >= 0 && Math.abs(current.from - at) < 1e-3;
    const next = here ? all[now + direction]
      : direction > 0 ? all.find((event) => event.from > at + 1e-3)
      : all.filter((event) => event.from < at - 1e-3).pop();
    if (next) goTo(next, true);
  };

  const makeMarks = () => {
    const figure = document.createElement("figure");
    const caption = document.createElement("figcaption");
    const name = document.createElement("b");
    const note = document.createElement("span");
    name.textContent = "Sounds found";
    note.textContent = "hollow or pale: left as it is";
    caption.append(name, note);
    figure.append(caption);
    for (const kind of KINDS) {
      const lane = document.createElement("div");
      const label = document.createElement("span");
      const strip = document.createElement("div");
      lane.className = "lane";
      lane.dataset.kind = kind;
      label.textContent = `${kind}s`;
      lane.append(label, strip);
      figure.append(lane);
      for (const event of events.filter((e) => e.kind === kind)) {
        event.mark = document.createElement("button");
        event.mark.type = "button";
        event.mark.tabIndex = -1; /* the list is the way of the keyboard */
        const alone = /left as it is|no \S+ in this chain/.test(event.text);
        event.mark.className = `mark ${kind}${alone ? " left-alone" : ""}`;
        event.mark.title = event.text;
        event.mark.setAttribute("aria-label", event.text);
        if (kind === "phrase") event.mark.textContent = event.text.match(/phrase (\d+)/)[1];
        event.mark.addEventListener("click", () => goTo(event, true));
        strip.append(event.mark);
      }
    }
    $("graphs").append(figure);
  };

  /* Where many clicks are in view their diamonds become thin strokes. */
  const isDense = () => {
    const end = view.from + view.span;
    const clicks = events.filter((e) => e.kind === "click" && e.from >= view.from && e.from <= end);
    return clicks.length > $("graphs").clientWidth / 16;
  };

  const placeMarks = () => {
    $("graphs").classList.toggle("dense", isDense());
    for (const event of events) {
      const { mark } = event;
      const out = event.to < view.from || event.from > view.from + view.span;
      mark.hidden = out;
      if (out) continue;
      mark.style.left = `${100 * (event.from - view.from) / view.span}%`;
      if (event.kind !== "click")
        mark.style.width = `${100 * (event.to - event.from) / view.span}%`;
    }
  };

  const showKinds = () => {
    for (const event of events) event.item.hidden = !shown.has(event.kind);
    for (const lane of document.querySelectorAll(".lane"))
      lane.hidden = !shown.has(lane.dataset.kind);
  };

  const makeKinds = () => {
    for (const kind of KINDS) {
      const count = events.filter((event) => event.kind === kind).length;
      const label = document.createElement("label");
      const box = document.createElement("input");
      box.type = "checkbox";
      box.checked = true;
      box.addEventListener("change", () => {
        shown[box.checked ? "add" : "delete"](kind);
        showKinds();
      });
      label.append(box, `${kind}s (${count})`);
      $("kinds").append(label);
    }
    for (const event of events) event.button.addEventListener("click", () => goTo(event, false));
    if (events.length === 0) {
      const none = document.createElement("li");
      none.className = "empty";
      none.textContent = "Nothing was found.";
      $("events").append(none);
    }
  };

  /* ---- notes: the list is in the page; of each, one bar is as sung, one as it is now ---- */

  const notes = [...$("notes").querySelectorAll("button")].map((button) => {
    const { from, to, midi, nowFrom, nowTo, nowMidi } = button.dataset;
    return {
      button, from: Number(from), to: Number(to), midi: Number(midi), bars: [],
      now: nowMidi && { from: Number(nowFrom), to: Number(nowTo), midi: Number(nowMidi) },
      text: button.textContent.replace(/\s+/g, " ").trim(),
    };
  });

  let noteHeard = null;
  const hearNote = (note, fromKeys) => {
    if (noteHeard)
      for (const element of [noteHeard.button, ...noteHeard.bars])
        element.removeAttribute("aria-current");
    noteHeard = note;
    for (const element of [note.button, ...note.bars])
      element.setAttribute("aria-current", "true");
    if (fromKeys) {
      const box = $("notes"), top = note.button.offsetTop - box.offsetTop;
      if (top < box.scrollTop || top > box.scrollTop + box.clientHeight - 60)
        box.scrollTop = top - box.clientHeight / 3;
    }
    say(note.text);
    hear(note.from, note.to);
  };
  const stepNote = (direction) => {
    const at = position(), now = notes.indexOf(noteHeard);
    const here = now >= 0 && at >= noteHeard.from - 1e-3 && at <= noteHeard.to + 1e-3;
    const next = here ? notes[now + direction]
      : direction > 0 ? notes.find((note) => note.from > at - 1e-3)
      : notes.filter((note) => note.to < at + 1e-3).pop();
    if (next) hearNote(next, true);
  };

  const offText = (midi) => {
    const cents = Math.round(100 * (midi - Math.round(midi)));
    return cents === 0 ? "on pitch" : `${Math.abs(cents)} cents ${cents < 0 ? "flat" : "sharp"}`;
  };

  const barsOf = document.createElement("div");
  let noteSpan = null;
  const addBar = (note, kind, place) => {
    const bar = document.createElement("button");
    bar.type = "button";
    bar.tabIndex = -1; /* the list is the way of the keyboard */
    bar.className = `bar-of-note ${kind}`;
    bar.title = note.text;
    bar.setAttribute("aria-label", note.text);
    bar.dataset.off = `${kind} ${offText(place.midi)}`;
    bar.addEventListener("click", () => {
      choose(kind === "raw" ? 0 : 1);
      hearNote(note, true);
    });
    note.bars.push(bar);
    bar.place = place;
    barsOf.append(bar);
  };

  const makePitch = (height) => {
    noteSpan = pitchSpan([curve("raw"), curve("result")], notes);
    const figure = addLane("Pitch and notes",
      "raw dashed, result in full; bars are notes: click one to hear it", height,
      "The sung pitch over time, and its notes, raw and result.", drawPitch(noteSpan));
    barsOf.className = "bars";
    barsOf.style.height = `${height}px`;
    figure.classList.add("with-bars");
    figure.append(barsOf);
    for (const note of notes) {
      addBar(note, "raw", note);
      if (note.now) addBar(note, "result", note.now);
      note.button.addEventListener("click", () => hearNote(note, false));
    }
  };

  const placeBars = () => {
    for (const bar of barsOf.children) {
      const { from, to, midi } = bar.place;
      bar.hidden = to < view.from || from > view.from + view.span;
      if (bar.hidden) continue;
      const share = (to - from) / view.span;
      bar.classList.toggle("roomy", share * barsOf.clientWidth >= 130);
      bar.style.left = `${100 * (from - view.from) / view.span}%`;
      bar.style.width = `${100 * share}%`;
      bar.style.top = `${100 * (noteSpan.high - midi) / (noteSpan.high - noteSpan.low)}%`;
    }
  };

  /* ---- keys ---- */

  const toggle = () => (player.playing ? pause() : play());

  const keys = {
    " ": toggle,
    1: () => choose(0),
    2: () => choose(1),
    3: () => choose(2),
    m: () => match(!player.matched),
    ArrowLeft: (event) => seek(position() - (event.shiftKey ? 5 : 1)),
    ArrowRight: (event) => seek(position() + (event.shiftKey ? 5 : 1)),
    Home: () => seek(0),
    End: () => seek(LENGTH),
    ",": () => step(-1),
    ".": () => step(1),
    "[": () => stepNote(-1),
    "]": () => stepNote(1),
    "+": () => zoom(0.5),
    "=": () => zoom(0.5),
    "-": () => zoom(2),
    0: () => look(0, LENGTH),
  };

  const onKey = (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const target = event.target instanceof Element ? event.target : document.body;
    /* What the keyboard has come to keeps its own space bar; what was clicked on does not. */
    const own = target.matches("button, input[type=checkbox]") && target.matches(":focus-visible");
    if (key === " " && own) return;
    /* A region that scrolls keeps its arrows. */
    if (/^(Arrow|Home|End)/.test(key) && target.matches("pre, .wide")) return;
    if (!Object.hasOwn(keys, key)) return;
    event.preventDefault();
    keys[key](event);
  };

  /* ---- begin ---- */

  const makeLanes = () => {
    const small = window.innerWidth < 600;
    addLane("Waveform, raw", "dBFS over time", small ? 84 : 110, "Peaks of the take.",
      drawWave("raw", "before", data.raw_s));
    addLane("Waveform, result", "dBFS over time", small ? 84 : 110, "Peaks of the result.",
      drawWave("result", "accent", data.result_s));
    makeMarks();
    addLane("Spectrogram, raw", "Hz and kHz, mel scale", small ? 120 : 170,
      "Level by frequency over time.", drawSpectrum("raw", data.raw_s));
    addLane("Spectrogram, result", "Hz and kHz, mel scale", small ? 120 : 170,
      "Level by frequency over time.", drawSpectrum("result", data.result_s));
    makePitch(small ? 180 : 260);
    addLane("Loudness", "short-term, LUFS over 3 s; raw dashed, result solid", small ? 100 : 130,
      "Short-term loudness of the raw take, dashed, and of the result, solid.", drawLoudness());
    for (const gain of data.gains) {
      const { draw, deed } = drawGain(gain);
      addLane(`Gain of ${gain.label}`, `dB; ${deed}`, 76, `${deed}.`, draw);
    }
    head.className = "head";
    $("graphs").append(head);
  };

  const recolour = () => {
    readColours();
    for (const which of ["raw", "result"]) if (picture[which]) colourPicture(which);
    drawAll();
  };

  const connect = () => {
    $("play").addEventListener("click", toggle);
    TRACKS.forEach((_, track) => $(`track-${track}`).addEventListener("click", () => choose(track)));
    $("seek").max = LENGTH;
    $("seek").addEventListener("input", () => seek(Number($("seek").value)));
    $("match").disabled = data.match_db.some((db) => db === null);
    $("match").addEventListener("change", () => match($("match").checked));
    $("closer").addEventListener("click", () => zoom(0.5));
    $("wider").addEventListener("click", () => zoom(2));
    $("whole").addEventListener("click", () => look(0, LENGTH));
    $("earlier").addEventListener("click", () => look(view.from - 0.5 * view.span, view.span));
    $("later").addEventListener("click", () => look(view.from + 0.5 * view.span, view.span));
    document.addEventListener("keydown", onKey);
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", recolour);
    let width = window.innerWidth;
    window.addEventListener("resize", () => {
      if (window.innerWidth !== width) drawAll(); /* a phone's bars change the height alone */
      width = window.innerWidth;
    });
  };

  readColours();
  makeLanes();
  makeKinds();
  connect();
  showPlayer();
  drawAll();
  Promise.all([loadPicture("raw"), loadPicture("result")]).then(() => {
    drawAll();
    document.body.dataset.ready = "true";
  });
})();
