/* SPDX-License-Identifier: ISC */
/* phrase-leveller, driven through its plugin_spec as the shell drives it. Its parts have suites of
 * their own; here is what they do together. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/phrase-leveller/phrase-leveller_plugin.c"

#include "run_tcase.h"
#include "signals.h"

#include <check.h>
#include <math.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 6 * RATE };
static unsigned char memory[1 << 20];
static PhraseLeveller leveller;
static float in[LENGTH], out[LENGTH], control[CONTROLS], meter[METERS], most_db;

/* A note at that loudness in LUFS (a tone near 1 kHz of amplitude 1 has -3.0, BS.1770-4), for all
 * of the take, as the plugin makes it; `most_db` is the largest gain either way. */
static void level_a_note(double lufs) {
    Arena arena = arena_over(memory, sizeof memory);
    float reduction_db;
    memset(&leveller, 0, sizeof leveller);
    ck_assert(plugin_spec.prepare(&leveller, RATE, 1, &arena));
    plugin_spec.set(&leveller, control);
    signals_harmonics(in, LENGTH, RATE, 200.0, 4000.0, -9.0, 1.0);
    /* Its K-weighted level, by the same filters. */
    KWeight weight;
    k_weight_prepare(&weight, RATE);
    k_weight_reset(&weight);
    k_weight_process(&weight, in, out, LENGTH);
    double now = -0.691 + 20.0 * log10(signals_rms(out, LENGTH));
    signals_scale(in, LENGTH, pow(10.0, (lufs - now) / 20.0));
    most_db = 0.0f;
    for (size_t at = 0; at < LENGTH; at += 256) {
        const float *const i[1] = {in + at};
        float *const o[1] = {out + at};
        const Io io = {.n = LENGTH - at < 256 ? LENGTH - at : 256,
                       .channels = 1,
                       .in = i,
                       .dry = i,
                       .out = o,
                       .meter = meter,
                       .reduction_db = &reduction_db};
        plugin_spec.process(&leveller, &io);
        most_db = fmaxf(most_db, fabsf(meter[GAIN]));
    }
}

static void set_defaults(void) {
    for (int i = 0; i < CONTROLS; i++)
        control[i] = CONTROL[i].initial;
}

START_TEST(a_note_under_the_target_is_raised_by_its_share) {
    set_defaults();
    control[HOLD_AVERAGE] = 0.0f;
    control[RANGE] = 12.0f;
    control[STRENGTH] = 50.0f;
    level_a_note(-32.0);
    ck_assert_float_eq_tol(meter[LEVEL], -32.0f, 0.1f);
    ck_assert_float_eq_tol(meter[GAIN], 6.0f, 0.1f); /* half of the 12 dB that are lacking */
}
END_TEST

START_TEST(what_lies_24_db_under_the_target_is_no_phrase) {
    set_defaults();
    control[HOLD_AVERAGE] = 0.0f;
    level_a_note(-20.0 - 23.0);
    ck_assert_float_eq_tol(meter[GAIN], 4.0f, 0.01f);
    level_a_note(-20.0 - 25.0);
    ck_assert_float_eq(most_db, 0.0f);
    ck_assert_mem_eq(in, out, sizeof in);
}
END_TEST

START_TEST(a_note_alone_is_its_own_average_at_any_level) {
    set_defaults();
    for (double lufs = -60.0; lufs <= -10.0; lufs += 25.0) {
        level_a_note(lufs);
        ck_assert_float_le(most_db, 0.2f); /* while the filters start */
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("phrase_leveller");
    tcase_add_test(tcase, a_note_under_the_target_is_raised_by_its_share);
    tcase_add_test(tcase, what_lies_24_db_under_the_target_is_no_phrase);
    tcase_add_test(tcase, a_note_alone_is_its_own_average_at_any_level);
    tcase_set_timeout(tcase, 60); /* slow under valgrind */
    return run_tcase(tcase, "phrase_leveller");
}
