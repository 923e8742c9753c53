/* SPDX-License-Identifier: ISC */
/* What a chain does to words besides what it was asked for: told of harm laid into a render at
 * known places, and of none where there is none. */
#include "singer.h"
#include "siskin/advise/harm.h"
#include "siskin/tests/run_siskin.h"

enum { RATE_HZ = 48000 };

static SingerTake sung;
static Measures measures;
static Envelope before;
static float *render;

static void write_mono(const char *path, const float *audio, size_t n) {
    Sound sound = make_sound(1, (sf_count_t)n, RATE_HZ);
    memcpy(sound.audio, audio, n * sizeof(float));
    write_wav(path, &sound);
    free(sound.audio);
}

static void sing_with(const SingerParams *params, void (*add)(void)) {
    HostError error;
    ck_assert(singer_take(params, &sung));
    if (add)
        add();
    write_mono("take.wav", sung.mix, sung.n);
    ck_assert_msg(measure_take("take.wav", &measures, NULL, NULL, &error), "%s", error.text);
    ck_assert(envelope_read(&before, "take.wav", &error));
    render = malloc(sung.n * sizeof *render);
    ck_assert_ptr_nonnull(render);
    memcpy(render, sung.mix, sung.n * sizeof *render);
}

static void sing(uint64_t seed) {
    SingerParams params = singer_params(seed % 2 ? SINGER_WOMAN : SINGER_MAN, RATE_HZ, seed);
    params.phrases = 5;
    sing_with(&params, NULL);
}

static Harm judge_as(bool moved) {
    Envelope after;
    HostError error;
    write_mono("render.wav", render, sung.n);
    ck_assert(envelope_read(&after, "render.wav", &error));
    Harm harm = harm_of(&measures, &before, &after, moved);
    envelope_free(&after);
    return harm;
}

static Harm judge(void) {
    return judge_as(false);
}

static void leave(void) {
    singer_free(&sung);
    measures_free(&measures);
    envelope_free(&before);
    free(render);
}

static void turn(double from_s, double to_s, double db) {
    for (size_t i = (size_t)(from_s * RATE_HZ); i < (size_t)(to_s * RATE_HZ) && i < sung.n; i++)
        render[i] *= (float)pow(10.0, db / 20.0);
}

START_TEST(the_take_itself_and_a_softer_one_do_no_harm) {
    sing(8101);
    Harm harm = judge();
    ck_assert_uint_eq(harm.bitten, 0);
    ck_assert_double_eq_tol(harm.wander_db, 0.0, 1e-6);
    ck_assert_double_eq(harm.peak_db, 0.0);
    ck_assert_double_eq(harm_size(&harm), 0.0);
    turn(0.0, 1e3, -20.0);
    harm = judge();
    ck_assert_uint_eq(harm.bitten, 0);
    ck_assert_double_eq_tol(harm.peak_db, -20.0, 1e-3);
    ck_assert_double_eq(harm_size(&harm), 0.0);
    leave();
}
END_TEST

/* Phrases moved as wholes, breaths and sibilants gone: what a chain is for. */
START_TEST(what_a_chain_is_for_is_no_harm) {
    sing(8102);
    for (size_t i = 0; i < measures.n_phrases; i++)
        turn(measures.phrases[i].start_s, measures.phrases[i].end_s, i % 2 ? -9.0 : 0.0);
    for (size_t i = 0; i < sung.n_labels; i++) {
        const SingerLabel *l = &sung.labels[i];
        if (l->kind == SINGER_BREATH || l->kind == SINGER_S || l->kind == SINGER_SH)
            turn((double)l->start / RATE_HZ, (double)l->end / RATE_HZ, -15.0);
    }
    Harm harm = judge();
    ck_assert_uint_eq(harm.bitten, 0);
    ck_assert_double_eq(harm_size(&harm), 0.0);
    leave();
}
END_TEST

START_TEST(a_bitten_vowel_is_found_at_its_place) {
    sing(8103);
    size_t laid = 0;
    double first_s = 0.0;
    for (size_t i = 0; i < sung.n_labels && laid < 3; i++) {
        const SingerLabel *l = &sung.labels[i];
        double middle_s = 0.5 * (double)(l->start + l->end) / RATE_HZ;
        if (l->kind != SINGER_VOICED || l->end - l->start < RATE_HZ / 3)
            continue;
        turn(middle_s - 0.04, middle_s + 0.04, -12.0);
        first_s = laid++ == 0 ? middle_s - 0.04 : first_s;
    }
    ck_assert_uint_eq(laid, 3);
    Harm harm = judge();
    ck_assert_uint_eq(harm.bitten, 3);
    ck_assert_double_eq_tol(harm.bitten_s, first_s, 0.02);
    ck_assert_double_ge(harm_size(&harm), 3.0);
    Harm moved = judge_as(true); /* 80 ms of 12 dB are long enough for that, too */
    ck_assert_uint_eq(moved.bitten, 3);
    char *text = harm_text(&harm);
    ck_assert_ptr_nonnull(strstr(text, "words lose over 6 dB at 3 places, first at"));
    free(text);
    leave();
}
END_TEST

/* ---- what is no vowel ---- */

enum { PUFFS = 4 };

static struct {
    double db,
        apart_s; /* under the phrase's voiced parts; ahead of its first vowel, < 0: into it */
    double start_s[PUFFS];
    size_t n;
} puffs;

/* 0.2 s of voiceless noise ahead of each phrase; each begins with a vowel. */
static void add_puffs(void) {
    enum { LONG = RATE_HZ / 5, FADE = RATE_HZ / 200 };
    static float puff[LONG];
    Random random = random_seeded(8107);
    puffs.n = 0;
    for (size_t i = 0; i < sung.n_labels; i++) {
        const SingerLabel *l = &sung.labels[i];
        if (l->kind != SINGER_PHRASE)
            continue;
        long start = (long)l->start - LONG - lround(puffs.apart_s * RATE_HZ);
        ck_assert_int_ge(start, 0);
        ck_assert_uint_lt(puffs.n, PUFFS);
        signals_band_noise(puff, LONG, RATE_HZ, 500.0, 4000.0,
                           pow(10.0, (l->value - puffs.db) / 20.0), &random);
        for (size_t k = 0; k < LONG; k++)
            sung.mix[start + k] += puff[k] * fminf(1.0f, (float)k / FADE);
        puffs.start_s[puffs.n++] = (double)start / RATE_HZ;
    }
    ck_assert_uint_eq(puffs.n, PUFFS);
}

/* Places bitten when all of them lose 15 dB. */
static Harm turn_puffs(double db, double apart_s) {
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, 8107);
    params.score = "a-ma-na lo/o-na mu-la/a-lu ma-no/o-la mu";
    params.breath_share = 0.0;
    puffs.db = db;
    puffs.apart_s = apart_s;
    sing_with(&params, add_puffs);
    for (size_t i = 0; i < puffs.n; i++)
        turn(puffs.start_s[i], puffs.start_s[i] + 0.2, -15.0);
    Harm harm = judge();
    leave();
    return harm;
}

START_TEST(a_bitten_consonant_is_found_before_its_vowel) {
    Harm harm = turn_puffs(4.0, -0.02);
    ck_assert_uint_eq(harm.bitten, PUFFS);
    ck_assert_double_eq_tol(harm.bitten_s, puffs.start_s[0], 0.03);
}
END_TEST

/* 22 dB under the voice, and 10 dB with 80 ms of room before the word. */
START_TEST(a_breath_turned_down_is_no_bitten_word) {
    Harm soft = turn_puffs(22.0, -0.02), apart = turn_puffs(10.0, 0.08);
    ck_assert_uint_eq(soft.bitten, 0);
    ck_assert_uint_eq(apart.bitten, 0);
}
END_TEST

START_TEST(a_gain_that_wanders_within_phrases_is_told) {
    sing(8104);
    for (size_t i = 0; i < sung.n; i++)
        render[i] *= (float)pow(10.0, 4.0 * sin(2.0 * M_PI * 1.0 * (double)i / RATE_HZ) / 20.0);
    Harm harm = judge();
    /* 5th to 95th percentile of a sine of 4 dB: 2 * 4 sin(0.45 pi) = 7.9 dB over whole periods */
    ck_assert_double_ge(harm.wander_db, 5.5);
    ck_assert_double_le(harm.wander_db, 8.2);
    ck_assert_double_gt(harm_size(&harm), 0.0);
    leave();
}
END_TEST

/* A man's pulses 3 ms later, a third of a period, are no gain that moves. */
START_TEST(waves_that_are_moved_are_no_harm) {
    enum { LATE = RATE_HZ * 3 / 1000 };
    sing(8106);
    for (size_t i = 0; i < sung.n; i++)
        render[i] = i < LATE ? 0.0f : sung.mix[i - LATE];
    Harm plain = judge(), moved = judge_as(true);
    printf("moved by 3 ms: %.1f dB of wandering, then %.1f\n", plain.wander_db, moved.wander_db);
    ck_assert_double_gt(plain.wander_db, 2.0 * moved.wander_db);
    ck_assert_double_eq(harm_size(&moved), 0.0);
    leave();
}
END_TEST

START_TEST(a_peak_that_rises_is_told) {
    sing(8105);
    turn(0.0, 1e3, 2.5);
    Harm harm = judge();
    ck_assert_double_eq_tol(harm.peak_db, 2.5, 1e-3);
    ck_assert_double_eq(harm_size(&harm), 0.0); /* the fader's business */
    char *text = harm_text(&harm);
    ck_assert_str_eq(text, "peaks are 2.5 dB higher");
    free(text);
    leave();
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("harm");
    tcase_add_test(tcase, the_take_itself_and_a_softer_one_do_no_harm);
    tcase_add_test(tcase, what_a_chain_is_for_is_no_harm);
    tcase_add_test(tcase, a_bitten_vowel_is_found_at_its_place);
    tcase_add_test(tcase, a_bitten_consonant_is_found_before_its_vowel);
    tcase_add_test(tcase, a_breath_turned_down_is_no_bitten_word);
    tcase_add_test(tcase, a_gain_that_wanders_within_phrases_is_told);
    tcase_add_test(tcase, waves_that_are_moved_are_no_harm);
    tcase_add_test(tcase, a_peak_that_rises_is_told);
    return run_suite(tcase, "harm");
}
