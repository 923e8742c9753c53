/* SPDX-License-Identifier: ISC */
#include "filter/octave_bank.h"

#include <math.h>
#include <string.h>

static const double FIRST_EDGE_HZ = 359.2; /* sqrt(44100 / 128 * 48000 / 128) */
static const double LOWEST_EDGE_HZ = 240.0;
static const double LOW_RATE_HZ = 5400.0;

/* The tree's k-th edge from below; edge 0 is 0 Hz. */
static double tree_edge(const OctaveBank *bank, double rate_hz, unsigned k) {
    return k == 0 ? 0.0 : ldexp(rate_hz, (int)k - 2 - (int)bank->stages);
}

/* The upper edge of band b, moved onto the tree's where that is near. */
static double band_edge(const OctaveBank *bank, double rate_hz, int b) {
    if (b == OCTAVE_BANK_BANDS - 1)
        return rate_hz;
    if (b == 0)
        return tree_edge(bank, rate_hz, 1);
    double edge = ldexp(FIRST_EDGE_HZ, b);
    for (unsigned k = 1; k <= bank->stages + 1; k++)
        if (fabs(tree_edge(bank, rate_hz, k) / edge - 1.0) < 0.1)
            return tree_edge(bank, rate_hz, k);
    return edge;
}

static void design_cut(OctaveBank *bank, double rate_hz) {
    double lower = 0.0;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        double upper = band_edge(bank, rate_hz, b);
        for (unsigned k = 0; k <= bank->stages; k++) {
            double from = tree_edge(bank, rate_hz, k), to = tree_edge(bank, rate_hz, k + 1);
            double shared = fmin(to, upper) - fmax(from, lower);
            bank->cut[b][k] = (float)(fmax(shared, 0.0) / (to - from));
        }
        lower = upper;
    }
}

void octave_bank_prepare(OctaveBank *bank, double rate_hz) {
    bank->stages = 0;
    bank->low_stages = 0;
    bank->low_rate_hz = rate_hz;
    double rate = rate_hz;
    while (rate / 4.0 > LOWEST_EDGE_HZ) {
        half_band_prepare(&bank->stage[bank->stages++]);
        if (rate / 2.0 > LOW_RATE_HZ) {
            bank->low_stages = bank->stages;
            bank->low_rate_hz = rate / 2.0;
        }
        rate /= 2.0;
    }
    bank->group = (size_t)1 << bank->stages;
    bank->low_frames = bank->group >> bank->low_stages;
    design_cut(bank, rate_hz);
}

void octave_bank_reset(OctaveBank *bank) {
    for (unsigned s = 0; s < bank->stages; s++)
        half_band_reset(&bank->stage[s]);
}

/* Four running sums, so that a vector register can hold them in any build. */
static float mean_square(const float *x, size_t n) {
    float sum[4] = {0.0f, 0.0f, 0.0f, 0.0f};
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t k = 0; k < 4; k++)
            sum[k] += x[i + k] * x[i + k];
    for (; i < n; i++)
        sum[0] += x[i] * x[i];
    return ((sum[0] + sum[1]) + (sum[2] + sum[3])) / (float)n;
}

void octave_bank_group(OctaveBank *bank, const float *in, float power[OCTAVE_BANK_BANDS],
                       float *low) {
    float half[OCTAVE_BANK_MAX_GROUP], high[OCTAVE_BANK_MAX_GROUP / 2];
    float tree[OCTAVE_BANK_MAX_STAGES + 1];
    const float *x = in;
    size_t n = bank->group;
    for (unsigned s = 0; s < bank->stages; s++) {
        if (s == bank->low_stages)
            memcpy(low, x, n * sizeof *low);
        n /= 2;
        half_band_split(&bank->stage[s], x, half, high, n);
        x = half;
        tree[bank->stages - s] = mean_square(high, n);
    }
    tree[0] = mean_square(x, n);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        power[b] = 0.0f;
        for (unsigned k = 0; k <= bank->stages; k++)
            power[b] += bank->cut[b][k] * tree[k];
    }
}
