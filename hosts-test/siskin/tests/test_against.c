/* SPDX-License-Identifier: ISC */
/* siskin measure --against: what is held against a reference must not depend on what is no
 * voice. */
#include "siskin/measure/print.h"
#include "siskin/tests/measure_take.h"

/* A take against itself, however loud, differs by nothing; with more top, by that. */
START_TEST(a_reference_is_compared_at_equal_loudness) {
    SingerTake take = sing(SINGER_MAN, 44100.0, 8, 3);
    write_mono("plain.wav", take.mix, take.n, take.rate_hz);
    signals_scale(take.mix, take.n, 0.5);
    write_mono("softer.wav", take.mix, take.n, take.rate_hz);
    ck_assert_ran("measure --json --against softer.wav plain.wav");
    size_t found = 0;
    for (const char *at = ran.out; (at = strstr(at, "_over_reference_db\": ")); found++) {
        at += strlen("_over_reference_db\": ");
        ck_assert_double_eq_tol(strtod(at, NULL), 0.0, 0.011);
    }
    ck_assert_uint_eq(found, (size_t)2 * BAND_CREST_BANDS);
    for (size_t i = 0; i < take.n; i++)
        take.mix[i] = (float)tanh(20.0 * (double)take.mix[i]);
    write_mono("dense.wav", take.mix, take.n, take.rate_hz);
    Measures plain = measure_file("plain.wav");
    Measures dense = measure_file("dense.wav");
    ck_assert_double_lt(dense.band[1].spread_db, plain.band[1].spread_db - 1.0);
    ck_assert_double_gt(dense.band[3].level_db - dense.integrated_lufs,
                        plain.band[3].level_db - plain.integrated_lufs + 3.0);
    measures_free(&plain);
    measures_free(&dense);
    singer_free(&take);
}
END_TEST

static void assert_alike(const Measures *a, const Measures *b, double most_db) {
    for (size_t i = 0; i < BAND_CREST_BANDS; i++) {
        double level_db = print_more_level_db(a, b, i).value;
        double spread_db = print_more_spread_db(a, b, i).value;
        ck_assert_msg(fabs(level_db) <= most_db, "%s: level %g dB", print_band_name[i], level_db);
        ck_assert_msg(fabs(spread_db) <= most_db, "%s: spread %g dB", print_band_name[i],
                      spread_db);
    }
    /* Of six short words there are few whole windows. */
    ck_assert_double_eq_tol(a->air_db, b->air_db, 3.0 * most_db);
}

/* The same voice on one channel, on two, and on two of which one is late by 11 ms and upside
 * down. */
START_TEST(mono_and_stereo_are_compared_alike) {
    SingerTake take = sing(SINGER_WOMAN, 44100.0, 18, 3);
    Measures mono = measure_audio(take.mix, take.n, 44100.0);
    for (int wide = 0; wide < 2; wide++) {
        Sound both = make_sound(2, (sf_count_t)take.n, 44100);
        const size_t late = wide ? 485 : 0;
        for (size_t i = 0; i < take.n; i++) {
            both.audio[2 * i] = take.mix[i];
            both.audio[2 * i + 1] = i < late ? 0.0f : (wide ? -1.0f : 1.0f) * take.mix[i - late];
        }
        write_wav("both.wav", &both);
        Measures stereo = measure_file("both.wav");
        ck_assert(!isnan(stereo.band[3].level_db));
        for (size_t i = 0; i < BAND_CREST_BANDS; i++)
            ck_assert_double_eq_tol(print_more_level_db(&stereo, &mono, i).value, 0.0,
                                    wide ? 0.5 : 0.01);
        measures_free(&stereo);
        free(both.audio);
    }
    measures_free(&mono);
    singer_free(&take);
}
END_TEST

/* Short words, and silence of any length ahead: the hops, and with them the windows, fall
 * elsewhere. */
START_TEST(silence_ahead_changes_nothing) {
    const size_t ahead[] = {8820, 8933, 100};
    SingerTake take;
    SingerParams params = singer_params(SINGER_MAN, 44100.0, 19);
    params.score = "sat/kif/mup/sos/tec/hat";
    ck_assert(singer_take(&params, &take));
    Measures plain = measure_audio(take.mix, take.n, 44100.0);
    for (size_t k = 0; k < 3; k++) {
        float *late = calloc(take.n + ahead[k], sizeof *late);
        ck_assert(late != NULL);
        memcpy(late + ahead[k], take.mix, take.n * sizeof *late);
        Measures m = measure_audio(late, take.n + ahead[k], 44100.0);
        assert_alike(&m, &plain, 0.5);
        measures_free(&m);
        free(late);
    }
    measures_free(&plain);
    singer_free(&take);
}
END_TEST

/* The voice alone, and the same with sibilants 10 dB too hot and louder breaths. */
START_TEST(sibilants_and_breaths_are_no_air) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, 44100.0, 20);
    params.phrases = 4;
    ck_assert(singer_take(&params, &take));
    Measures plain = measure_audio(take.mix, take.n, 44100.0);
    for (size_t i = 0; i < take.n; i++)
        take.mix[i] +=
            2.16f * take.stem[SINGER_STEM_SIBILANTS][i] + 1.0f * take.stem[SINGER_STEM_BREATHS][i];
    Measures hot = measure_audio(take.mix, take.n, 44100.0);
    for (size_t i = 0; i < BAND_CREST_BANDS; i++)
        printf("%s: %.2f dB\n", print_band_name[i], print_more_level_db(&hot, &plain, i).value);
    printf("air over body: %.2f dB\n", hot.air_db - plain.air_db);
    ck_assert_double_eq_tol(print_more_level_db(&hot, &plain, 3).value, 0.0, 1.0);
    ck_assert_double_eq_tol(hot.air_db, plain.air_db, 1.5);
    measures_free(&hot);
    measures_free(&plain);
    singer_free(&take);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("against");
    tcase_add_test(tcase, a_reference_is_compared_at_equal_loudness);
    tcase_add_test(tcase, mono_and_stereo_are_compared_alike);
    tcase_add_test(tcase, silence_ahead_changes_nothing);
    tcase_add_test(tcase, sibilants_and_breaths_are_no_air);
    return run_suite(tcase, "siskin measure --against");
}
