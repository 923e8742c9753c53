/* SPDX-License-Identifier: ISC */
/* phrases.h: the labelled phrases of a take that are long enough to have a loudness, and that. */
#ifndef SISKIN_QUALITY_PHRASES_H
#define SISKIN_QUALITY_PHRASES_H

#include "quality/material.h"

/* A phrase of 1.5 s and more; shorter ones are words. */
bool phrases_counts(const Voice *voice, const SingerLabel *label);
size_t phrases_of(const Voice *voice);

/* Energy of the K-weighted audio of a take. false: out of memory. */
bool phrases_energy(const Voice *voice, const float *audio, Energy *energy);

/* LUFS of a phrase, gated as in ITU-R BS.1770-4: blocks of 400 ms that overlap by 75 %, those
 * within 10 dB of the mean of all. */
double phrases_loudness(const Voice *voice, const Energy *energy, const SingerLabel *phrase);

#endif
