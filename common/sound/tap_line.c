/* SPDX-License-Identifier: ISC */
#include "sound/tap_line.h"

#include <math.h>

bool tap_line_prepare(TapLine *tap, double rate_hz, size_t max_frames, Arena *arena) {
    tap->fade = (size_t)fmax(1.0, rint(1e-3 * TAP_LINE_FADE_MS * rate_hz));
    tap->goal = 0;
    tap->state.fresh = true;
    tap->state.from = tap->state.to = 0;
    tap->state.at = tap->fade;
    return delay_prepare(&tap->line, max_frames, arena);
}

void tap_line_reset(TapLine *tap) {
    delay_reset(&tap->line);
    tap->state.fresh = true;
    tap->state.from = tap->state.to = tap->goal;
    tap->state.at = tap->fade;
}

void tap_line_set(TapLine *tap, size_t frames) {
    tap->goal = frames;
    if (tap->state.fresh)
        tap->state.from = tap->state.to = frames;
}

static float weight(const TapLine *tap, size_t at) {
    float u = (float)at / (float)tap->fade;
    return u * u * (3.0f - 2.0f * u);
}

/* n frames of the mix of both taps; `ahead`: they are not written yet. */
static void stretch(TapLine *tap, float *out, size_t n, size_t ahead) {
    if (tap->state.at == tap->fade && tap->goal != tap->state.to) {
        tap->state.from = tap->state.to;
        tap->state.to = tap->goal;
        tap->state.at = 0;
    }
    delay_read(&tap->line, tap->state.to - ahead, out, n);
    if (tap->state.at == tap->fade)
        return;
    float old[DELAY_MAX_BLOCK];
    delay_read(&tap->line, tap->state.from - ahead, old, n);
    for (size_t i = 0; i < n; i++)
        out[i] = old[i] + weight(tap, tap->state.at + 1 + i) * (out[i] - old[i]);
    tap->state.at += n;
}

/* Frames until a fade ends. */
static size_t until_end(const TapLine *tap, size_t n) {
    size_t left = tap->fade - tap->state.at;
    bool begins = left == 0 && tap->goal != tap->state.to;
    left = begins ? tap->fade : left;
    return left > 0 && left < n ? left : n;
}

void tap_line_read_ahead(TapLine *tap, float *out, size_t n) {
    for (size_t i = 0; i < n;) {
        size_t m = until_end(tap, n - i);
        stretch(tap, out + i, m, i + m);
        i += m;
    }
    tap->state.fresh &= n == 0;
}

void tap_line_write(TapLine *tap, const float *in, size_t n) {
    delay_write(&tap->line, in, n);
}

void tap_line_process(TapLine *tap, const float *in, float *out, size_t n) {
    for (size_t i = 0; i < n;) {
        size_t m = until_end(tap, n - i);
        m = m < DELAY_MAX_BLOCK ? m : DELAY_MAX_BLOCK;
        delay_write(&tap->line, in + i, m);
        stretch(tap, out + i, m, 0);
        i += m;
    }
    tap->state.fresh &= n == 0;
}
