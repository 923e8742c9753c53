/* SPDX-License-Identifier: ISC */
/* Keys, and what is done when the page opens. */
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
