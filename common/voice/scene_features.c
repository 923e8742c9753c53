/* SPDX-License-Identifier: ISC */
#include "voice/scene_features.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>

static const float OVER_SUBTRACTION = 1.5f; /* of the room's power */
static const float SPECTRAL_FLOOR = 0.01f;  /* of the band's own power, left at least */
static const float USUAL_HIGH_DB = -6.0f, USUAL_HISS_DB = -11.0f;

/* What a flat octave from `edge_hz` up loses to half the rate; -1 if over two thirds. */
static float lost_db(double edge_hz, double rate_hz) {
    double left = fmin((0.5 * rate_hz - edge_hz) / edge_hz, 1.0);
    return left > 1.0 / 3.0 ? (float)(-10.0 * log10(left)) : -1.0f;
}

void scene_feature_bands(SceneFeatureBands *bands, double rate_hz) {
    bands->high_lost_db = lost_db(2873.0, rate_hz);
    bands->hiss_lost_db = lost_db(5745.0, rate_hz);
}

/* Band power over the room. */
static float clean(float power, float room) {
    float over = power - OVER_SUBTRACTION * room;
    float least = SPECTRAL_FLOOR * power;
    return over > least ? over : least;
}

/* The share of a moment's periodicity that can be a voice's: 0 a whistle, 1 a voice. */
static float voice_share(const SceneFeatures *features) {
    const float *value = features->value;
    float low_db = value[SCENE_LOW] > value[SCENE_FIRST] ? value[SCENE_LOW] : value[SCENE_FIRST];
    float low = maths_ramp(low_db, -14.0f, -6.0f);
    float loud = features->voice_known ? maths_ramp(value[SCENE_OVER_VOICE], -16.0f, -10.0f) : 1.0f;
    return low > loud ? low : loud;
}

void scene_features(const SceneFeatureBands *bands, const VoiceFrame *frame,
                    const float room[OCTAVE_BANK_BANDS], float voice, bool voice_known,
                    SceneFeatures *features) {
    float c[OCTAVE_BANK_BANDS], mid = 0.0f, mid_room = 0.0f, mid_clean = 0.0f;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        c[b] = clean(frame->power[b], room[b]);
    for (int b = 1; b <= 4; b++) {
        mid += frame->power[b];
        mid_room += room[b];
        mid_clean += c[b];
    }
    float core_db = decibel_from_power(c[2] + c[3]);
    float *value = features->value;
    value[SCENE_OVER_ROOM] = decibel_from_power(mid) - decibel_from_power(mid_room);
    value[SCENE_OVER_VOICE] = decibel_from_power(mid_clean) - decibel_from_power(voice);
    value[SCENE_LOW] = decibel_from_power(c[0]) - core_db;
    value[SCENE_FIRST] = decibel_from_power(c[1]) - core_db;
    value[SCENE_THIRD] = decibel_from_power(c[3]) - decibel_from_power(c[2]);
    float high_db = decibel_from_power(c[4]) - core_db + bands->high_lost_db;
    float hiss_db = decibel_from_power(c[5]) - core_db + bands->hiss_lost_db;
    value[SCENE_HIGH] = bands->high_lost_db >= 0.0f ? high_db : USUAL_HIGH_DB;
    value[SCENE_HISS] = bands->hiss_lost_db >= 0.0f ? hiss_db : USUAL_HISS_DB;
    features->voice_known = voice_known;
    features->dull = bands->hiss_lost_db >= 0.0f ? 0.0f : 1.0f;
    value[SCENE_PERIODIC] = frame->periodicity * voice_share(features);
}
