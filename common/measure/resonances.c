/* SPDX-License-Identifier: ISC */
#include "measure/resonances.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double LOW_HZ = 150.0, STEPS = 12.0;
static const double CELLS_FROM_HZ = 110.0, PARTIALS_FROM_HZ = 90.0;
static const double TOKEN_S = 0.25;
enum { FEWEST_PARTIALS = 4, FEWEST_FRAMES = 60, FEWEST_TOKENS = 32, FEWEST_NOISES = 32 };
enum { FEWEST_FRAMES_BESIDE = 40, FEWEST_TOKENS_BESIDE = 16 }; /* of a voice beside noise */
static const double NARROWEST_RANGE = 1.19;                    /* of notes, 3 semitones */

/* What the voice is asked. */
enum { WIDTHS = 2, SHAPES = WIDTHS * STANDING_CENTRES, GAINS = 5 };
static const double Q[WIDTHS] = {4.0, 10.0};
static const float GAIN_DB[GAINS] = {2.0f, 4.0f, 6.0f, 9.0f, 12.0f};
static const double SHAPE_DB = 6.0; /* the filter of which h is the shape */
/* Deviations: 0.4 dB an octave of a window's slope for 1 dB of a level, so that the slope of a take
 * is one that its windows share within a few dB. Before it is known, any slope will do. */
static const float PRIOR = 2.5f, NO_PRIOR = 0.01f;
static const double BROAD_CELLS = 3.5; /* deviation of a Gaussian: 0.7 octaves wide at half */

/* What the noise is asked. */
enum { NOISE_WIDTHS = 4, TERMS = 4 };
static const double NOISE_Q[NOISE_WIDTHS] = {3.0, 5.0, 8.0, 14.0};
static const double REACH_OCTAVES = 0.7, HUBER_DB = 2.5, BINS_PER_FACT = 1.5;

/* What lies less under the mean voice is taken for the remains of one. */
static const double UNDER_VOICE = 3.2e-4; /* -35 dB */

/* The bars. */
static const double VOICE_ALONE = 1.75, VOICE_LEAST = 0.06; /* evidence; evidence a token */
static const double VOICE_AGREES = 0.4;
/* Of the noise; and where the notes could pass for a peak, so that the voice is no witness. */
typedef struct {
    double least_db, errors;
} NoiseBar;
static const NoiseBar BESIDE_VOICE = {3.0, 5.0}, NEARLY_ALONE = {4.0, 8.0};
static const double SURE_DB = 0.8, SURE_SHARE = 0.8; /* see noise_tells() */
static const double APART_OCTAVES = 0.5;
static const double OVERTONES = 1.9; /* the voice alone is heard from there on, times low notes */

static double centre_hz(size_t centre) {
    return LOW_HZ * exp2((double)centre / STEPS);
}

static double shape_at(double hz, double centre, double q) {
    double x = hz / centre, a = pow(10.0, SHAPE_DB / 40.0);
    double apart = (1.0 - x * x) * (1.0 - x * x);
    double up = x * a / q, down = x / (a * q);
    return 10.0 * log10((apart + up * up) / (apart + down * down)) / SHAPE_DB;
}

bool resonances_prepare(Resonances *peaks, double rate_hz, size_t window, Arena *arena) {
    memset(peaks, 0, sizeof *peaks);
    peaks->rate_hz = rate_hz;
    peaks->bin_hz = rate_hz / (double)window;
    peaks->hop_s = 0.5 * (double)window / rate_hz;
    peaks->bins = window / 2 + 1;
    peaks->frame = arena_take(arena, STANDING_FRAMES, sizeof *peaks->frame);
    size_t most = (size_t)STANDING_FRAMES * TRACT_PARTIALS;
    peaks->rest = arena_take(arena, most, sizeof(float));
    peaks->sorted = arena_take(arena, most, sizeof(float));
    peaks->shape = arena_take(arena, (size_t)SHAPES * TRACT_TABLE, sizeof(float));
    bool fits = peaks->frame && peaks->rest && peaks->sorted && peaks->shape;
    if (!formant_fit_prepare(&peaks->fit, arena) || !fits)
        return false;
    for (size_t s = 0; s < SHAPES; s++)
        for (size_t t = 0; t < TRACT_TABLE; t++)
            peaks->shape[s * TRACT_TABLE + t] =
                (float)shape_at((double)t * TRACT_TABLE_HZ, centre_hz(s % STANDING_CENTRES),
                                Q[s / STANDING_CENTRES]);
    resonances_reset(peaks);
    return true;
}

void resonances_reset(Resonances *peaks) {
    memset(&peaks->state, 0, sizeof peaks->state);
    peaks->state.stride = 1;
}

/* ---- what is heard ---- */

/* All power between the middles to its neighbours is the partial's, and its frequency is where that
 * power lies. */
static void read_partials(const Resonances *peaks, const float *power, double f0_hz,
                          StandingFrame *frame) {
    const double least = 1e-14;
    for (size_t k = 1; frame->partials < TRACT_PARTIALS; k++) {
        size_t from = (size_t)lround(((double)k - 0.5) * f0_hz / peaks->bin_hz);
        size_t to = (size_t)lround(((double)k + 0.5) * f0_hz / peaks->bin_hz);
        if (to > peaks->bins)
            return;
        double sum = 0.0, moment = 0.0;
        for (size_t i = from; i < to; i++) {
            sum += (double)power[i];
            moment += (double)power[i] * (double)i;
        }
        double hz = sum > 0.0 ? moment / sum * peaks->bin_hz : (double)k * f0_hz;
        if (hz > (double)TRACT_HIGHEST_HZ)
            return;
        if (hz < PARTIALS_FROM_HZ)
            continue;
        frame->hz[frame->partials] = (float)hz;
        frame->db[frame->partials++] = (float)(10.0 * log10(sum + least));
    }
}

static void thin_out(Resonances *peaks) {
    for (size_t i = 0; i < STANDING_FRAMES / 2; i++)
        peaks->frame[i] = peaks->frame[2 * i];
    peaks->state.frames = STANDING_FRAMES / 2;
    peaks->state.stride *= 2;
}

/* Mean square of the range in which peaks are sought. */
static double range_power(const Resonances *peaks, const float *power) {
    size_t from = (size_t)(LOW_HZ / peaks->bin_hz);
    size_t to = (size_t)(centre_hz(STANDING_CENTRES) / peaks->bin_hz);
    double sum = 0.0;
    for (size_t i = from; i <= to && i < peaks->bins; i++)
        sum += (double)power[i];
    return sum;
}

void resonances_voice(Resonances *peaks, const float *power, double f0_hz, uint64_t number) {
    peaks->state.voice_power += range_power(peaks, power);
    peaks->state.voices++;
    bool apart = peaks->state.tokens == 0 || number > peaks->state.last + 2;
    double long_s = (double)(number - peaks->state.token_began) * peaks->hop_s;
    if (apart || long_s > TOKEN_S) {
        peaks->state.tokens++;
        peaks->state.token_began = number;
    }
    peaks->state.last = number;
    if (++peaks->state.skipped < peaks->state.stride)
        return;
    peaks->state.skipped = 0;
    if (peaks->state.frames == STANDING_FRAMES)
        thin_out(peaks);
    StandingFrame *frame = &peaks->frame[peaks->state.frames];
    *frame = (StandingFrame){.token = peaks->state.tokens, .f0_hz = (float)f0_hz};
    read_partials(peaks, power, f0_hz, frame);
    peaks->state.frames += frame->partials >= FEWEST_PARTIALS;
}

void resonances_noise(Resonances *peaks, const float *power) {
    const double silence = 1e-15, least = 1e-20;
    size_t n = peaks->bins < STANDING_BINS ? peaks->bins : STANDING_BINS;
    double own = range_power(peaks, power);
    if (own < silence || own * (double)peaks->state.voices > UNDER_VOICE * peaks->state.voice_power)
        return;
    for (size_t i = 0; i < n; i++)
        peaks->state.noise_db[i] += 10.0 * log10((double)power[i] + least);
    peaks->state.noises++;
}

/* ---- what the take has of its own ---- */

static int by_value(const void *a, const void *b) {
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static double median(float *values, size_t n) {
    qsort(values, n, sizeof *values, by_value);
    return (double)values[n / 2];
}

static double cell_of(float hz) {
    double cell = STEPS * log2((double)hz / CELLS_FROM_HZ);
    return fmin(fmax(cell, 0.0), STANDING_CELLS - 1.001);
}

static size_t harmonic_of(const StandingFrame *frame, size_t partial) {
    return (size_t)lround((double)(frame->hz[partial] / frame->f0_hz));
}

/* What the peaks found so far add at hz. */
static double taken_at(const Resonances *peaks, double hz) {
    double sum = 0.0;
    for (size_t i = 0; i < peaks->n_taken; i++) {
        const StandingPeak *peak = &peaks->taken[i];
        sum += peak->height_db * shape_at(hz, peak->hz, peak->hz / (peak->high_hz - peak->low_hz));
    }
    return sum;
}

static void own_levels(const Resonances *peaks, const StandingFrame *frame, float *db) {
    const double middle_hz = 500.0; /* formant_fit.h */
    for (size_t i = 0; i < frame->partials; i++) {
        double cell = cell_of(frame->hz[i]);
        size_t below = (size_t)cell, harmonic = harmonic_of(frame, i);
        double broad =
            peaks->broad_db[below] +
            (cell - (double)below) * (peaks->broad_db[below + 1] - peaks->broad_db[below]);
        double slope = peaks->slope_db * log2((double)frame->hz[i] / middle_hz);
        double glottis = harmonic < STANDING_HARMONICS ? peaks->harmonic_db[harmonic] : 0.0;
        double taken = taken_at(peaks, (double)frame->hz[i]);
        db[i] = frame->db[i] - (float)(broad + slope + glottis + taken);
    }
}

/* What the best tracts leave. Returns the median slope. */
static double explain(Resonances *peaks) {
    float slope[STANDING_FRAMES] = {0}, cost[STANDING_FRAMES] = {0}, db[TRACT_PARTIALS];
    for (size_t f = 0; f < peaks->state.frames; f++) {
        const StandingFrame *frame = &peaks->frame[f];
        own_levels(peaks, frame, db);
        formant_fit_frame(&peaks->fit, frame->hz, db, frame->partials, peaks->prior);
        slope[f] = formant_fit_rest(&peaks->fit, peaks->rest + f * TRACT_PARTIALS);
        cost[f] = formant_fit_cost(&peaks->fit) / (float)(frame->partials - 1);
    }
    const double least = 0.01; /* dB^2: a perfect tract would make everything else impossible */
    peaks->scatter = fmax(least, median(cost, peaks->state.frames));
    return median(slope, peaks->state.frames);
}

static void learn_harmonics(Resonances *peaks) {
    const size_t fewest = 20;
    for (size_t k = 1; k < STANDING_HARMONICS; k++) {
        size_t n = 0;
        for (size_t f = 0; f < peaks->state.frames; f++)
            for (size_t i = 0; i < peaks->frame[f].partials; i++)
                if (harmonic_of(&peaks->frame[f], i) == k)
                    peaks->sorted[n++] = peaks->rest[f * TRACT_PARTIALS + i];
        if (n > fewest)
            peaks->harmonic_db[k] += median(peaks->sorted, n);
    }
}

static bool cell_median(Resonances *peaks, size_t cell, double *middle) {
    const size_t fewest = 5;
    size_t n = 0;
    for (size_t f = 0; f < peaks->state.frames; f++)
        for (size_t i = 0; i < peaks->frame[f].partials; i++)
            if ((size_t)lround(cell_of(peaks->frame[f].hz[i])) == cell)
                peaks->sorted[n++] = peaks->rest[f * TRACT_PARTIALS + i];
    *middle = n > fewest ? median(peaks->sorted, n) : 0.0;
    return n > fewest;
}

static void learn_broad(Resonances *peaks) {
    double middle[STANDING_CELLS];
    bool known[STANDING_CELLS];
    for (size_t c = 0; c < STANDING_CELLS; c++)
        known[c] = cell_median(peaks, c, &middle[c]);
    for (size_t c = 0; c < STANDING_CELLS; c++) {
        double sum = 0.0, weight = 0.0;
        for (size_t k = 0; k < STANDING_CELLS; k++) {
            double away = ((double)k - (double)c) / BROAD_CELLS;
            double w = known[k] ? exp(-0.5 * away * away) : 0.0;
            sum += w * middle[k];
            weight += w;
        }
        peaks->broad_db[c] += weight > 0.0 ? sum / weight : 0.0;
    }
}

static void learn_take(Resonances *peaks) {
    const int turns = 2;
    peaks->slope_db = 0.0;
    memset(peaks->broad_db, 0, sizeof peaks->broad_db);
    memset(peaks->harmonic_db, 0, sizeof peaks->harmonic_db);
    peaks->prior = NO_PRIOR;
    peaks->slope_db = explain(peaks);
    peaks->prior = PRIOR;
    for (int turn = 0; turn < turns; turn++) {
        explain(peaks);
        learn_harmonics(peaks);
        explain(peaks);
        learn_broad(peaks);
    }
}

/* ---- the voice as a witness ---- */

typedef struct {
    double gain[GAINS][SHAPES]; /* sum over tokens */
    double tokens;
    double token[GAINS][SHAPES]; /* of the token that goes on */
    double windows;              /* of it */
} Witness;

static void end_token(Witness *w) {
    if (w->windows == 0.0)
        return;
    for (size_t g = 0; g < GAINS; g++)
        for (size_t s = 0; s < SHAPES; s++)
            w->gain[g][s] += w->token[g][s] / sqrt(w->windows);
    w->tokens += 1.0;
    w->windows = 0.0;
    memset(w->token, 0, sizeof w->token);
}

static void read_shapes(const Resonances *peaks, const StandingFrame *frame,
                        float shape[SHAPES][TRACT_PARTIALS]) {
    for (size_t i = 0; i < frame->partials; i++) {
        float at = frame->hz[i] * (1.0f / TRACT_TABLE_HZ);
        size_t below = (size_t)at;
        for (size_t s = 0; s < SHAPES; s++) {
            const float *table = peaks->shape + s * TRACT_TABLE + below;
            shape[s][i] = table[0] + (at - (float)below) * (table[1] - table[0]);
        }
    }
}

static void hear_frame(Resonances *peaks, const StandingFrame *frame, Witness *w) {
    float db[TRACT_PARTIALS], shape[SHAPES][TRACT_PARTIALS], cost[TRACT_SHAPES];
    double freedom = (double)frame->partials - 1.0, usual = freedom * peaks->scatter;
    own_levels(peaks, frame, db);
    read_shapes(peaks, frame, shape);
    formant_fit_frame(&peaks->fit, frame->hz, db, frame->partials, peaks->prior);
    formant_fit_shapes(&peaks->fit, shape[0], TRACT_PARTIALS, SHAPES);
    double without = 0.5 * freedom * log1p((double)formant_fit_cost(&peaks->fit) / usual);
    for (size_t g = 0; g < GAINS; g++) {
        formant_fit_costs(&peaks->fit, GAIN_DB[g], cost);
        for (size_t s = 0; s < SHAPES; s++)
            w->token[g][s] += without - 0.5 * freedom * log1p((double)cost[s] / usual);
    }
    w->windows += 1.0;
}

/* The best height and width for each centre, and the gain a token. */
typedef struct {
    double gain[STANDING_CENTRES], height_db[STANDING_CENTRES], q[STANDING_CENTRES];
    double tokens;
} Profile;

static void hear_voice(Resonances *peaks, Profile *profile) {
    Witness w = {0};
    learn_take(peaks);
    for (size_t f = 0; f < peaks->state.frames; f++) {
        if (f && peaks->frame[f].token != peaks->frame[f - 1].token)
            end_token(&w);
        hear_frame(peaks, &peaks->frame[f], &w);
    }
    end_token(&w);
    *profile = (Profile){.tokens = w.tokens};
    for (size_t g = 0; g < GAINS; g++)
        for (size_t s = 0; s < SHAPES; s++) {
            size_t c = s % STANDING_CENTRES;
            double gain = w.gain[g][s] / w.tokens;
            if (gain > profile->gain[c]) {
                profile->gain[c] = gain;
                profile->height_db[c] = (double)GAIN_DB[g];
                profile->q[c] = Q[s / STANDING_CENTRES];
            }
        }
}

/* ---- the noise as a witness ---- */

/* a[r][TERMS] is the right side; symmetric and positive definite. Solves in place and returns the
 * variance of the last unknown for a unit of variance. */
static double solve(double a[TERMS][TERMS + 1], double x[TERMS]) {
    for (size_t r = 0; r < TERMS; r++)
        for (size_t s = r + 1; s < TERMS; s++) {
            double share = a[s][r] / a[r][r];
            for (size_t t = r; t <= TERMS; t++)
                a[s][t] -= share * a[r][t];
        }
    for (size_t r = TERMS; r-- > 0;) {
        x[r] = a[r][TERMS];
        for (size_t s = r + 1; s < TERMS; s++)
            x[r] -= a[r][s] * x[s];
        x[r] /= a[r][r];
    }
    return 1.0 / a[TERMS - 1][TERMS - 1];
}

typedef struct {
    double height_db, error_db, q, misfit;
} NoiseFit;

typedef struct {
    size_t n;
    double term[STANDING_BINS][TERMS], db[STANDING_BINS];
    double even[STANDING_BINS], weight[STANDING_BINS]; /* even: the same for every octave */
} NoiseBins;

static void gather(const Resonances *peaks, double hz, double q, NoiseBins *bins) {
    size_t from = (size_t)ceil(hz * exp2(-REACH_OCTAVES) / peaks->bin_hz);
    size_t to = (size_t)(hz * exp2(REACH_OCTAVES) / peaks->bin_hz);
    bins->n = 0;
    for (size_t i = from; i <= to && i < STANDING_BINS && i < peaks->bins; i++) {
        double bin_hz = (double)i * peaks->bin_hz, x = log2(bin_hz / hz);
        double term[TERMS] = {1.0, x, x * x, shape_at(bin_hz, hz, q)};
        memcpy(bins->term[bins->n], term, sizeof term);
        bins->db[bins->n] =
            peaks->state.noise_db[i] / (double)peaks->state.noises - taken_at(peaks, bin_hz);
        bins->even[bins->n] = 1.0 / (double)i;
        bins->weight[bins->n++] = 1.0;
    }
}

/* One round of least squares; weights anew. */
static NoiseFit fit_once(NoiseBins *bins) {
    double a[TERMS][TERMS + 1] = {{0.0}}, x[TERMS], square = 0.0, all = 0.0;
    for (size_t i = 0; i < bins->n; i++) {
        double w = bins->even[i] * bins->weight[i];
        for (size_t r = 0; r < TERMS; r++) {
            for (size_t s = 0; s < TERMS; s++)
                a[r][s] += w * bins->term[i][r] * bins->term[i][s];
            a[r][TERMS] += w * bins->term[i][r] * bins->db[i];
        }
    }
    double variance = solve(a, x);
    for (size_t i = 0; i < bins->n; i++) {
        double rest = bins->db[i];
        for (size_t r = 0; r < TERMS; r++)
            rest -= x[r] * bins->term[i][r];
        square += bins->even[i] * bins->weight[i] * rest * rest;
        all += bins->even[i] * bins->weight[i];
        bins->weight[i] = fmin(1.0, HUBER_DB / fmax(fabs(rest), HUBER_DB));
    }
    const double least = 1e-6;
    double each = square / ((double)bins->n / BINS_PER_FACT);
    return (NoiseFit){.height_db = x[TERMS - 1],
                      .error_db = sqrt(each * variance + least),
                      .misfit = square / all};
}

/* The width that fits best. */
static NoiseFit fit_noise(const Resonances *peaks, double hz) {
    const int rounds = 4;
    const size_t fewest = 7;
    NoiseFit best = {0};
    NoiseBins bins;
    for (size_t w = 0; w < NOISE_WIDTHS && peaks->state.noises >= FEWEST_NOISES; w++) {
        NoiseFit now = {0};
        gather(peaks, hz, NOISE_Q[w], &bins);
        for (int round = 0; round < rounds && bins.n >= fewest; round++)
            now = fit_once(&bins);
        now.q = NOISE_Q[w];
        if (bins.n >= fewest && (w == 0 || now.misfit < best.misfit))
            best = now;
    }
    return best;
}

/* ---- the verdict ---- */

static void place(StandingPeak *peak, double hz, double q) {
    /* The edges of the filter's width lie the same ratio to either side of its centre. */
    double half = 0.5 / q;
    peak->found = true;
    peak->hz = hz;
    peak->low_hz = hz * (sqrt(1.0 + half * half) - half);
    peak->high_hz = hz * (sqrt(1.0 + half * half) + half);
}

/* Whether a peak there would only be what is left of one found before. */
static bool beside_taken(const Resonances *peaks, double hz) {
    for (size_t i = 0; i < peaks->n_taken; i++)
        if (fabs(log2(hz / peaks->taken[i].hz)) < APART_OCTAVES)
            return true;
    return false;
}

/* The voice need not agree to the step. */
static double agreement(const Profile *profile, size_t centre) {
    double gain = profile->gain[centre];
    if (centre > 0)
        gain = fmax(gain, profile->gain[centre - 1]);
    if (centre + 1 < STANDING_CENTRES)
        gain = fmax(gain, profile->gain[centre + 1]);
    return gain * sqrt(profile->tokens);
}

static void judge_by_noise(const Resonances *peaks, const Profile *profile, const NoiseBar *bar,
                           StandingPeak *peak) {
    double most = bar->errors;
    for (size_t c = 0; c < STANDING_CENTRES; c++) {
        double agrees = agreement(profile, c), hz = centre_hz(c);
        if (hz < peak->from_hz || agrees < VOICE_AGREES || beside_taken(peaks, hz))
            continue;
        NoiseFit noise = fit_noise(peaks, hz);
        if (noise.height_db < most * noise.error_db || noise.height_db < bar->least_db)
            continue;
        most = noise.height_db / noise.error_db;
        place(peak, hz, noise.q);
        peak->height_db = noise.height_db;
        peak->by_noise = true;
        peak->voice = agrees;
    }
}

/* Whether the noise would show a peak nearly anywhere: its heights are sure to within 0.8 dB, so
 * that one of 4 dB stands out by five errors. */
static bool noise_tells(const Resonances *peaks, double from_hz) {
    double all = 0.0, sure = 0.0;
    if (peaks->state.noises < FEWEST_NOISES)
        return false;
    for (size_t c = 0; c < STANDING_CENTRES; c++) {
        if (centre_hz(c) < from_hz)
            continue;
        NoiseFit noise = fit_noise(peaks, centre_hz(c));
        all += noise.q > 0.0;
        sure += noise.q > 0.0 && noise.error_db <= SURE_DB;
    }
    return sure > 0.0 && sure >= SURE_SHARE * all;
}

static void judge_by_voice(const Resonances *peaks, const Profile *profile, double from_hz,
                           StandingPeak *peak) {
    double most = fmax(VOICE_LEAST, VOICE_ALONE / sqrt(profile->tokens));
    for (size_t c = 0; c < STANDING_CENTRES; c++) {
        double hz = centre_hz(c);
        if (hz < from_hz || profile->gain[c] < most || beside_taken(peaks, hz))
            continue;
        most = profile->gain[c];
        place(peak, hz, profile->q[c]);
        peak->height_db = profile->height_db[c];
        peak->voice = profile->gain[c] * sqrt(profile->tokens);
    }
}

/* The notes below and above which 15 % of the time was sung. */
static void note_range(Resonances *peaks, double *low_hz, double *high_hz) {
    size_t n = peaks->state.frames;
    for (size_t f = 0; f < n; f++)
        peaks->sorted[f] = peaks->frame[f].f0_hz;
    (void)median(peaks->sorted, n);
    *low_hz = (double)peaks->sorted[n * 15 / 100];
    *high_hz = (double)peaks->sorted[n * 85 / 100];
}

/* The surest of those not taken off yet. */
static StandingPeak find_one(Resonances *peaks) {
    StandingPeak peak = {0};
    Profile profile;
    size_t n = peaks->state.frames;
    double low_hz, high_hz;
    peak.tokens = (double)peaks->state.tokens;
    if (n < FEWEST_FRAMES_BESIDE || peaks->state.tokens < FEWEST_TOKENS_BESIDE)
        return peak;
    note_range(peaks, &low_hz, &high_hz);
    bool wide = high_hz >= NARROWEST_RANGE * low_hz;
    bool enough = n >= FEWEST_FRAMES && peaks->state.tokens >= FEWEST_TOKENS;
    peak.from_hz = fmax(LOW_HZ, 0.85 * low_hz);
    hear_voice(peaks, &profile);
    peak.tokens = profile.tokens;
    judge_by_noise(peaks, &profile, wide ? &BESIDE_VOICE : &NEARLY_ALONE, &peak);
    if (!peak.found && wide && enough)
        judge_by_voice(peaks, &profile, fmax(LOW_HZ, OVERTONES * low_hz), &peak);
    peak.known = peak.found || (wide && enough) || noise_tells(peaks, peak.from_hz);
    return peak;
}

StandingPeak resonances_find(Resonances *peaks) {
    peaks->n_taken = 0;
    return find_one(peaks);
}

size_t resonances_find_all(Resonances *peaks, StandingPeak found[STANDING_PEAKS]) {
    size_t n = 0;
    found[0] = resonances_find(peaks);
    while (found[n].found && ++n < STANDING_PEAKS) {
        peaks->taken[peaks->n_taken++] = found[n - 1];
        found[n] = find_one(peaks);
    }
    return n;
}
