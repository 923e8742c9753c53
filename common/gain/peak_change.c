/* SPDX-License-Identifier: ISC */
#include "gain/peak_change.h"

#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const float NOTHING = 1e-5f;

void peak_change_prepare(PeakChange *change, double rate_hz, unsigned channels) {
    change->channels = channels;
    change->keep =
        (float)one_pole_coefficient(PEAK_CHANGE_MS, rate_hz / (double)PEAK_CHANGE_STRETCH);
    peak_change_reset(change);
}

void peak_change_reset(PeakChange *change) {
    memset(&change->state, 0, sizeof change->state);
}

static float largest(const float *const *audio, unsigned channels, size_t at, size_t n,
                     float most) {
    for (unsigned c = 0; c < channels; c++)
        for (size_t i = at; i < at + n; i++)
            most = maths_larger(fabsf(audio[c][i]), most);
    return most;
}

/* The end of a stretch. */
static void read_change(PeakChange *change) {
    change->state.in = maths_larger(change->state.in_now, change->keep * change->state.in);
    change->state.out = maths_larger(change->state.out_now, change->keep * change->state.out);
    change->state.in_now = change->state.out_now = 0.0f;
    change->state.at = 0;
    change->state.db = decibel_from_amplitude(change->state.out + NOTHING) -
                       decibel_from_amplitude(change->state.in + NOTHING);
}

static void widen(PeakMoved *moved, float db) {
    moved->down_db = maths_larger(-db, moved->down_db);
    moved->up_db = maths_larger(db, moved->up_db);
}

PeakMoved peak_change_process(PeakChange *change, const float *const *in, const float *const *out,
                              size_t n) {
    PeakMoved moved = {0.0f, 0.0f};
    widen(&moved, change->state.db);
    for (size_t at = 0; at < n;) {
        size_t left = PEAK_CHANGE_STRETCH - change->state.at;
        size_t m = n - at < left ? n - at : left;
        change->state.in_now = largest(in, change->channels, at, m, change->state.in_now);
        change->state.out_now = largest(out, change->channels, at, m, change->state.out_now);
        change->state.at += m;
        at += m;
        if (change->state.at == PEAK_CHANGE_STRETCH) {
            read_change(change);
            widen(&moved, change->state.db);
        }
    }
    return moved;
}
