/* SPDX-License-Identifier: ISC */
#include "gain/band_mender.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* Taking a share of a band-pass away makes a notch, narrower the deeper it is, which leaves a ridge
 * between neighbours: were the filters as wide as the bands, never more than 4.6 dB would be cut
 * there, however much both were. At 2.5 times that width it is 14 dB where both are cut by 12; but
 * then neighbours reach each other's centres, and cuts in a row add up. */
static const double WIDTH = 2.5;
/* The lowest band begins this much lower, so that a click on its edge does not stay. */
static const double SKIRT = 1.12;
/* Of each cut, for what the neighbours add: found on clicks in voices, where neither is left over
 * nor missing afterwards. A click is too short for the filters to reach their full depth. */
static const float SHARE = 0.9f;
static const double SMALL_CUT_DB =
    3.0; /* where overlaps are measured: at deeper cuts they are less */

void band_mender_reset(BandMender *mender) {
    memset(&mender->state, 0, sizeof mender->state);
}

/* What a cut of 1 dB by band `of` takes away at the centre of band `at`, dB. */
static double overlap(const BandMender *mender, const double *g, size_t at, size_t of) {
    double keep = decibel_to_gain(-SMALL_CUT_DB), w = g[at] / g[of];
    double across = 1.0 - w * w, along = (double)mender->k[of] * w;
    double before = across * across + along * along;
    double after = across * across + along * along * keep * keep;
    return 10.0 * log10(before / after) / SMALL_CUT_DB;
}

void band_mender_set(BandMender *mender, const BandLevels *levels, float most_db) {
    double g[BAND_LEVELS_ROW] = {0.0};
    mender->bands = levels->bands;
    mender->most_db = most_db;
    for (size_t b = 0; b < levels->bands; b++) {
        double low = (double)levels->edge_hz[b] / (b == 0 ? SKIRT : 1.0);
        double high = (double)levels->edge_hz[b + 1], centre = sqrt(low * high);
        double k = WIDTH * (high - low) / centre;
        g[b] = tan(PI * centre / levels->rate_hz);
        double a1 = 1.0 / (1.0 + g[b] * (g[b] + k));
        mender->a1[b] = (float)a1;
        mender->a2[b] = (float)(g[b] * a1);
        mender->g2[b] = (float)(2.0 * g[b]);
        mender->k[b] = (float)k;
    }
    for (size_t at = 0; at < levels->bands; at++)
        for (size_t of = 0; of < levels->bands; of++)
            mender->overlap[at][of] = (float)overlap(mender, g, at, of);
}

/* k c for the cuts wanted, all made less where together they would take away more than allowed. */
static void weigh(const BandMender *mender, const float cut_db[BAND_LEVELS_ROW],
                  float weight[BAND_LEVELS_ROW]) {
    float worst = 0.0f;
    for (size_t at = 0; at < mender->bands; at++) {
        float sum = 0.0f;
        for (size_t of = 0; of < mender->bands; of++)
            sum += mender->overlap[at][of] * SHARE * cut_db[of];
        worst = sum > worst ? sum : worst;
    }
    float share = worst > mender->most_db ? SHARE * mender->most_db / worst : SHARE;
    for (size_t b = 0; b < mender->bands; b++)
        weight[b] = mender->k[b] * (1.0f - decibel_fast_gain(-share * cut_db[b]));
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
    float to[BAND_LEVELS_ROW];
    weigh(mender, cut_db[0], mender->state.from);
    weigh(mender, cut_db[1], to);
    for (size_t b = 0; b < mender->bands; b++)
        mender->state.step[b] = (to[b] - mender->state.from[b]) / (float)hop;
}

static inline Simd mend(BandMender *mender, Simd x, float frame) {
    for (size_t b = 0; b < mender->bands; b++) {
        Simd *ic1 = &mender->state.ic1[b], *ic2 = &mender->state.ic2[b];
        Simd v1 = mender->a1[b] * *ic1 + mender->a2[b] * (x - *ic2);
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
        Simd x = {in[0][i], channels > 1 ? in[1][i] : 0.0f, 0.0f, 0.0f};
        x = mend(mender, x, (float)(at + i));
        out[0][i] = x[0];
        if (channels > 1)
            out[1][i] = x[1];
    }
}
