/* SPDX-License-Identifier: ISC */
#include "measure/loudness.h"

#include <math.h>
#include <string.h>

static const double OFFSET_DB = -0.691; /* 997 Hz at full scale in one channel reads -3.01 */
static const double ABSOLUTE_GATE = -70.0, RELATIVE_GATE = -10.0, RANGE_GATE = -20.0;
static const double RANGE_LOW = 0.10, RANGE_HIGH = 0.95;

enum { CHUNK = 256 };

double loudness_from_power(double power) {
    return power > 0.0 ? OFFSET_DB + 10.0 * log10(power) : -INFINITY;
}

bool loudness_prepare(Loudness *loudness, double rate_hz, unsigned channels, const double *weight,
                      Arena *arena) {
    loudness->rate_hz = rate_hz;
    loudness->channels = channels;
    for (unsigned c = 0; c < channels; c++) {
        loudness->weight[c] = weight ? weight[c] : 1.0;
        k_weight_prepare(&loudness->k[c], rate_hz);
    }
    loudness->blocks = arena_take(arena, LOUDNESS_BINS, sizeof(LoudnessBin));
    loudness->shorts = arena_take(arena, LOUDNESS_BINS, sizeof(LoudnessBin));
    if (!loudness->blocks || !loudness->shorts)
        return false;
    loudness_reset(loudness);
    return true;
}

void loudness_reset(Loudness *loudness) {
    for (unsigned c = 0; c < loudness->channels; c++)
        k_weight_reset(&loudness->k[c]);
    memset(loudness->blocks, 0, LOUDNESS_BINS * sizeof(LoudnessBin));
    memset(loudness->shorts, 0, LOUDNESS_BINS * sizeof(LoudnessBin));
    memset(&loudness->state, 0, sizeof loudness->state);
    loudness->state.momentary = loudness->state.momentary_most = -1.0;
    loudness->state.short_term = loudness->state.short_most = -1.0;
}

/* ---- steps ---- */

static uint64_t step_start(const Loudness *loudness, uint64_t step) {
    return (uint64_t)llround((double)step * loudness->rate_hz / LOUDNESS_STEPS);
}

/* Mean power of the last `count` steps; -1 before there were so many. */
static double mean_of(const Loudness *loudness, unsigned count) {
    uint64_t last = loudness->state.step;
    if (last < count)
        return -1.0;
    double sum = 0.0;
    for (unsigned i = 1; i <= count; i++)
        sum += loudness->state.steps[(last - i) % LOUDNESS_SHORT];
    return sum / (double)(step_start(loudness, last) - step_start(loudness, last - count));
}

static size_t bin_of(double lufs) {
    double bin = floor((lufs - ABSOLUTE_GATE) / LOUDNESS_BIN_LU);
    bin = bin > 0.0 ? bin : 0.0;
    return bin < LOUDNESS_BINS ? (size_t)bin : LOUDNESS_BINS - 1;
}

static void count_in(LoudnessBin *bins, double power) {
    double lufs = loudness_from_power(power);
    if (power < 0.0 || lufs <= ABSOLUTE_GATE)
        return;
    LoudnessBin *bin = &bins[bin_of(lufs)];
    bin->power += power;
    bin->count++;
}

static void finish_step(Loudness *loudness) {
    loudness->state.steps[loudness->state.step % LOUDNESS_SHORT] = loudness->state.sum;
    loudness->state.sum = 0.0;
    loudness->state.step++;
    double momentary = mean_of(loudness, LOUDNESS_MOMENTARY);
    double short_term = mean_of(loudness, LOUDNESS_SHORT);
    loudness->state.momentary = momentary;
    loudness->state.short_term = short_term;
    loudness->state.momentary_most = fmax(loudness->state.momentary_most, momentary);
    loudness->state.short_most = fmax(loudness->state.short_most, short_term);
    if (loudness->state.step % LOUDNESS_HOP == 0) {
        count_in(loudness->blocks, momentary);
        count_in(loudness->shorts, short_term);
    }
}

static double squares(const float *y, size_t n) {
    double sum[4] = {0.0, 0.0, 0.0, 0.0}; /* four chains, so that additions need not wait */
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t k = 0; k < 4; k++)
            sum[k] += (double)y[i + k] * (double)y[i + k];
    for (; i < n; i++)
        sum[0] += (double)y[i] * (double)y[i];
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

void loudness_process(Loudness *loudness, const float *const *in, size_t n) {
    float y[CHUNK];
    for (size_t at = 0; at < n;) {
        uint64_t end = step_start(loudness, loudness->state.step + 1);
        size_t room = (size_t)(end - loudness->state.frame);
        size_t take = n - at < room ? n - at : room;
        take = take < CHUNK ? take : CHUNK;
        for (unsigned c = 0; c < loudness->channels; c++) {
            k_weight_process(&loudness->k[c], in[c] + at, y, take);
            loudness->state.sum += loudness->weight[c] * squares(y, take);
        }
        at += take;
        loudness->state.frame += take;
        if (loudness->state.frame == end)
            finish_step(loudness);
    }
}

/* ---- readings ---- */

static double reading(double power) {
    return power < 0.0 ? (double)NAN : loudness_from_power(power);
}

double loudness_momentary(const Loudness *loudness) {
    return reading(loudness->state.momentary);
}

double loudness_short_term(const Loudness *loudness) {
    return reading(loudness->state.short_term);
}

double loudness_momentary_most(const Loudness *loudness) {
    return reading(loudness->state.momentary_most);
}

double loudness_short_term_most(const Loudness *loudness) {
    return reading(loudness->state.short_most);
}

/* Sum of the bins from `first` on. */
static LoudnessBin total(const LoudnessBin *bins, size_t first) {
    LoudnessBin sum = {0.0, 0};
    for (size_t i = first; i < LOUDNESS_BINS; i++) {
        sum.power += bins[i].power;
        sum.count += bins[i].count;
    }
    return sum;
}

/* The first bin that passes a gate `relative` LU over the mean of all. */
static size_t gate_of(const LoudnessBin *bins, double relative) {
    LoudnessBin all = total(bins, 0);
    return all.count ? bin_of(loudness_from_power(all.power / (double)all.count) + relative)
                     : LOUDNESS_BINS;
}

double loudness_integrated(const Loudness *loudness) {
    LoudnessBin passed = total(loudness->blocks, gate_of(loudness->blocks, RELATIVE_GATE));
    return passed.count ? loudness_from_power(passed.power / (double)passed.count) : (double)NAN;
}

/* The level under which lies the share p of what passes the gate. */
static double percentile(const LoudnessBin *bins, size_t gate, uint64_t count, double p) {
    uint64_t rank = (uint64_t)llround((double)(count - 1) * p);
    uint64_t below = 0;
    size_t i = gate;
    while (i < LOUDNESS_BINS - 1 && below + bins[i].count <= rank)
        below += bins[i++].count;
    return ABSOLUTE_GATE + LOUDNESS_BIN_LU * ((double)i + 0.5);
}

double loudness_range(const Loudness *loudness) {
    size_t gate = gate_of(loudness->shorts, RANGE_GATE);
    uint64_t count = total(loudness->shorts, gate).count;
    if (count == 0)
        return (double)NAN;
    return percentile(loudness->shorts, gate, count, RANGE_HIGH) -
           percentile(loudness->shorts, gate, count, RANGE_LOW);
}
