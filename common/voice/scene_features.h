/* SPDX-License-Identifier: ISC */
/* scene_features.h: how a moment sounds beside the room and the voice, in numbers that tell a
 * breath from everything else and do not depend on the gain before the plugin.
 *
 * Every level is taken over the room in its own band (power less 1.5 times the room's, at least a
 * hundredth of the power: spectral subtraction as in Berouti, Schwartz and Makhoul, ICASSP 1979),
 * so that room tone and hum do not tilt what is measured. "Core" is 718..2873 Hz, where a breath
 * has its weak peaks, and "mid" 359..5745 Hz. What distinguishes a breath is known from Werner,
 * Fuchs, Trouvain and Moebius, Interspeech 2021 and JSLHR 2023: a falling spectrum with weak peaks
 * below 3 kHz, like an unvoiced schwa. A band that half the rate cuts short counts as if it went on
 * as it is. Where less than a third of it is left, its number is that of a doubtful breath, and
 * where that is so from 5745 Hz up, the take is dull: scene_class.h judges it by the rest.
 *
 * An inhalation may whistle, which is periodic. No voice far under the singer's level lacks both
 * its fundamental and its first formant, so that periodicity counts only as far as one of these
 * holds: below 718 Hz at least 14 to 6 dB under core, or at most 16 to 10 dB under the singer.
 * No history. Cost: some 15 logarithms a hop. */
#ifndef SISKIN_VOICE_SCENE_FEATURES_H
#define SISKIN_VOICE_SCENE_FEATURES_H

#include "voice/voice_sense.h"

#include <stdbool.h>

typedef enum {
    SCENE_PERIODIC,   /* 0..1, less for what whistles */
    SCENE_OVER_ROOM,  /* mid over the room, dB */
    SCENE_OVER_VOICE, /* mid over the singer's level, dB */
    SCENE_LOW,        /* below 359 Hz over core, dB */
    SCENE_FIRST,      /* 359..718 Hz over core: the first peak */
    SCENE_THIRD,      /* 1436..2873 Hz over 718..1436 Hz */
    SCENE_HIGH,       /* 2873..5745 Hz over core */
    SCENE_HISS,       /* 5745..11490 Hz over core */
    SCENE_FEATURES
} SceneFeature;

typedef struct {
    float value[SCENE_FEATURES];
    bool voice_known; /* else SCENE_OVER_VOICE means nothing */
    float dull;       /* 0: the take has treble; 1: none, so that HIGH and HISS say nothing */
} SceneFeatures;

/* What half the rate cuts off the two highest bands, dB; < 0: too much. */
typedef struct {
    float high_lost_db, hiss_lost_db;
} SceneFeatureBands;

void scene_feature_bands(SceneFeatureBands *bands, double rate_hz);
/* `dull` is 0 or, where the rate lacks treble, 1: only the caller knows what the take has.
 * room: power in each octave, > 0; voice: power of the singer, meaningless unless voice_known. */
void scene_features(const SceneFeatureBands *bands, const VoiceFrame *frame,
                    const float room[OCTAVE_BANK_BANDS], float voice, bool voice_known,
                    SceneFeatures *features);

#endif
