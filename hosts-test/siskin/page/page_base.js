/* SPDX-License-Identifier: ISC */
/* What the rest of the script shares: the data of the page, clock times, series of numbers. */
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
