/* SPDX-License-Identifier: ISC */
#include "voice/breath_features.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

static const float PERIODIC = 0.65f;        /* from here up a moment is sung */
static const float OVER_SUBTRACTION = 1.5f; /* of the floor's power */
static const float SPECTRAL_FLOOR = 0.01f;  /* of the band's own power, left at least */
static const float GATED = 3e-8f; /* -75 dB re the singer: less is no room, but a cut in the take */
static const float SILENCE = 1e-14f;   /* -140 dBFS: the same before anything was sung */
static const float LEAST_ROOM = 0.01f; /* of these, in each band */
static const float USUAL_HIGH_DB = -6.0f, USUAL_HISS_DB = -11.0f;

static float power_of(float db) {
    return decibel_fast_gain(2.0f * db);
}

/* What a flat octave from `edge_hz` up loses to half the rate; -1 if over two thirds. */
static float lost_db(double edge_hz, double rate_hz) {
    double left = fmin((0.5 * rate_hz - edge_hz) / edge_hz, 1.0);
    return left > 1.0 / 3.0 ? (float)(-10.0 * log10(left)) : -1.0f;
}

void breath_features_prepare(BreathFeatures *features, double rate_hz, double hops_per_second) {
    features->high_lost_db = lost_db(2873.0, rate_hz);
    features->hiss_lost_db = lost_db(5745.0, rate_hz);
    voice_level_prepare(&features->voice, hops_per_second);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_prepare(&features->room[b], hops_per_second);
    breath_features_reset(features);
}

void breath_features_reset(BreathFeatures *features) {
    voice_level_reset(&features->voice);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        noise_floor_reset(&features->room[b]);
}

/* What of `power` in band b is room by its tracked floor: all of it before that is known. */
static float room_power(const BreathFeatures *features, int b, float power) {
    float db;
    return noise_floor_get(&features->room[b], &db) ? power_of(db) : power;
}

/* Moves the trackers by one hop; room[b] := what of band b is room. */
static void track(BreathFeatures *features, const VoiceFrame *frame,
                  float room[OCTAVE_BANK_BANDS]) {
    float all = 0.0f, sung = 0.0f;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        float over = frame->power[b] - room_power(features, b, frame->power[b]);
        all += frame->power[b];
        sung += over > 0.0f ? over : 0.0f;
    }
    bool periodic = frame->periodicity > PERIODIC;
    voice_level_step(&features->voice, sung, periodic);
    float gate = GATED * voice_level_power(&features->voice) + SILENCE;
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        if (frame->whole && all > gate)
            noise_floor_step(&features->room[b], decibel_from_power(frame->power[b]), periodic);
        room[b] = room_power(features, b, frame->power[b]);
        room[b] = room[b] > LEAST_ROOM * gate ? room[b] : LEAST_ROOM * gate;
    }
}

/* Band power over its floor. */
static float clean(float power, float room) {
    float over = power - OVER_SUBTRACTION * room;
    float least = SPECTRAL_FLOOR * power;
    return over > least ? over : least;
}

static float ramp(float x, float knee, float width) {
    float r = (x - knee) / width;
    r = r < 0.0f ? 0.0f : r;
    return r > 1.0f ? 1.0f : r;
}

/* The share of a moment's periodicity that can be a voice's: 0 a whistle, 1 a voice. */
static float voice_share(const BreathMoment *moment) {
    const float *value = moment->value;
    float low_db =
        value[BREATH_LOW] > value[BREATH_FIRST] ? value[BREATH_LOW] : value[BREATH_FIRST];
    float low = ramp(low_db, -14.0f, 8.0f);
    float loud = moment->voice_known ? ramp(value[BREATH_OVER_VOICE], -16.0f, 6.0f) : 1.0f;
    return low > loud ? low : loud;
}

void breath_features_step(BreathFeatures *features, const VoiceFrame *frame, BreathMoment *moment) {
    float room[OCTAVE_BANK_BANDS], c[OCTAVE_BANK_BANDS];
    track(features, frame, room);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        c[b] = clean(frame->power[b], room[b]);
    float mid = 0.0f, mid_room = 0.0f, mid_clean = 0.0f;
    for (int b = 1; b <= 4; b++) {
        mid += frame->power[b];
        mid_room += room[b];
        mid_clean += c[b];
    }
    float core_db = decibel_from_power(c[2] + c[3]);
    float voice_db = decibel_from_power(voice_level_power(&features->voice));
    /* cppcheck-suppress ctuuninitvar ; the moment is what is filled here */
    float *value = moment->value;
    value[BREATH_OVER_ROOM] = decibel_from_power(mid) - decibel_from_power(mid_room);
    value[BREATH_OVER_VOICE] = decibel_from_power(mid_clean) - voice_db;
    value[BREATH_LOW] = decibel_from_power(c[0]) - core_db;
    value[BREATH_FIRST] = decibel_from_power(c[1]) - core_db;
    value[BREATH_THIRD] = decibel_from_power(c[3]) - decibel_from_power(c[2]);
    float high_db = decibel_from_power(c[4]) - core_db + features->high_lost_db;
    float hiss_db = decibel_from_power(c[5]) - core_db + features->hiss_lost_db;
    value[BREATH_HIGH] = features->high_lost_db >= 0.0f ? high_db : USUAL_HIGH_DB;
    value[BREATH_HISS] = features->hiss_lost_db >= 0.0f ? hiss_db : USUAL_HISS_DB;
    moment->voice_known = voice_level_known(&features->voice);
    value[BREATH_PERIODIC] = frame->periodicity * voice_share(moment);
}
