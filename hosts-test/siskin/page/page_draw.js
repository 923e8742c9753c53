/* SPDX-License-Identifier: ISC */
/* Draws waveforms, spectrograms, pitch, loudness and gains. */
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
