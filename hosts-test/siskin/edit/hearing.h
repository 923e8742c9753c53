/* SPDX-License-Identifier: ISC */
/* hearing.h: what a take sounds like every 5 ms, for lining two of them up: timbre, level, how
 * suddenly sounds set in, pitch, kind of sound.
 *
 * Cepstra: 12 cosine coefficients of the logarithm of 32 bands, evenly spaced on the mel scale,
 * 100 Hz..8 kHz (Davis and Mermelstein, IEEE Trans. ASSP 28(4), 1980), over 25 ms under a Hann
 * window, less their mean over the sounds of the take (Atal, JASA 55(6), 1974): another microphone
 * or singer adds a constant.
 * Onset strength: mean over the same bands of what the logarithm of a window of 10 ms rises by in
 * 10 ms (spectral flux, half-wave rectified: Bello et al., IEEE Trans. SAP 13(5), 2005, section
 * III). Kinds of sound are the scene's, which hears the take twice (voice/scene.h). */
#ifndef SISKIN_EDIT_HEARING_H
#define SISKIN_EDIT_HEARING_H

#include "voice/scene_class.h"

#include <stdbool.h>
#include <stddef.h>

enum { HEARING_CEPSTRA = 12, HEARING_BANDS = 32 };

typedef struct {
    double rate_hz, hop_s;
    size_t frames, hop; /* of the take; a hop's, some 5 ms */
    size_t n;           /* hop k: frames k hop..(k + 1) hop - 1; windows lie around its middle */
    float (*cepstrum)[HEARING_CEPSTRA];
    float *level_db;     /* mean square of the hop alone, from 150 Hz up, dBFS */
    float *onset;        /* dB, >= 0 */
    float *pitch_hz;     /* 0: not periodic */
    unsigned char *kind; /* SceneKind */
    double voice_db;     /* level that a tenth of what is sung exceeds */
    double quiet_db;     /* below it lies nothing that is heard: a gap, a closure */
} Hearing;

/* false: out of memory. Rates of 8 kHz and more. */
bool hearing_of(Hearing *hearing, const float *audio, size_t n, double rate_hz);
void hearing_free(Hearing *hearing); /* fine on a zeroed one */

/* The hop at a frame, 0..n - 1. */
size_t hearing_hop(const Hearing *hearing, double frame);
bool hearing_quiet(const Hearing *hearing, size_t hop);

typedef struct {
    size_t start, end; /* frames */
} HearingSpan;

/* What is sung without a rest of 0.25 s or a breath: phrases, with their consonants. Returns how
 * many; the caller frees *span. */
size_t hearing_phrases(const Hearing *hearing, HearingSpan **span);

/* How suddenly sounds set in and end, dB, every `step` frames of `audio`: the mean over 6 bands of
 * what they rise, and fall, by within 6 ms. rise, fall[n / step + 1]. false: out of memory. */
bool hearing_edges(const float *audio, size_t n, double rate_hz, size_t step, double floor_db,
                   float *rise, float *fall);

#endif
