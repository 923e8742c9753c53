/* SPDX-License-Identifier: ISC */
/* What part of the take is seen, and the graphs in a column. */
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
