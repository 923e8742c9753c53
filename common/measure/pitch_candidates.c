/* SPDX-License-Identifier: ISC */
#include "measure/pitch_candidates.h"

#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const double LEAST_LOW_RATE_HZ = 12000.0, PERIODS = 3.0;
/* Under 0.3 there are only maxima of noise: pitch_path.h takes nothing under 0.45 for voice. */
static const float LEAST = 0.2f;
static const float SILENT = 1e-12f; /* mean square */

static const double LAG_COST = 0.03; /* an octave */

enum { SIDE = 8 }; /* lags on either side of the sinc that reads between them */

bool pitch_candidates_prepare(PitchCandidates *pitch, double rate_hz, Arena *arena) {
    *pitch = (PitchCandidates){.rate_hz = rate_hz};
    size_t factor = (size_t)fmax(1.0, floor(rate_hz / LEAST_LOW_RATE_HZ));
    pitch->low_rate_hz = rate_hz / (double)factor;
    pitch->hop = PITCH_CANDIDATES_HOP_S * rate_hz;
    pitch->window =
        8 * (size_t)ceil(PERIODS * pitch->low_rate_hz / PITCH_CANDIDATES_LOWEST_HZ / 8.0);
    pitch->first_lag = (size_t)floor(pitch->low_rate_hz / PITCH_CANDIDATES_HIGHEST_HZ);
    pitch->lags = (size_t)ceil(pitch->low_rate_hz / PITCH_CANDIDATES_LOWEST_HZ);
    size_t all = pitch->lags + 2 + SIDE;
    pitch->taper = arena_take(arena, pitch->window, sizeof(float));
    pitch->over = arena_take(arena, all, sizeof(float));
    pitch->past = arena_take(arena, pitch->window, sizeof(float));
    pitch->tapered = arena_take(arena, 2 * pitch->window, sizeof(float));
    pitch->r = arena_take(arena, all, sizeof(float));
    if (!decimator_prepare(&pitch->decimator, factor, arena) || !pitch->taper || !pitch->over ||
        !pitch->past || !pitch->tapered || !pitch->r)
        return false;
    for (size_t i = 0; i < pitch->window; i++)
        pitch->taper[i] =
            (float)(0.5 - 0.5 * cos(2.0 * PI * ((double)i + 0.5) / (double)pitch->window));
    memcpy(pitch->tapered, pitch->taper, pitch->window * sizeof(float));
    float whole = maths_dot(pitch->tapered, pitch->tapered, pitch->window);
    for (size_t lag = 0; lag < all; lag++)
        pitch->over[lag] = whole / maths_dot(pitch->tapered, pitch->tapered + lag, pitch->window);
    for (int i = 0; i < 2; i++) /* Butterworth, fourth order */
        svf_set(&pitch->state.low_cut[i], pitch->low_rate_hz,
                &(SvfParams){.kind = SVF_HIGH_PASS,
                             .frequency_hz = (float)(0.9 * PITCH_CANDIDATES_LOWEST_HZ),
                             .q = i == 0 ? 0.54119610f : 1.30656296f});
    pitch_candidates_reset(pitch);
    return true;
}

void pitch_candidates_reset(PitchCandidates *pitch) {
    memset(pitch->past, 0, pitch->window * sizeof *pitch->past);
    decimator_reset(&pitch->decimator);
    for (int i = 0; i < 2; i++)
        svf_reset(&pitch->state.low_cut[i]);
    pitch->state.until = pitch->hop;
    pitch->state.moment = (PitchMoment){.level = 0.0f};
}

/* r between lags, by a sinc under Hann's window. Lags under 0 are those over it. */
static float read_at(const PitchCandidates *pitch, double lag) {
    long middle = (long)floor(lag);
    double sum = 0.0;
    for (long k = middle - SIDE + 1; k <= middle + SIDE; k++) {
        double x = lag - (double)k;
        double sinc = fabs(x) < 1e-9 ? 1.0 : sin(PI * x) / (PI * x);
        sum += sinc * (0.5 + 0.5 * cos(PI * x / (double)SIDE)) * (double)pitch->r[k < 0 ? -k : k];
    }
    return (float)sum;
}

/* Where the top of a parabola lies through three values, in steps from the middle one. */
static double top_of(float below, float here, float above, float *height) {
    float bend = below - 2.0f * here + above, slope = above - below;
    double shift = bend < 0.0f ? -0.5 * (double)(slope / bend) : 0.0;
    shift = fmin(1.0, fmax(-1.0, shift));
    *height = here + 0.25f * slope * (float)shift;
    return shift;
}

/* Every multiple of the period is a maximum too: those of longer lags must be stronger, so that
 * they do not crowd it out. */
static double worth(float hz, float strength) {
    return hz > 0.0f ? (double)strength + LAG_COST * log2((double)hz) : -INFINITY;
}

/* Keeps the best; one takes the place of the worst. */
static void keep(PitchMoment *moment, float hz, float strength) {
    size_t worst = 0;
    for (size_t i = 1; i < PITCH_CANDIDATES; i++)
        if (worth(moment->hz[i], moment->strength[i]) <
            worth(moment->hz[worst], moment->strength[worst]))
            worst = i;
    if (worth(hz, strength) <= worth(moment->hz[worst], moment->strength[worst]))
        return;
    moment->hz[worst] = hz;
    moment->strength[worst] = strength;
}

static void add_candidate(PitchCandidates *pitch, size_t lag) {
    const double step = 0.25;
    const float *r = pitch->r;
    float height;
    double at = (double)lag + top_of(r[lag - 1], r[lag], r[lag + 1], &height);
    at += step *
          top_of(read_at(pitch, at - step), read_at(pitch, at), read_at(pitch, at + step), &height);
    height = height > 1.0f ? 1.0f / height : height;
    double hz = pitch->low_rate_hz / at;
    if (hz >= PITCH_CANDIDATES_LOWEST_HZ && hz <= PITCH_CANDIDATES_HIGHEST_HZ)
        keep(&pitch->state.moment, (float)hz, height);
}

static void find_candidates(PitchCandidates *pitch) {
    float mean = 0.0f;
    for (size_t i = 0; i < pitch->window; i++)
        mean += pitch->past[i];
    mean /= (float)pitch->window;
    for (size_t i = 0; i < pitch->window; i++)
        pitch->tapered[i] = (pitch->past[i] - mean) * pitch->taper[i];
    memset(pitch->tapered + pitch->window, 0, pitch->window * sizeof *pitch->tapered);
    float power = maths_dot(pitch->tapered, pitch->tapered, pitch->window);
    float weight = maths_dot(pitch->taper, pitch->taper, pitch->window);
    pitch->state.moment = (PitchMoment){.level = sqrtf(power / weight)};
    if (power < SILENT * weight)
        return;
    for (size_t lag = 0; lag < pitch->lags + 2 + SIDE; lag++)
        pitch->r[lag] = maths_dot(pitch->tapered, pitch->tapered + lag, pitch->window) *
                        pitch->over[lag] / power;
    const float *r = pitch->r;
    for (size_t lag = pitch->first_lag; lag <= pitch->lags; lag++)
        if (r[lag] > LEAST && r[lag] > r[lag - 1] && r[lag] >= r[lag + 1])
            add_candidate(pitch, lag);
}

bool pitch_candidates_step(PitchCandidates *pitch, float in) {
    float low;
    if (decimator_step(&pitch->decimator, in, &low)) {
        memmove(pitch->past, pitch->past + 1, (pitch->window - 1) * sizeof *pitch->past);
        low = svf_step(&pitch->state.low_cut[0], low);
        pitch->past[pitch->window - 1] = svf_step(&pitch->state.low_cut[1], low);
    }
    pitch->state.until -= 1.0;
    if (pitch->state.until > 0.5)
        return false;
    pitch->state.until += pitch->hop;
    find_candidates(pitch);
    return true;
}

double pitch_candidates_s(const PitchCandidates *pitch, size_t k) {
    double late_s = 0.5 * (double)pitch->window / pitch->low_rate_hz +
                    8.0 * (double)pitch->decimator.factor / pitch->rate_hz;
    return (double)(k + 1) * PITCH_CANDIDATES_HOP_S - late_s;
}
