/* SPDX-License-Identifier: ISC */
#include "band_mender.h"

#include "decibel.h"

#include <math.h>
#include <string.h>

static const double PI = 3.14159265358979323846;
/* Taking a share of a band-pass away makes a notch that is the narrower the deeper it is, so that
 * neighbours leave a ridge between them. At this many times the width of the bands' own the cut
 * between two bands is no less than at their centres (to 24 dB). */
static const double WIDTH = 2.75;
/* The lowest band begins this much lower, so that a click on its edge does not stay. */
static const double SKIRT = 1.12;

void band_mender_reset(BandMender *mender) {
    memset(&mender->state, 0, sizeof mender->state);
}

void band_mender_set(BandMender *mender, const BandLevels *levels) {
    mender->bands = levels->bands;
    for (size_t b = 0; b < levels->bands; b++) {
        double low = (double)levels->edge_hz[b] / (b == 0 ? SKIRT : 1.0);
        double high = (double)levels->edge_hz[b + 1], centre = sqrt(low * high);
        double g = tan(PI * centre / levels->rate_hz), k = WIDTH * (high - low) / centre;
        double a1 = 1.0 / (1.0 + g * (g + k));
        mender->a1[b] = (float)a1;
        mender->a2[b] = (float)(g * a1);
        mender->g2[b] = (float)(2.0 * g);
        mender->k[b] = (float)k;
    }
}

void band_mender_hop(BandMender *mender, const float cut_db[2][BAND_LEVELS_ROW], size_t hop,
                     bool awake) {
    if (awake && !mender->state.awake) {
        memset(mender->state.ic1, 0, sizeof mender->state.ic1);
        memset(mender->state.ic2, 0, sizeof mender->state.ic2);
    }
    mender->state.awake = awake;
    if (!awake)
        return;
    for (size_t b = 0; b < mender->bands; b++) {
        float from = mender->k[b] * (1.0f - decibel_fast_gain(-cut_db[0][b]));
        float to = mender->k[b] * (1.0f - decibel_fast_gain(-cut_db[1][b]));
        mender->state.from[b] = from;
        mender->state.step[b] = (to - from) / (float)hop;
    }
}

static inline Lanes mend(BandMender *mender, Lanes x, float frame) {
    for (size_t b = 0; b < mender->bands; b++) {
        Lanes *ic1 = &mender->state.ic1[b], *ic2 = &mender->state.ic2[b];
        Lanes v1 = mender->a1[b] * *ic1 + mender->a2[b] * (x - *ic2);
        *ic1 = v1 + v1 - *ic1;
        *ic2 = *ic2 + mender->g2[b] * v1;
        x = x - (mender->state.from[b] + mender->state.step[b] * frame) * v1;
    }
    return x;
}

void band_mender_process(BandMender *mender, const float *const *in, float *const *out,
                         unsigned channels, size_t at, size_t n) {
    if (!mender->state.awake) {
        for (unsigned c = 0; c < channels; c++)
            memcpy(out[c], in[c], n * sizeof *out[c]);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        Lanes x = {in[0][i], channels > 1 ? in[1][i] : 0.0f, 0.0f, 0.0f};
        x = mend(mender, x, (float)(at + i));
        out[0][i] = x[0];
        if (channels > 1)
            out[1][i] = x[1];
    }
}
