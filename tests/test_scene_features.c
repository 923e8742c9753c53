/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/scene_features.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static SceneFeatureBands bands;
static SceneFeatures moment;

/* A hop with the given levels of the bands in dB, give or take `flutter` dB. */
static VoiceFrame hop(const double db[OCTAVE_BANK_BANDS], double flutter, float periodicity,
                      Random *random) {
    VoiceFrame frame = {.periodicity = periodicity, .whole = true};
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        double level = db[b] + flutter * random_normal(random);
        frame.power[b] = (float)pow(10.0, 0.1 * level);
    }
    return frame;
}

static const double ROOM[OCTAVE_BANK_BANDS] = {-62, -72, -76, -78, -80, -80, -78};
static const double VOWEL[OCTAVE_BANK_BANDS] = {-20, -22, -28, -32, -40, -55, -70};
static const double AIR[OCTAVE_BANK_BANDS] = {-62, -56, -52, -50, -55, -66, -75};

/* In that room, beside a voice of -18 dB, or before any was heard. */
static void hear(const double db[OCTAVE_BANK_BANDS], float periodicity, bool voice_known,
                 double gain_db, Random *random) {
    float room[OCTAVE_BANK_BANDS];
    double louder[OCTAVE_BANK_BANDS];
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        room[b] = (float)pow(10.0, 0.1 * (ROOM[b] + gain_db));
        louder[b] = db[b] + gain_db;
    }
    VoiceFrame frame = hop(louder, 1.0, periodicity, random);
    scene_features(&bands, &frame, room, (float)pow(10.0, 0.1 * (gain_db - 18.0)), voice_known,
                   &moment);
}

/* Power of all bands, dB. */
static double sum_db(const double db[OCTAVE_BANK_BANDS], int first, int last) {
    double sum = 1e-30; /* silence is finite */
    for (int b = first; b <= last; b++)
        sum += pow(10.0, 0.1 * db[b]);
    return 10.0 * log10(sum);
}

START_TEST(the_numbers_are_what_they_say) {
    Random random = random_seeded(181);
    printf("seed 181\n");
    scene_feature_bands(&bands, 48000.0);
    hear(VOWEL, 0.97f, true, 0.0, &random);
    ck_assert(moment.voice_known);
    ck_assert_float_eq(moment.value[SCENE_PERIODIC], 0.97f);
    hear(AIR, 0.2f, true, 0.0, &random);
    /* A hop flutters by 1 dB in each band. */
    double core = sum_db(AIR, 2, 3);
    const struct {
        SceneFeature feature;
        double expected;
    } rows[] = {
        {SCENE_OVER_ROOM, sum_db(AIR, 1, 4) - sum_db(ROOM, 1, 4)},
        {SCENE_OVER_VOICE, sum_db(AIR, 1, 4) + 18.0},
        {SCENE_FIRST, AIR[1] - core},
        {SCENE_THIRD, AIR[3] - AIR[2]},
        {SCENE_HIGH, AIR[4] - core},
        {SCENE_HISS, AIR[5] - core},
    };
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++)
        ck_assert_double_eq_tol((double)moment.value[rows[k].feature], rows[k].expected, 4.0);
    /* The lowest band holds nothing but room: at most a hundredth and the flutter are left. */
    ck_assert_double_le((double)moment.value[SCENE_LOW], AIR[0] - core);
}
END_TEST

START_TEST(gain_in_front_changes_none_of_them) {
    Random random = random_seeded(182);
    printf("seed 182\n");
    const double gains_db[] = {-40.0, 12.0};
    scene_feature_bands(&bands, 48000.0);
    for (int k = 0; k < 300; k++) {
        const double *db = k % 3 == 0 ? ROOM : k % 3 == 1 ? VOWEL : AIR;
        Random again = random;
        hear(db, db == VOWEL ? 0.95f : 0.2f, true, 0.0, &random);
        SceneFeatures plain = moment;
        hear(db, db == VOWEL ? 0.95f : 0.2f, true, gains_db[k % 2], &again);
        for (int f = 0; f < SCENE_FEATURES; f++)
            ck_assert_float_eq_tol(moment.value[f], plain.value[f], 0.01f);
    }
}
END_TEST

START_TEST(a_quiet_whistle_is_not_periodic_but_a_voice_is) {
    /* Beside a voice of -18 dB, a whistle at 2 kHz, far above its own low bands; then as loud as
     * the voice, as a high note of a soprano may be; then a quiet low voice. */
    Random random = random_seeded(186);
    printf("seed 186\n");
    const double whistle[OCTAVE_BANK_BANDS] = {-75, -72, -68, -45, -60, -70, -78};
    const double soprano[OCTAVE_BANK_BANDS] = {-60, -50, -30, -20, -40, -60, -70};
    const double murmur[OCTAVE_BANK_BANDS] = {-50, -48, -60, -65, -72, -80, -80};
    scene_feature_bands(&bands, 48000.0);
    hear(whistle, 0.9f, true, 0.0, &random);
    ck_assert_float_lt(moment.value[SCENE_PERIODIC], 0.25f);
    hear(soprano, 0.9f, true, 0.0, &random);
    ck_assert_float_eq(moment.value[SCENE_PERIODIC], 0.9f);
    hear(murmur, 0.9f, true, 0.0, &random);
    ck_assert_float_eq(moment.value[SCENE_PERIODIC], 0.9f);
}
END_TEST

START_TEST(what_the_rate_lacks_makes_a_take_dull) {
    Random random = random_seeded(184);
    printf("seed 184\n");
    scene_feature_bands(&bands, 11025.0);
    hear(AIR, 0.2f, true, 0.0, &random);
    ck_assert_float_eq(moment.value[SCENE_HISS], -11.0f);
    ck_assert_float_eq(moment.dull, 1.0f);
    scene_feature_bands(&bands, 48000.0);
    hear(AIR, 0.2f, true, 0.0, &random);
    ck_assert_float_eq(moment.dull, 0.0f);
}
END_TEST

START_TEST(every_number_is_finite_in_silence) {
    VoiceFrame nothing = {.periodicity = 0.0f};
    const float room[OCTAVE_BANK_BANDS] = {0.0f};
    scene_feature_bands(&bands, 48000.0);
    scene_features(&bands, &nothing, room, 0.0f, false, &moment);
    ck_assert(!moment.voice_known);
    for (int f = 0; f < SCENE_FEATURES; f++)
        ck_assert(isfinite(moment.value[f]));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("scene_features");
    tcase_add_test(tcase, the_numbers_are_what_they_say);
    tcase_add_test(tcase, gain_in_front_changes_none_of_them);
    tcase_add_test(tcase, a_quiet_whistle_is_not_periodic_but_a_voice_is);
    tcase_add_test(tcase, what_the_rate_lacks_makes_a_take_dull);
    tcase_add_test(tcase, every_number_is_finite_in_silence);
    return run_tcase(tcase, "scene_features");
}
