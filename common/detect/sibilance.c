/* SPDX-License-Identifier: ISC */
#include "detect/sibilance.h"

#include "basic/decibel.h"

#include <math.h>

static const double SHORTEST_MS = 20.0;
/* More than twice what the level of a steady noise strays within the detector's window. */
static const float SLACK_DB = 6.0f;
/* -300 dB: silence without infinity, and far enough down that a faint signal is not bent by it. */
static const float POWER_FLOOR = 1e-30f;

bool sibilance_prepare(Sibilance *s, double steps_per_second, Arena *arena) {
    vowel_level_prepare(&s->vowel, steps_per_second);
    size_t width = (size_t)lrint(SHORTEST_MS * 1e-3 * steps_per_second);
    return minimum_duration_prepare(&s->lasting, width, SLACK_DB, arena);
}

void sibilance_reset(Sibilance *s) {
    vowel_level_reset(&s->vowel);
    minimum_duration_reset(&s->lasting, SIBILANCE_VOWEL_DB);
}

void sibilance_set(Sibilance *s, float gate_db, float missing_db) {
    vowel_level_set(&s->vowel, gate_db);
    s->missing_db = missing_db;
}

static float level_db(float power) {
    return 3.01029996f * decibel_fast_log2(power + POWER_FLOOR);
}

SibilanceNow sibilance_step(Sibilance *s, float band, float voice, float whole) {
    float band_db = level_db(band), voice_db = level_db(voice), vowels_db = 0.0f;
    vowel_level_step(&s->vowel, voice_db, band_db);
    float ratio = SIBILANCE_NONE_DB;
    if (vowel_level_get(&s->vowel, &vowels_db))
        ratio = fmaxf(band_db + s->missing_db - fmaxf(vowels_db, voice_db), SIBILANCE_NONE_DB);
    float sibilant = band > voice && band > SIBILANCE_SHARE * whole ? ratio : SIBILANCE_VOWEL_DB;
    return (SibilanceNow){.ratio_db = ratio,
                          .doubt = vowel_level_doubt(&s->vowel),
                          .lasting_db = minimum_duration_step(&s->lasting, sibilant)};
}

size_t sibilance_latency(const Sibilance *s) {
    return s->lasting.width - 1;
}
