/* SPDX-License-Identifier: ISC */
/* Notes: the list is in the page; of each, one bar is as sung, one as it is now. */
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
