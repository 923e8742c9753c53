/* SPDX-License-Identifier: ISC */
#include "voice/pitch.h"

#include "basic/maths.h"
#include "basic/one_pole.h"
#include "basic/simd.h"

#include <math.h>
#include <string.h>

/* The low rate is at least this: nine lags for the shortest period, 1 ms, so that a parabola
 * between them still fits. */
static const double LEAST_LOW_RATE_HZ = 9000.0;
/* Added to d, a sum of some 60 squares: makes what lies under -140 dB aperiodic. */
static const float FLOOR = 1e-12f;
static const float NO_BOTTOM = 10.0f;

enum { TAPS_PER_FRAME = 8 }; /* length of the decimating filter in decimated frames */

static void design_taps(Pitch *pitch) {
    double middle = 0.5 * (double)(pitch->n_taps - 1), sum = 0.0;
    for (size_t i = 0; i < pitch->n_taps; i++) {
        double t = ((double)i - middle) / (double)pitch->decimation;
        double x = 0.5 * PI * t; /* corner at a quarter of the low rate */
        double sinc = fabs(x) < 1e-9 ? 1.0 : sin(x) / x;
        double window = 0.54 - 0.46 * cos(2.0 * PI * (double)i / (double)(pitch->n_taps - 1));
        pitch->taps[i] = (float)(sinc * window);
        sum += sinc * window;
    }
    for (size_t i = 0; i < pitch->n_taps; i++)
        pitch->taps[i] /= (float)sum;
}

bool pitch_prepare(Pitch *pitch, double rate_hz, const PitchRange *range, Arena *arena) {
    *pitch = (Pitch){0};
    pitch->decimation = (size_t)fmax(1.0, floor(rate_hz / LEAST_LOW_RATE_HZ));
    pitch->low_rate_hz = rate_hz / (double)pitch->decimation;
    pitch->n_taps = TAPS_PER_FRAME * pitch->decimation;
    pitch->hop = 2 * (size_t)round(0.5 * PITCH_HOP_MS * 1e-3 * pitch->low_rate_hz);
    /* A minimum needs a lag on either side. */
    pitch->first_lag = (size_t)fmax(2.0, floor(pitch->low_rate_hz / range->highest_hz));
    pitch->last_lag = (size_t)ceil(pitch->low_rate_hz / range->lowest_hz);
    if (!(range->lowest_hz >= 40.0) || pitch->first_lag > pitch->last_lag)
        return false;
    pitch->lags = (pitch->last_lag + 1 + 7) / 8 * 8;
    pitch->forget = (float)one_pole_coefficient(PITCH_WINDOW_MS, 0.5 * pitch->low_rate_hz);

    pitch->taps = arena_take(arena, pitch->n_taps, sizeof(float));
    size_t line = pitch->n_taps + pitch->hop * pitch->decimation;
    pitch->line = arena_take(arena, line, sizeof(float));
    pitch->past = arena_take(arena, pitch->lags + pitch->hop, sizeof(float));
    pitch->d = arena_take(arena, pitch->lags, sizeof(float));
    pitch->normal = arena_take(arena, pitch->lags, sizeof(float));
    pitch->bottom = arena_take(arena, pitch->lags, sizeof(float));
    if (!pitch->taps || !pitch->line || !pitch->past || !pitch->d || !pitch->normal ||
        !pitch->bottom)
        return false;
    design_taps(pitch);
    for (int i = 0; i < 2;
         i++) /* Butterworth, fourth order: Q = 1 / (2 cos(pi/8)), 1 / (2 cos(3pi/8)) */
        svf_set(&pitch->state.low_cut[i], pitch->low_rate_hz,
                &(SvfParams){.kind = SVF_HIGH_PASS,
                             .frequency_hz = (float)(0.9 * range->lowest_hz),
                             .q = i == 0 ? 0.54119610f : 1.30656296f});
    return true;
}

void pitch_reset(Pitch *pitch) {
    size_t line = pitch->n_taps + pitch->hop * pitch->decimation;
    memset(pitch->line, 0, line * sizeof *pitch->line);
    memset(pitch->past, 0, (pitch->lags + pitch->hop) * sizeof *pitch->past);
    memset(pitch->d, 0, pitch->lags * sizeof *pitch->d);
    for (int i = 0; i < 2; i++)
        svf_reset(&pitch->state.low_cut[i]);
    pitch->state.taken = 0;
    pitch->state.energy = 0.0f;
    pitch->state.reading = (PitchReading){.aperiodicity = 1.0f};
}

size_t pitch_until(const Pitch *pitch) {
    return pitch->hop * pitch->decimation - pitch->state.taken;
}

PitchReading pitch_reading(const Pitch *pitch) {
    return pitch->state.reading;
}

const float *pitch_low_band(const Pitch *pitch) {
    return pitch->past + pitch->hop - pitch->state.taken / pitch->decimation;
}

/* Where decimated frame k of the hop is in `past`; behind it are those before it. */
static size_t place_of(const Pitch *pitch, size_t k) {
    return pitch->hop - 1 - k;
}

/* Differences of every other of frames from..to from every lag, into d: eight lags at a time, which
 * stay in registers for all frames. */
static void compare(Pitch *pitch, size_t from, size_t to) {
    const float forget = pitch->forget;
    const size_t first = from | 1;
    const size_t step = SIMD_WIDTH;
    for (size_t i = 0; i < pitch->lags; i += 2 * step) {
        float *d = pitch->d + i;
        Simd sum0 = simd_load(d), sum1 = simd_load(d + step);
        for (size_t k = first; k < to; k += 2) {
            const float *now = pitch->past + place_of(pitch, k), *then = now + 1 + i;
            Simd x = simd_all(*now);
            Simd difference0 = x - simd_load(then), difference1 = x - simd_load(then + step);
            sum0 = forget * sum0 + difference0 * difference0;
            sum1 = forget * sum1 + difference1 * difference1;
        }
        memcpy(d, &sum0, sizeof sum0);
        memcpy(d + step, &sum1, sizeof sum1);
    }
    for (size_t k = first; k < to; k += 2) {
        float x = pitch->past[place_of(pitch, k)];
        pitch->state.energy = forget * pitch->state.energy + x * x;
    }
}

/* Decimated frames from..to of the hop; every other one counts in the sums. */
static void take(Pitch *pitch, size_t from, size_t to) {
    Svf one = pitch->state.low_cut[0], two = pitch->state.low_cut[1];
    for (size_t k = from; k < to; k++) {
        float x = maths_dot(pitch->line + (k + 1) * pitch->decimation, pitch->taps, pitch->n_taps);
        pitch->past[place_of(pitch, k)] = svf_step(&two, svf_step(&one, x));
    }
    pitch->state.low_cut[0] = one;
    pitch->state.low_cut[1] = two;
    compare(pitch, from, to);
}

/* Eight lags at a time, so that the divisions of some go on beside the sums of the next, which wait
 * for each other. */
static void normalise(Pitch *pitch) {
    enum { STEP = 8 };
    float sum = 0.0f, sums[STEP];
    for (size_t first = 0; first < pitch->lags; first += STEP) {
        const float *d = pitch->d + first;
        for (size_t i = 0; i < STEP; i++) {
            sum += d[i] + FLOOR;
            sums[i] = sum;
        }
        for (size_t i = 0; i < STEP; i++)
            pitch->normal[first + i] = (d[i] + FLOOR) * (float)(int)(first + i + 1) / sums[i];
    }
}

/* d' between the lags around each local minimum, by a parabola; elsewhere more than any minimum.
 * Without it a period that falls between two lags would look less periodic than its double. At
 * either end there is no minimum. */
static void find_bottoms(Pitch *pitch) {
    const float *normal = pitch->normal;
    const Simd zero = simd_all(0.0f), one = simd_all(1.0f), none = simd_all(NO_BOTTOM);
    size_t last = pitch->lags - 1;
    for (size_t start = 1; start < last; start += SIMD_WIDTH) {
        size_t i = start + SIMD_WIDTH <= last ? start : last - SIMD_WIDTH;
        Simd below = simd_load(normal + i - 1), here = simd_load(normal + i),
             above = simd_load(normal + i + 1);
        Simd bend = below - 2.0f * here + above, slope = above - below;
        Simd value =
            here - 0.125f * slope * slope / simd_choose(bend > simd_all(1e-12f), bend, one);
        value = simd_choose(value > zero, value, zero);
        value = simd_choose((here <= below) & (here <= above), value, none);
        memcpy(pitch->bottom + i, &value, sizeof value);
    }
}

/* The lag of the period, by the rule in the header; 0 if there is no minimum in the range. */
static size_t choose(const Pitch *pitch) {
    const float *bottom = pitch->bottom - 1; /* by lag */
    Simd leasts = simd_all(NO_BOTTOM);
    size_t lag = pitch->first_lag;
    for (; lag + SIMD_WIDTH <= pitch->last_lag + 1; lag += SIMD_WIDTH) {
        Simd here = simd_load(bottom + lag);
        leasts = simd_choose(here < leasts, here, leasts);
    }
    float least =
        maths_smaller(maths_smaller(leasts[0], leasts[1]), maths_smaller(leasts[2], leasts[3]));
    for (; lag <= pitch->last_lag; lag++)
        least = maths_smaller(bottom[lag], least);
    const float most = PITCH_TIE + 1.5f * least;
    size_t chosen = pitch->first_lag;
    while (chosen < pitch->last_lag && !(bottom[chosen] <= most))
        chosen++;
    return least < NO_BOTTOM ? chosen : 0;
}

static void read_pitch(Pitch *pitch) {
    normalise(pitch);
    find_bottoms(pitch);
    size_t lag = choose(pitch);
    pitch->state.reading = (PitchReading){
        .aperiodicity = 1.0f,
        .power = pitch->state.energy * (1.0f - pitch->forget),
    };
    if (lag == 0)
        return;
    const float *d = pitch->d - 1;
    float below = d[lag - 1], here = d[lag], above = d[lag + 1];
    float bend = below - 2.0f * here + above;
    float shift = bend > 0.0f ? 0.5f * (below - above) / bend : 0.0f;
    pitch->state.reading.hz = (float)pitch->low_rate_hz / ((float)lag + shift);
    pitch->state.reading.aperiodicity = pitch->bottom[lag - 1];
}

bool pitch_process(Pitch *pitch, const float *in, size_t n) {
    const size_t whole = pitch->hop * pitch->decimation;
    size_t before = pitch->state.taken, after = before + n;
    memcpy(pitch->line + pitch->n_taps + before, in, n * sizeof *in);
    pitch->state.taken = after;
    take(pitch, before / pitch->decimation, after / pitch->decimation);
    if (after < whole)
        return false;
    read_pitch(pitch);
    memmove(pitch->past + pitch->hop, pitch->past, pitch->lags * sizeof *pitch->past);
    memmove(pitch->line, pitch->line + whole, pitch->n_taps * sizeof *pitch->line);
    pitch->state.taken = 0;
    return true;
}
