/* SPDX-License-Identifier: ISC */
/* Player: parts are decoded as they come up, and all three tracks run side by side. */
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
