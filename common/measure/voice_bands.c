/* SPDX-License-Identifier: ISC */
#include "measure/voice_bands.h"

#include "measure/loudness.h"

#include <math.h>
#include <stdlib.h>

enum { BANDS = CROSSOVER_BANDS, CHUNK = 256 };

static const double LEAST_POWER = 1e-18; /* -180 dB: rounding, no signal */

/* ---- hearing ---- */

void voice_bands_prepare(VoiceBands *bands, double rate_hz, const CrossoverParams *splits) {
    bands->hop_now = (VoiceBandsHop){0};
    k_weight_prepare(&bands->weight, rate_hz);
    crossover_prepare(&bands->crossover, rate_hz, 1);
    crossover_set(&bands->crossover, splits);
    crossover_reset(&bands->crossover);
}

static double squares(const float *x, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += (double)x[i] * (double)x[i];
    return sum;
}

static float largest(float so_far, const float *x, size_t n) {
    for (size_t i = 0; i < n; i++)
        so_far = fabsf(x[i]) > so_far ? fabsf(x[i]) : so_far;
    return so_far;
}

void voice_bands_process(VoiceBands *bands, const float *in, size_t n) {
    float audio[BANDS][CHUNK], loud[CHUNK];
    float *band[BANDS][CROSSOVER_CHANNELS];
    VoiceBandsHop *hop = &bands->hop_now;
    for (unsigned b = 0; b < BANDS; b++)
        band[b][0] = band[b][1] = audio[b];
    for (size_t at = 0; at < n;) {
        size_t take = n - at < CHUNK ? n - at : CHUNK;
        const float *from[CROSSOVER_CHANNELS] = {in + at, in + at};
        crossover_process(&bands->crossover, from, band, take);
        for (unsigned b = 0; b < BANDS; b++) {
            hop->sum[b] += squares(audio[b], take);
            hop->peak[b] = largest(hop->peak[b], audio[b], take);
        }
        k_weight_process(&bands->weight, in + at, loud, take);
        hop->loud += squares(loud, take);
        at += take;
    }
    hop->frames += (uint32_t)n;
}

VoiceBandsHop voice_bands_hop(VoiceBands *bands) {
    VoiceBandsHop hop = bands->hop_now;
    bands->hop_now = (VoiceBandsHop){0};
    return hop;
}

/* ---- reading ---- */

/* How strong the highest band is beside the two in the middle. */
static double hiss(const VoiceBandsHop *hop) {
    return hop->sum[BANDS - 1] / (hop->sum[1] + hop->sum[2] + LEAST_POWER);
}

static int ascending(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The most that a hop may hiss to be read. */
static double most_hiss(const VoiceBandsHop *hops, size_t n, double *scratch) {
    for (size_t i = 0; i < n; i++)
        scratch[i] = hiss(&hops[i]);
    qsort(scratch, n, sizeof *scratch, ascending);
    return scratch[(size_t)((1.0 - VOICE_BANDS_HISS) * (double)(n - 1))];
}

static void add(VoiceBandsHop *to, const VoiceBandsHop *hop) {
    for (unsigned b = 0; b < BANDS; b++) {
        to->sum[b] += hop->sum[b];
        to->peak[b] = hop->peak[b] > to->peak[b] ? hop->peak[b] : to->peak[b];
    }
    to->loud += hop->loud;
    to->frames += hop->frames;
}

typedef struct {
    double sum_db[BANDS];
    size_t windows[BANDS];
} Crests;

static void add_crests(Crests *crests, const VoiceBandsHop *window) {
    for (unsigned b = 0; b < BANDS; b++) {
        double power = window->sum[b] / (double)window->frames, peak = (double)window->peak[b];
        if (power > LEAST_POWER) {
            crests->sum_db[b] += 10.0 * log10(peak * peak / power);
            crests->windows[b]++;
        }
    }
}

static VoiceBandsReading reading(const VoiceBandsHop *all, const Crests *crests) {
    VoiceBandsReading r = {.frames = all->frames, .lufs = (double)NAN};
    if (all->frames > 0)
        r.lufs = loudness_from_power(all->loud / (double)all->frames);
    for (unsigned b = 0; b < BANDS; b++) {
        bool any = crests->windows[b] > 0;
        r.level_db[b] =
            all->frames > 0 ? 10.0 * log10(all->sum[b] / (double)all->frames) : (double)NAN;
        r.crest_db[b] = any ? crests->sum_db[b] / (double)crests->windows[b] : (double)NAN;
    }
    return r;
}

VoiceBandsReading voice_bands_read(const VoiceBandsHop *hops, size_t n, double *scratch) {
    VoiceBandsHop all = {0}, window = {0};
    Crests crests = {{0.0}, {0}};
    double most = n > 0 ? most_hiss(hops, n, scratch) : 0.0;
    for (size_t i = 0, held = 0; i < n; i++) {
        if (hiss(&hops[i]) > most)
            continue;
        add(&all, &hops[i]);
        add(&window, &hops[i]);
        if (++held % VOICE_BANDS_WINDOW == 0) {
            add_crests(&crests, &window);
            window = (VoiceBandsHop){0};
        }
    }
    return reading(&all, &crests);
}
