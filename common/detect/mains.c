/* SPDX-License-Identifier: ISC */
#include "detect/mains.h"

#include "basic/maths.h"
#include "basic/turns.h"

#include <math.h>
#include <string.h>

static const double LOW_RATE_HZ = 2700.0, LOW_PASS_HZ = 900.0, BESIDE_HZ = 10.0;
static const double NOMINAL_HZ[MAINS_SERIES] = {50.0, 60.0}, MOST_OFF_HZ = 0.5;
/* 10 dB; and what three bins of a Hann window show of a sine's square: (N / 4)^2 (1 + 1 / 4 + 1 /
 * 4). */
static const double ROOM_FOR_ERROR = 10.0, SINE_SQUARE = 0.09375;
static const float FOUND = 4.0f, EARLY = 72.0f, LOST = 2.0f, MOST = 100.0f, LEAST = 1e-16f,
                   NOTHING = 1e-30f;
/* One harmonic as strong as what is beside it tells the frequency within a radian a hop, 1.7 Hz.
 * PRIOR so many are worth 0.04 Hz, as near as mains are to what they should be (common
 * practice). */
static const double PRIOR = 2000.0, KEPT = 0.7;
static const float LATEST = 0.25f; /* of the mean over the latest windows of room */
/* For second-order sections that make a Butterworth filter of order 4. */
static const float SECTION_Q[2] = {0.54119610f, 1.3065630f};

enum {
    FEWEST = 2, /* windows */
    ENOUGH = 4,
    MEAN = 30,
    LEAST_OF = 64, /* windows, 6 s */
    CUT = 16,      /* frames of 0 on end are no wave that crosses it */
    FIRST = 3,     /* harmonics: one of them must be there, and they alone tell the way at first */
    /* The first half of a hop puts the window together, the second transforms it. */
    HALF = MAINS_HOP / 2,
    PUT = MAINS_WINDOW / HALF,
};

bool mains_prepare(Mains *mains, double rate_hz, size_t late, Arena *arena) {
    mains->decimation = (size_t)lround(rate_hz / LOW_RATE_HZ);
    mains->low_rate_hz = rate_hz / (double)mains->decimation;
    for (size_t i = 0; i < 2; i++) {
        const SvfParams params = {SVF_LOW_PASS, (float)LOW_PASS_HZ, SECTION_Q[i], 0.0f};
        svf_set(&mains->low_pass[i], rate_hz, &params);
    }
    bool ok = spread_fft_prepare(&mains->fft, MAINS_WINDOW, arena);
    mains->ring = arena_take(arena, MAINS_WINDOW, sizeof(float));
    mains->hann = arena_take(arena, MAINS_WINDOW, sizeof(float));
    for (int i = 0; i < 2; i++) {
        mains->data[i].re = arena_take(arena, MAINS_WINDOW, sizeof(float));
        mains->data[i].im = arena_take(arena, MAINS_WINDOW, sizeof(float));
        ok = ok && mains->data[i].re && mains->data[i].im;
    }
    if (!ok || !mains->ring || !mains->hann)
        return false;
    for (size_t i = 0; i < MAINS_WINDOW; i++)
        mains->hann[i] = (float)(0.5 - 0.5 * cos(2.0 * PI * (double)i / MAINS_WINDOW));
    mains->needed = MAINS_WINDOW * mains->decimation - late;
    mains_reset(mains);
    return true;
}

static void forget_least(MainsSeries *series) {
    memcpy(series->least[1], series->least[0], sizeof series->least[1]);
    for (int k = 0; k < MAINS_HARMONICS; k++)
        series->least[0][k] = INFINITY;
}

void mains_reset(Mains *mains) {
    svf_reset(&mains->low_pass[0]);
    svf_reset(&mains->low_pass[1]);
    memset(mains->ring, 0, MAINS_WINDOW * sizeof(float));
    memset(&mains->state, 0, sizeof mains->state);
    for (int s = 0; s < MAINS_SERIES; s++) {
        mains->state.series[s].hz = NOMINAL_HZ[s];
        forget_least(&mains->state.series[s]);
        forget_least(&mains->state.series[s]);
    }
}

/* ---- one window ---- */

static float bin_power(const Spectrum *y, size_t k) {
    return y->re[k] * y->re[k] + y->im[k] * y->im[k];
}

static size_t bin_of(const Mains *mains, double hz) {
    return (size_t)floor(hz * MAINS_WINDOW / mains->low_rate_hz + 0.5);
}

static float power_at(const Mains *mains, const Spectrum *y, double hz) {
    size_t bin = bin_of(mains, hz);
    return bin_power(y, bin - 1) + bin_power(y, bin) + bin_power(y, bin + 1);
}

static void read_window(const Mains *mains, double base_hz, MainsWindow *window) {
    const Spectrum *y = &mains->data[spread_fft_result(&mains->fft)];
    for (int k = 0; k < MAINS_HARMONICS; k++) {
        double hz = base_hz * (double)(k + 1);
        size_t bin = bin_of(mains, hz);
        window->bin[k] = bin;
        window->re[k] = y->re[bin];
        window->im[k] = y->im[bin];
        window->tone[k] = power_at(mains, y, hz);
        window->beside[k] =
            0.5f * (power_at(mains, y, hz - BESIDE_HZ) + power_at(mains, y, hz + BESIDE_HZ));
    }
}

/* ---- what windows say together ---- */

/* By how much the series is off, Hz, and what that is worth. Phases that turned by more than a
 * quarter count as a quarter. */
static double off_hz(const Mains *mains, const MainsSeries *series, const MainsWindow *was,
                     const MainsWindow *now, int harmonics, double *worth) {
    double hop_s = MAINS_HOP / mains->low_rate_hz, sum = 0.0;
    *worth = 0.0;
    for (int k = 0; k < harmonics; k++) {
        double order = (double)(k + 1);
        if (series->sure[k] == 0.0f || now->tone[k] < FOUND * now->beside[k] ||
            now->bin[k] != was->bin[k])
            continue;
        Turned expected = turned_by(order * series->hz * hop_s);
        double re = (double)was->re[k] * expected.re - (double)was->im[k] * expected.im;
        double im = (double)was->re[k] * expected.im + (double)was->im[k] * expected.re;
        double along = (double)now->re[k] * re + (double)now->im[k] * im;
        double across = (double)now->im[k] * re - (double)now->re[k] * im;
        double length = sqrt(along * along + across * across) + 1e-30;
        double turns = (along > 0.0 ? across / length : across > 0.0 ? 1.0 : -1.0) / (2.0 * PI);
        float over = maths_smaller(now->tone[k] / (now->beside[k] + LEAST), MOST);
        double weight = order * order * (double)(series->sure[k] * over);
        sum += weight * turns / (order * hop_s);
        *worth += weight;
    }
    return *worth > 0.0 ? sum / *worth : 0.0;
}

static void follow(Mains *mains, int s) {
    MainsSeries *series = &mains->state.series[s];
    bool settled = mains->state.windows > ENOUGH;
    double worth;
    double off = off_hz(mains, series, &mains->state.before[s], &mains->state.now[s],
                        settled ? MAINS_HARMONICS : FIRST, &worth);
    double known = KEPT * series->known;
    series->known = worth + (known > PRIOR ? known : PRIOR);
    double hz = series->hz + worth / series->known * off;
    double low = NOMINAL_HZ[s] - MOST_OFF_HZ, high = NOMINAL_HZ[s] + MOST_OFF_HZ;
    series->hz = hz < low ? low : hz > high ? high : hz;
}

/* How many of n windows the means are worth, of which some are louder than others: all when all are
 * alike, and few when the room just became louder, since then only those since count. No fewer than
 * a quarter, since one with a click in it may outweigh the rest. */
static float windows_worth(const MainsSeries *series, int k, float n) {
    float worth = n * series->root[k] * series->root[k] / (series->beside[k] + NOTHING);
    return worth > 0.25f * n ? worth : 0.25f * n;
}

/* How far a harmonic is over so many times what is beside it: wholly, by as much again. */
static float how_far(const MainsSeries *series, int k, float times) {
    float bar = times * series->beside[k] + LEAST;
    return maths_ramp(series->tone[k], bar, 2.0f * bar);
}

static void learn(Mains *mains, int s) {
    MainsSeries *series = &mains->state.series[s];
    const MainsWindow *window = &mains->state.now[s];
    size_t n = mains->state.windows < MEAN ? mains->state.windows : MEAN;
    float weight = 1.0f / (float)(n > 0 ? n : 1);
    for (int k = 0; k < MAINS_HARMONICS; k++) {
        /* What is 20 dB over the room is there; more would only be remembered for longer. */
        float most = MOST * window->beside[k], tone = window->tone[k];
        series->latest[k] += LATEST * (tone - series->latest[k]);
        series->tone[k] += weight * ((tone < most ? tone : most) - series->tone[k]);
        series->beside[k] += weight * (window->beside[k] - series->beside[k]);
        series->root[k] += weight * (sqrtf(window->beside[k]) - series->root[k]);
        float found = FOUND + EARLY / windows_worth(series, k, 1.0f / weight);
        bool enough = mains->state.windows >= FEWEST;
        float *sure = &series->sure[k];
        *sure = maths_larger(*sure, enough ? how_far(series, k, found) : 0.0f);
        *sure = maths_smaller(*sure, how_far(series, k, LOST));
        series->is[k] = *sure > 0.0f;
    }
}

/* Takes the window that was transformed for what hum can be at most. */
static void bound(MainsSeries *series, const MainsWindow *window, bool begins) {
    if (begins)
        forget_least(series);
    for (int k = 0; k < MAINS_HARMONICS; k++)
        series->least[0][k] = maths_smaller(series->least[0][k], window->tone[k]);
}

/* Judges the window that was transformed; the next has ended now, and is room or not. */
static void finish_hop(Mains *mains, bool room) {
    bool judged = mains->state.room, whole = mains->state.no_cut;
    mains->state.whole += whole;
    mains->state.windows += judged && mains->state.windows <= MEAN;
    for (int s = 0; s < MAINS_SERIES; s++) {
        mains->state.before[s] = mains->state.now[s];
        read_window(mains, mains->state.series[s].hz, &mains->state.now[s]);
        if (whole)
            bound(&mains->state.series[s], &mains->state.now[s],
                  mains->state.whole % LEAST_OF == 0);
        if (judged) {
            learn(mains, s);
            if (mains->state.in_a_row)
                follow(mains, s);
        }
    }
    mains->state.in_a_row = judged;
    mains->state.room = room;
    mains->state.no_cut = mains->state.sounding >= MAINS_WINDOW * mains->decimation;
}

/* The share of a hop's work that falls to its decimated frame `at`. */
static void work(Mains *mains, size_t at) {
    if (at < HALF) {
        for (size_t i = at * PUT; i < (at + 1) * PUT; i++) {
            size_t from = (mains->state.oldest + i) % MAINS_WINDOW;
            mains->data[0].re[i] = mains->hann[i] * mains->ring[from];
            mains->data[0].im[i] = 0.0f;
        }
        return;
    }
    size_t steps = spread_fft_steps(&mains->fft), done = steps * (at - HALF) / HALF;
    spread_fft_run(&mains->fft, mains->data, done, steps * (at - HALF + 1) / HALF - done);
}

void mains_process(Mains *mains, const float *in, size_t n, size_t quiet) {
    for (size_t i = 0; i < n; i++) {
        mains->state.zeros = in[i] == 0.0f ? mains->state.zeros + 1 : 0;
        mains->state.sounding = mains->state.zeros >= CUT ? 0 : mains->state.sounding + 1;
        float x = svf_step(&mains->low_pass[1], svf_step(&mains->low_pass[0], in[i]));
        if (++mains->state.skipped < mains->decimation)
            continue;
        mains->state.skipped = 0;
        size_t at = mains->state.at++;
        work(mains, at);
        mains->ring[(mains->state.oldest + at) % MAINS_WINDOW] = x;
        if (mains->state.at < MAINS_HOP)
            continue;
        finish_hop(mains, quiet >= mains->needed);
        mains->state.at = 0;
        mains->state.oldest = (mains->state.oldest + MAINS_HOP) % MAINS_WINDOW;
    }
}

/* ---- what is there ---- */

static float hum_of(const MainsSeries *series) {
    float sum = 0.0f;
    bool first = false;
    for (int k = 0; k < MAINS_HARMONICS; k++) {
        first |= k < FIRST && series->is[k];
        sum += series->is[k] ? series->tone[k] - series->beside[k] : 0.0f;
    }
    return first ? sum : 0.0f;
}

float mains_sure(const MainsSeries *series, size_t k) {
    float first = 0.0f;
    for (int i = 0; i < FIRST; i++)
        first = maths_larger(first, series->sure[i]);
    return series->sure[k] * first;
}

float mains_most(const Mains *mains, double hz, size_t k) {
    const MainsSeries *series =
        &mains->state.series[hz < 0.5 * (NOMINAL_HZ[0] + NOMINAL_HZ[1]) ? 0 : 1];
    float power = maths_smaller(series->least[0][k], series->least[1][k]);
    if (mains->state.windows >= FEWEST)
        power = maths_larger(power, maths_larger(series->tone[k], series->latest[k]));
    double n = MAINS_WINDOW;
    return power * (float)(ROOM_FOR_ERROR * 0.5 / (SINE_SQUARE * n * n));
}

bool mains_judged(const Mains *mains) {
    return mains->state.windows >= ENOUGH;
}

const MainsSeries *mains_found(const Mains *mains, double nominal_hz) {
    const MainsSeries *found = NULL;
    float most = 0.0f;
    for (int s = 0; s < MAINS_SERIES; s++) {
        float hum = hum_of(&mains->state.series[s]);
        bool wanted = nominal_hz == 0.0 || nominal_hz == NOMINAL_HZ[s];
        if (wanted && hum > most) {
            found = &mains->state.series[s];
            most = hum;
        }
    }
    return found;
}
