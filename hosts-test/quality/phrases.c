/* SPDX-License-Identifier: ISC */
#include "quality/phrases.h"

#include "filter/k_weight.h"

#include <math.h>
#include <stdlib.h>

static const double LONG_S = 1.5, BLOCK_S = 0.4;

bool phrases_counts(const Voice *voice, const SingerLabel *label) {
    return label->kind == SINGER_PHRASE &&
           (double)(label->end - label->start) >= LONG_S * voice->rate_hz;
}

size_t phrases_of(const Voice *voice) {
    size_t count = 0;
    for (size_t i = 0; i < voice->n_labels; i++)
        count += phrases_counts(voice, &voice->labels[i]);
    return count;
}

bool phrases_energy(const Voice *voice, const float *audio, Energy *energy) {
    float *weighted = malloc((voice->n + 1) * sizeof *weighted);
    KWeight weight;
    k_weight_prepare(&weight, voice->rate_hz);
    if (weighted)
        k_weight_process(&weight, audio, weighted, voice->n);
    bool ok = weighted && energy_of(weighted, voice->n, voice->rate_hz, 0.0, 1e9, energy);
    free(weighted);
    return ok;
}

/* Mean power of the blocks of at least `least` times full scale, between two frames. */
static double gated_mean(const Energy *energy, size_t block, size_t start, size_t end,
                         double least) {
    double sum = 0.0, count = 0.0;
    for (size_t at = start; at + block <= end; at += block / 4) {
        double power = energy_between(energy, at, at + block) / (double)block;
        sum += power >= least ? power : 0.0;
        count += power >= least;
    }
    return count > 0.0 ? sum / count : 0.0;
}

double phrases_loudness(const Voice *voice, const Energy *energy, const SingerLabel *phrase) {
    size_t block = (size_t)(BLOCK_S * voice->rate_hz);
    size_t end = phrase->end > phrase->start + block ? phrase->end : phrase->start + block;
    end = end < voice->n ? end : voice->n;
    double mean = gated_mean(energy, block, phrase->start, end, 1e-7);
    mean = gated_mean(energy, block, phrase->start, end, 0.1 * mean);
    return -0.691 + 10.0 * log10(mean + 1e-12);
}
