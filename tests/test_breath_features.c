/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "voice/breath_features.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double HOPS = 187.5; /* a second */
static BreathFeatures features;
static BreathMoment moment;

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

static void steps(int n, const double db[OCTAVE_BANK_BANDS], float periodicity, Random *random) {
    for (int k = 0; k < n; k++) {
        VoiceFrame frame = hop(db, 1.0, periodicity, random);
        breath_features_step(&features, &frame, &moment);
    }
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
    breath_features_prepare(&features, 48000.0, HOPS);
    steps(200, ROOM, 0.2f, &random);
    ck_assert(!moment.voice_known);
    ck_assert_float_eq_tol(moment.value[BREATH_OVER_ROOM], 0.0f, 3.5f);
    steps(400, VOWEL, 0.97f, &random);
    ck_assert(moment.voice_known);
    ck_assert_float_eq(moment.value[BREATH_PERIODIC], 0.97f);
    steps(20, AIR, 0.2f, &random);
    /* A hop flutters by 1 dB in each band. */
    double core = sum_db(AIR, 2, 3);
    const struct {
        BreathFeature feature;
        double expected;
    } rows[] = {
        {BREATH_OVER_ROOM, sum_db(AIR, 1, 4) - sum_db(ROOM, 1, 4)},
        {BREATH_OVER_VOICE, sum_db(AIR, 1, 4) - sum_db(VOWEL, 0, 6)},
        {BREATH_FIRST, AIR[1] - core},
        {BREATH_THIRD, AIR[3] - AIR[2]},
        {BREATH_HIGH, AIR[4] - core},
        {BREATH_HISS, AIR[5] - core},
    };
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++)
        ck_assert_double_eq_tol((double)moment.value[rows[k].feature], rows[k].expected, 4.0);
    /* The lowest band holds nothing but room: at most a hundredth and the flutter are left. */
    ck_assert_double_le((double)moment.value[BREATH_LOW], AIR[0] - core);
}
END_TEST

START_TEST(gain_in_front_changes_none_of_them) {
    Random random = random_seeded(182), again = random;
    printf("seed 182\n");
    const double gains_db[] = {-40.0, 12.0};
    for (int g = 0; g < 2; g++) {
        static BreathFeatures other;
        breath_features_prepare(&features, 48000.0, HOPS);
        breath_features_prepare(&other, 48000.0, HOPS);
        for (int k = 0; k < 3000; k++) {
            const double *db = k % 700 < 150 ? ROOM : k % 700 < 600 ? VOWEL : AIR;
            double scaled[OCTAVE_BANK_BANDS];
            for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
                scaled[b] = db[b] + gains_db[g];
            float periodicity = db == VOWEL ? 0.95f : 0.2f;
            VoiceFrame a = hop(db, 1.5, periodicity, &random);
            VoiceFrame b = hop(scaled, 1.5, periodicity, &again);
            BreathMoment changed;
            breath_features_step(&features, &a, &moment);
            breath_features_step(&other, &b, &changed);
            ck_assert(changed.voice_known == moment.voice_known);
            for (int f = 0; f < BREATH_FEATURES; f++)
                if (f != BREATH_OVER_VOICE || moment.voice_known)
                    ck_assert_float_eq_tol(changed.value[f], moment.value[f], 0.01f);
        }
    }
}
END_TEST

START_TEST(cuts_to_silence_are_no_room) {
    Random random = random_seeded(183);
    printf("seed 183\n");
    const double nothing[OCTAVE_BANK_BANDS] = {-300, -300, -300, -300, -300, -300, -300};
    breath_features_prepare(&features, 48000.0, HOPS);
    for (int k = 0; k < 10; k++) {
        steps(100, ROOM, 0.2f, &random);
        steps(100, VOWEL, 0.95f, &random);
        steps(100, ROOM, 0.2f, &random);
        steps(100, nothing, 0.0f, &random);
    }
    steps(5, ROOM, 0.2f, &random);
    ck_assert_float_eq_tol(moment.value[BREATH_OVER_ROOM], 0.0f, 3.5f);
}
END_TEST

START_TEST(a_quiet_whistle_is_not_periodic_but_a_voice_is) {
    /* Talking at -20 dB, then a whistle at 2 kHz, far above its own low bands; then as loud as the
     * voice, as a high note of a soprano may be; then a quiet low voice. */
    Random random = random_seeded(186);
    const double whistle[OCTAVE_BANK_BANDS] = {-75, -72, -68, -45, -60, -70, -78};
    const double soprano[OCTAVE_BANK_BANDS] = {-60, -50, -30, -20, -40, -60, -70};
    const double murmur[OCTAVE_BANK_BANDS] = {-50, -48, -60, -65, -72, -80, -80};
    breath_features_prepare(&features, 48000.0, HOPS);
    steps(100, ROOM, 0.2f, &random);
    steps(400, VOWEL, 0.95f, &random);
    steps(5, whistle, 0.9f, &random);
    ck_assert_float_lt(moment.value[BREATH_PERIODIC], 0.25f);
    steps(5, soprano, 0.9f, &random);
    ck_assert_float_eq(moment.value[BREATH_PERIODIC], 0.9f);
    steps(5, murmur, 0.9f, &random);
    ck_assert_float_eq(moment.value[BREATH_PERIODIC], 0.9f);
}
END_TEST

START_TEST(bands_that_the_rate_lacks_leave_doubt) {
    Random random = random_seeded(184);
    breath_features_prepare(&features, 11025.0, HOPS);
    steps(100, AIR, 0.2f, &random);
    ck_assert_float_eq(moment.value[BREATH_HISS], -11.0f);
}
END_TEST

START_TEST(every_number_is_finite_in_silence) {
    Random random = random_seeded(185);
    const double nothing[OCTAVE_BANK_BANDS] = {-500, -500, -500, -500, -500, -500, -500};
    breath_features_prepare(&features, 48000.0, HOPS);
    steps(100, nothing, 0.0f, &random);
    for (int f = 0; f < BREATH_FEATURES; f++)
        ck_assert(isfinite(moment.value[f]));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("breath_features");
    tcase_add_test(tcase, the_numbers_are_what_they_say);
    tcase_add_test(tcase, gain_in_front_changes_none_of_them);
    tcase_add_test(tcase, cuts_to_silence_are_no_room);
    tcase_add_test(tcase, a_quiet_whistle_is_not_periodic_but_a_voice_is);
    tcase_add_test(tcase, bands_that_the_rate_lacks_leave_doubt);
    tcase_add_test(tcase, every_number_is_finite_in_silence);
    return run_tcase(tcase, "breath_features");
}
