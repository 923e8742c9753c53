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

/* The low-pass, as a share of the lowest band's edge. 48 dB down at 1.9 times that edge. */
static const double LOW_SHARE = 0.5;
/* Of a Butterworth filter of 4th order: 1 / (2 cos(pi/8)), 1 / (2 cos(3 pi/8)). */
static const double LOW_Q[2] = {0.541196100146197, 1.306562964876377};

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

static void design_low(BandMender *mender, double hz, double rate_hz) {
    double g = tan(PI * hz / rate_hz);
    mender->low_g = simd_all((float)g);
    for (int i = 0; i < 2; i++) {
        double a1 = 1.0 / (1.0 + g * (g + 1.0 / LOW_Q[i]));
        mender->low_a1[i] = simd_all((float)a1);
        mender->low_a2[i] = simd_all((float)(g * a1));
        mender->low_a3[i] = simd_all((float)(g * g * a1));
    }
}

void band_mender_set(BandMender *mender, const BandLevels *levels, float most_db) {
    double g[BAND_LEVELS_ROW] = {0.0};
    mender->bands = levels->bands;
    mender->most_db = most_db;
    design_low(mender, LOW_SHARE * (double)levels->edge_hz[0], levels->rate_hz);
    for (size_t b = 0; b < levels->bands; b++) {
        double low = (double)levels->edge_hz[b] / (b == 0 ? SKIRT : 1.0);
        double high = (double)levels->edge_hz[b + 1], centre = sqrt(low * high);
        double k = WIDTH * (high - low) / centre;
        g[b] = tan(PI * centre / levels->rate_hz);
        double a1 = 1.0 / (1.0 + g[b] * (g[b] + k));
        mender->a1[b] = simd_all((float)a1);
        mender->a2[b] = simd_all((float)(g[b] * a1));
        mender->direct[b / SIMD_WIDTH][b % SIMD_WIDTH] = (float)(g[b] * a1);
        mender->g2[b] = simd_all((float)(2.0 * g[b]));
        mender->k[b] = (float)k;
    }
    for (size_t b = levels->bands; b < BAND_LEVELS_ROW; b++)
        mender->k[b] = 0.0f;
    memset(mender->spread, 0, sizeof mender->spread);
    for (size_t at = 0; at < levels->bands; at++)
        for (size_t of = 0; of < levels->bands; of++) {
            float one = (float)overlap(mender, g, at, of);
            mender->overlap[at][of] = one;
            mender->spread[of][at / SIMD_WIDTH][at % SIMD_WIDTH] = one * SHARE;
        }
    mender->ahead.cut_db[0] = -1.0f; /* none that is asked for */
}

/* The largest sum at any centre, dB. */
static float worst_overlap(const BandMender *mender, const float cut[BAND_LEVELS_ROW]) {
    Simd sum[BAND_MENDER_PARTS] = {simd_all(0.0f), simd_all(0.0f)}, most = simd_all(0.0f);
    for (size_t of = 0; of < mender->bands; of++)
        for (size_t p = 0; p < BAND_MENDER_PARTS; p++)
            sum[p] += mender->spread[of][p] * cut[of];
    for (size_t p = 0; p < BAND_MENDER_PARTS; p++)
        most = simd_larger(sum[p], most);
    return maths_larger(maths_larger(most[0], most[1]), maths_larger(most[2], most[3]));
}

/* k c for the cuts wanted, less what is cut from all, and made less where together they would take
 * away more than allowed. */
static void weigh(const BandMender *mender, const float cut_db[BAND_LEVELS_ROW], float wide_db,
                  float weight[BAND_LEVELS_ROW]) {
    float most = mender->most_db, cut[BAND_LEVELS_ROW] = {0.0f};
    for (size_t b = 0; b < mender->bands; b++) {
        cut[b] = maths_larger(cut_db[b] - wide_db, 0.0f);
        if (cut_db[BAND_LEVELS_LOW] > 0.0f)
            most = maths_larger(most, cut[b]);
    }
    float worst = worst_overlap(mender, cut);
    float share = worst > most ? SHARE * most / worst : SHARE;
    for (size_t b = 0; b < BAND_LEVELS_ROW; b++)
        weight[b] = mender->k[b] * (1.0f - decibel_fast_gain(-share * cut[b]));
}

/* What to take from all bands together. */
static float wide_cut(const BandMender *mender, const float cut_db[BAND_LEVELS_ROW]) {
    float sorted[BAND_LEVELS_ROW] = {0.0f}; /* the smallest first */
    for (size_t b = 0; b < mender->bands; b++) {
        float cut = cut_db[b];
        for (size_t i = 0; i < b; i++) {
            float smaller = maths_smaller(sorted[i], cut);
            cut = maths_larger(sorted[i], cut);
            sorted[i] = smaller;
        }
        sorted[b] = cut;
    }
    float beyond = maths_larger(sorted[mender->bands - 1] - BAND_MENDER_NARROW_DB, 0.0f);
    float wide = maths_smaller(beyond, sorted[(mender->bands - 1) / 2]);
    return maths_smaller(wide, cut_db[BAND_LEVELS_LOW]);
}

static void forget(BandMender *mender) {
    memset(mender->state.ic1, 0, sizeof mender->state.ic1);
    memset(mender->state.ic2, 0, sizeof mender->state.ic2);
    memset(mender->state.low1, 0, sizeof mender->state.low1);
    memset(mender->state.low2, 0, sizeof mender->state.low2);
}

/* What a cut makes of the bands, and of all together. */
static void find_shares(const BandMender *mender, const float cut_db[BAND_LEVELS_ROW],
                        BandMenderShares *shares) {
    float wide_db = wide_cut(mender, cut_db), weight[BAND_LEVELS_ROW];
    weigh(mender, cut_db, wide_db, weight);
    memcpy(shares->cut_db, cut_db, sizeof shares->cut_db);
    memcpy(shares->weight, weight, sizeof shares->weight);
    shares->wide = 1.0f - decibel_fast_gain(-wide_db);
}

static bool same_row(const float *a, const float *b) {
    bool same = true;
    for (size_t i = 0; i < BAND_LEVELS_ROW; i++)
        same &= a[i] == b[i];
    return same;
}

void band_mender_hop(BandMender *mender, const float cut_db[2][BAND_LEVELS_ROW], size_t hop,
                     bool awake) {
    if (awake && !mender->state.awake)
        forget(mender);
    mender->state.awake = awake;
    if (!awake)
        return;
    BandMenderShares from, *to = &mender->ahead;
    if (same_row(cut_db[0], to->cut_db))
        from = *to; /* a hop begins where the last one ended */
    else
        find_shares(mender, cut_db[0], &from);
    if (!same_row(cut_db[1], to->cut_db))
        find_shares(mender, cut_db[1], to);
    for (size_t p = 0; p < BAND_MENDER_PARTS; p++) {
        mender->state.from[p] = from.weight[p];
        mender->state.step[p] = (to->weight[p] - from.weight[p]) / (float)hop;
    }
    mender->state.wide_from = from.wide;
    mender->state.wide_step = (to->wide - from.wide) / (float)hop;
}

/* Each section takes v1 = a1 ic1 + a2 (x - ic2) apart into what hangs on x and what was known
 * before, so that a frame goes through one in the time of a product and a sum: nine wait for each
 * other. */
static inline Simd low_pass(BandMender *mender, Simd x) {
    for (int i = 0; i < 2; i++) {
        Simd ic1 = mender->state.low1[i], ic2 = mender->state.low2[i];
        Simd known = mender->low_a1[i] * ic1 - mender->low_a2[i] * ic2;
        Simd v1 = known + mender->low_a2[i] * x;
        Simd v2 = (ic2 + mender->low_g * known) + mender->low_a3[i] * x;
        mender->state.low1[i] = v1 + v1 - ic1;
        mender->state.low2[i] = v2 + v2 - ic2;
        x = v2;
    }
    return x;
}

static inline Simd mend(BandMender *mender, Simd x, float frame) {
    float weight[BAND_LEVELS_ROW], stays[BAND_LEVELS_ROW];
    for (size_t p = 0; p < BAND_MENDER_PARTS; p++) {
        Simd w = mender->state.from[p] + mender->state.step[p] * frame;
        Simd s = 1.0f - w * mender->direct[p];
        memcpy(weight + p * SIMD_WIDTH, &w, sizeof w);
        memcpy(stays + p * SIMD_WIDTH, &s, sizeof s);
    }
    for (size_t b = 0; b < mender->bands; b++) {
        Simd ic1 = mender->state.ic1[b], ic2 = mender->state.ic2[b];
        Simd known = mender->a1[b] * ic1 - mender->a2[b] * ic2;
        Simd v1 = known + mender->a2[b] * x;
        x = stays[b] * x - weight[b] * known;
        mender->state.ic1[b] = v1 + v1 - ic1;
        mender->state.ic2[b] = ic2 + mender->g2[b] * v1;
    }
    float wide = mender->state.wide_from + mender->state.wide_step * frame;
    return x + wide * (low_pass(mender, x) - x);
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
