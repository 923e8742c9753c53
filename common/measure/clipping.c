/* SPDX-License-Identifier: ISC */
#include "measure/clipping.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

static const float FULL_SCALE = 1.0f - 0x1p-15f;
static const double SHORTEST_S = 3.0 / 48000.0;
static const double LOWEST_DB = -90.0, LEVEL_DB = 0.1;
static const double TOP_SHARE = 0.01;
static const double LEAST_TILTED = 0.008;
/* A corner of a top: of its height; the straight stretch, and the other corner, of this corner. */
static const float CORNER = 0.01f, STRAIGHT = 0.12f, OTHER_CORNER = 0.3f;

enum { FEWEST = 3, STRAIGHT_STEPS = 4, FROM_TOP = 80 /* levels */ };

void clipping_prepare(Clipping *tops, double rate_hz, unsigned channels) {
    size_t frames = (size_t)ceil(SHORTEST_S * rate_hz - 1e-6);
    size_t step = (size_t)fmax(1.0, round(rate_hz / 48000.0));
    tops->channels = channels;
    tops->shortest = frames > FEWEST ? frames : FEWEST;
    tops->step = step < CLIPPING_MOST_STEP ? step : CLIPPING_MOST_STEP;
    clipping_reset(tops);
}

void clipping_reset(Clipping *tops) {
    memset(&tops->state, 0, sizeof tops->state);
}

static size_t level_of(float size) {
    double at = (20.0 * log10(fmax((double)size, 1e-6)) - LOWEST_DB) / LEVEL_DB;
    return at < 0.0 ? 0 : at < CLIPPING_LEVELS - 1 ? (size_t)at : CLIPPING_LEVELS - 1;
}

/* ---- level tops ---- */

static void find_level_tops(Clipping *tops, unsigned c, const float *in, size_t n) {
    float last = tops->state.last[c];
    size_t run = tops->state.run[c];
    for (size_t i = 0; i < n; i++) {
        run = in[i] == last ? run + 1 : 1;
        last = in[i];
        if (run == tops->shortest && last != 0.0f)
            tops->state.side[c][last < 0.0f].level[level_of(fabsf(last))]++;
        if (run >= tops->shortest && last != 0.0f && run > tops->state.longest)
            tops->state.longest = run;
    }
    tops->state.last[c] = last;
    tops->state.run[c] = run;
}

/* ---- tilted tops ---- */

typedef struct {
    const float *x; /* the peak */
    float sign;
    long step;
} Top;

/* How sharply the wave bends down, so many steps from the peak. */
static float bend(const Top *top, long steps) {
    const float *x = top->x + steps * top->step;
    return top->sign * (2.0f * x[0] - x[top->step] - x[-top->step]);
}

static float sharpest(const Top *top, long from, long to) {
    float most = 0.0f;
    for (long k = from; k <= to; k++)
        most = bend(top, k) > most ? bend(top, k) : most;
    return most;
}

/* Whether a straight stretch leads away from the peak, which is one of its corners, to another. */
static bool leads_straight(const Top *top, float corner, long way) {
    const long farthest = CLIPPING_REACH - 4;
    long k = 2, straight = 0;
    while (k < farthest && fabsf(bend(top, k * way)) < STRAIGHT * corner) {
        straight++;
        k++;
    }
    if (straight < STRAIGHT_STEPS || k >= farthest)
        return false;
    float other = way > 0 ? sharpest(top, k, k + 2) : sharpest(top, -k - 2, -k);
    return other > OTHER_CORNER * corner;
}

static bool is_straight(const Top *top) {
    float corner = sharpest(top, -1, 1);
    return corner > CORNER * fabsf(*top->x) &&
           (leads_straight(top, corner, 1) || leads_straight(top, corner, -1));
}

static void find_peaks(Clipping *tops, unsigned c, const float *x, size_t n) {
    for (size_t i = 0; i < n; i++) {
        float sign = x[i] < 0.0f ? -1.0f : 1.0f, here = sign * x[i];
        if (!(here >= sign * x[(long)i - 1] && here > sign * x[i + 1]) || here == 0.0f)
            continue;
        const Top top = {x + i, sign, (long)tops->step};
        ClippingSide *side = &tops->state.side[c][x[i] < 0.0f];
        size_t level = level_of(here);
        side->peaks[level]++;
        side->tilted[level] += is_straight(&top);
    }
}

static void find_tilted_tops(Clipping *tops, unsigned c, const float *in, size_t n) {
    size_t reach = CLIPPING_REACH * tops->step;
    float *line = tops->state.line[c];
    for (size_t at = 0; at < n; at += CLIPPING_CHUNK) {
        size_t take = n - at < CLIPPING_CHUNK ? n - at : CLIPPING_CHUNK;
        memcpy(line + 2 * reach, in + at, take * sizeof *line);
        find_peaks(tops, c, line + reach, take);
        memmove(line, line + take, 2 * reach * sizeof *line);
    }
}

/* ---- both ---- */

void clipping_process(Clipping *tops, const float *const *in, size_t n) {
    for (unsigned c = 0; c < tops->channels; c++) {
        double sum = 0.0;
        for (size_t i = 0; i < n; i++) {
            sum += (double)in[c][i];
            tops->state.full_scale += fabsf(in[c][i]) >= FULL_SCALE;
        }
        tops->state.sum[c] += sum;
        find_level_tops(tops, c, in[c], n);
        find_tilted_tops(tops, c, in[c], n);
    }
    tops->state.frames += n;
}

static uint64_t sum_of(const uint32_t *counts, size_t from, size_t to) {
    uint64_t sum = 0;
    for (size_t i = from; i < to; i++)
        sum += counts[i];
    return sum;
}

/* The level down to which tops are looked at. Peaks far under the highest are noise, and no measure
 * of how many there are. */
static size_t lowest_level(const ClippingSide *side) {
    const size_t loud = 340; /* levels: 34 dB */
    size_t highest = CLIPPING_LEVELS;
    while (highest > 0 && !side->peaks[highest - 1])
        highest--;
    size_t from = highest > loud ? highest - loud : 0;
    double share = TOP_SHARE * (double)sum_of(side->peaks, from, highest), above = 0.0;
    while (highest > from && (above += side->peaks[highest - 1]) < share)
        highest--;
    return highest > FROM_TOP ? highest - FROM_TOP : 0;
}

/* Runs at the commonest of levels, two beside each other taken as one; 0 when it is not common. */
static uint64_t level_tops(const ClippingSide *side) {
    size_t from = lowest_level(side);
    uint64_t all = sum_of(side->level, from, CLIPPING_LEVELS), most = 0;
    for (size_t i = from; i + 1 < CLIPPING_LEVELS; i++) {
        uint64_t here = (uint64_t)side->level[i] + side->level[i + 1];
        most = here > most ? here : most;
    }
    return most >= FEWEST && 2 * most >= all ? most : 0;
}

ClippingReading clipping_reading(const Clipping *tops) {
    uint64_t level = 0, tilted = 0, peaks = 0;
    for (unsigned c = 0; c < tops->channels; c++) {
        for (size_t s = 0; s < CLIPPING_SIDES; s++) {
            const ClippingSide *side = &tops->state.side[c][s];
            size_t from = lowest_level(side);
            level += level_tops(side);
            tilted += sum_of(side->tilted, from, CLIPPING_LEVELS);
            peaks += sum_of(side->peaks, from, CLIPPING_LEVELS);
        }
    }
    if (tilted < CLIPPING_FEWEST_TILTED || (double)tilted < LEAST_TILTED * (double)peaks)
        tilted = 0;
    return (ClippingReading){level > tilted ? level : tilted, level ? tops->state.longest : 0};
}

double clipping_dc(const Clipping *tops, unsigned channel) {
    return tops->state.frames ? tops->state.sum[channel] / (double)tops->state.frames : 0.0;
}
