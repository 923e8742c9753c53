/* SPDX-License-Identifier: ISC */
/* Sounds: the list is in the page; marks are made from it. */
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
