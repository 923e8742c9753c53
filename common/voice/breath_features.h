/* SPDX-License-Identifier: ISC */
/* breath_features.h: how a moment sounds, in numbers that tell a breath from everything else and do
 * not depend on the gain before the plugin.
 *
 * Every level is taken over the tracked floor of its own band (power less 1.5 times the floor's, at
 * least a hundredth of the power: spectral subtraction as in Berouti, Schwartz and Makhoul, ICASSP
 * 1979), so that room tone and hum do not tilt what is measured. "Core" is 718..2873 Hz, where a
 * breath has its weak peaks, and "mid" 359..5745 Hz. What distinguishes a breath is known from
 * Werner, Fuchs, Trouvain and Moebius, Interspeech 2021 and JSLHR 2023: a falling spectrum with
 * weak peaks below 3 kHz, like an unvoiced schwa. A band that half the rate cuts short counts as
 * if it went on as it is. Where less than a third of it is left, a breath cannot be told from /f/
 * and /s/ by it: its number is that of a doubtful breath, since a word is worth more than a breath.
 *
 * An inhalation may whistle, which is periodic. No voice far under the singer's level lacks both
 * its fundamental and its first formant, so that periodicity counts only as far as one of these
 * holds: below 718 Hz at least 14 to 6 dB under core, or at most 16 to 10 dB under the singer.
 * Latency 0 beyond that of voice_sense. Cost: some 15 logarithms a hop. */
#ifndef SISKIN_VOICE_BREATH_FEATURES_H
#define SISKIN_VOICE_BREATH_FEATURES_H

#include "voice/noise_floor.h"
#include "voice/voice_level.h"
#include "voice/voice_sense.h"

#include <stdbool.h>
#include <stddef.h>

enum { BREATH_FEATURES_AHEAD = 0 }; /* hops from a frame to the moment it decides */

typedef enum {
    BREATH_PERIODIC,   /* 0..1, less for what whistles */
    BREATH_OVER_ROOM,  /* mid over its floor, dB */
    BREATH_OVER_VOICE, /* mid over the singer's level, dB */
    BREATH_LOW,        /* below 359 Hz over core, dB */
    BREATH_FIRST,      /* 359..718 Hz over core: the first peak */
    BREATH_THIRD,      /* 1436..2873 Hz over 718..1436 Hz */
    BREATH_HIGH,       /* 2873..5745 Hz over core */
    BREATH_HISS,       /* 5745..11490 Hz over core */
    BREATH_FEATURES
} BreathFeature;

typedef struct {
    float value[BREATH_FEATURES];
    bool voice_known; /* else BREATH_OVER_VOICE means nothing */
} BreathMoment;

typedef struct {
    float high_lost_db, hiss_lost_db; /* what half the rate cuts off these bands; < 0: too much */
    VoiceLevel voice;
    NoiseFloor room[OCTAVE_BANK_BANDS];
} BreathFeatures;

void breath_features_prepare(BreathFeatures *features, double rate_hz, double hops_per_second);
void breath_features_reset(BreathFeatures *features);
/* One hop. */
void breath_features_step(BreathFeatures *features, const VoiceFrame *frame, BreathMoment *moment);

#endif
