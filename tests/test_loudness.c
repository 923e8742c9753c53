/* SPDX-License-Identifier: ISC */
/* Signals of EBU Tech 3341 and 3342 as check-listed in the standards, made here; and agreement with
 * an independent implementation, libebur128, on a sung take. Tolerances are the standards' own:
 * +-0.1 LU for loudness, +-1 LU for its range. */
#include "measure/loudness.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <ebur128.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;
static const double TOLERANCE_LU = 0.1, RANGE_TOLERANCE_LU = 1.0;
static const double SILENT = -INFINITY;

enum { MEMORY = 1 << 19, BLOCK = 480 };
static unsigned char memory[MEMORY];

typedef struct {
    Loudness meter;
    double phase, least_short, least_momentary; /* the least readings once windows are full */
    uint64_t frames;
} Player;

static Player begin(double rate_hz, unsigned channels, const double *weight) {
    Player player = {.least_short = INFINITY, .least_momentary = INFINITY};
    Arena arena = arena_over(memory, MEMORY);
    ck_assert(loudness_prepare(&player.meter, rate_hz, channels, weight, &arena));
    return player;
}

static void watch(Player *player) {
    if (!isnan(loudness_short_term(&player->meter)))
        player->least_short = fmin(player->least_short, loudness_short_term(&player->meter));
    if ((double)player->frames >= player->meter.rate_hz)
        player->least_momentary = fmin(player->least_momentary, loudness_momentary(&player->meter));
}

/* 1 kHz, the peak of each channel in dBFS, for so long. */
static void play_channels(Player *player, const double *db, double seconds) {
    static float audio[LOUDNESS_CHANNELS][BLOCK];
    const float *in[LOUDNESS_CHANNELS];
    size_t left = (size_t)llround(seconds * player->meter.rate_hz);
    while (left) {
        size_t n = left < BLOCK ? left : BLOCK;
        for (size_t i = 0; i < n; i++) {
            double x = sin(player->phase);
            player->phase = fmod(player->phase + 2.0 * pi * 1000.0 / player->meter.rate_hz, 2 * pi);
            for (unsigned c = 0; c < player->meter.channels; c++)
                audio[c][i] = (float)(isinf(db[c]) ? 0.0 : x * pow(10.0, db[c] / 20.0));
        }
        for (unsigned c = 0; c < player->meter.channels; c++)
            in[c] = audio[c];
        loudness_process(&player->meter, in, n);
        player->frames += n;
        watch(player);
        left -= n;
    }
}

static void play(Player *player, double db, double seconds) {
    const double both[LOUDNESS_CHANNELS] = {db, db, db, db, db};
    play_channels(player, both, seconds);
}

static void check_integrated(const Player *player, double lufs) {
    double is = loudness_integrated(&player->meter);
    ck_assert_msg(fabs(is - lufs) <= TOLERANCE_LU, "%.3f LUFS, not %.1f", is, lufs);
}

/* ---- EBU Tech 3341 ---- */

START_TEST(tech_3341_1_and_2_a_steady_tone) {
    const double rates[] = {16000.0, 44100.0, 48000.0, 96000.0};
    for (size_t i = 0; i < 4; i++)
        for (int k = 0; k < 2; k++) {
            double lufs = k ? -33.0 : -23.0;
            Player player = begin(rates[i], 2, NULL);
            play(&player, lufs, rates[i] == 48000.0 ? 20.0 : 5.0);
            check_integrated(&player, lufs);
            ck_assert_double_eq_tol(loudness_momentary(&player.meter), lufs, TOLERANCE_LU);
            ck_assert_double_eq_tol(loudness_short_term(&player.meter), lufs, TOLERANCE_LU);
        }
}
END_TEST

START_TEST(tech_3341_3_to_5_the_gates) {
    Player three = begin(48000.0, 2, NULL);
    play(&three, -36.0, 10.0);
    play(&three, -23.0, 60.0);
    play(&three, -36.0, 10.0);
    check_integrated(&three, -23.0);
    Player four = begin(48000.0, 2, NULL);
    const double levels[] = {-72.0, -36.0, -23.0, -36.0, -72.0};
    for (size_t i = 0; i < 5; i++)
        play(&four, levels[i], i == 2 ? 60.0 : 10.0);
    check_integrated(&four, -23.0);
    Player five = begin(48000.0, 2, NULL);
    play(&five, -26.0, 20.0);
    play(&five, -20.0, 20.1);
    play(&five, -26.0, 20.0);
    check_integrated(&five, -23.0);
}
END_TEST

START_TEST(tech_3341_6_channels_have_weights) {
    const double weight[] = {1.0, 1.0, 1.0, LOUDNESS_SURROUND, LOUDNESS_SURROUND};
    const double db[] = {-28.0, -28.0, -24.0, -30.0, -30.0};
    Player player = begin(48000.0, 5, weight);
    play_channels(&player, db, 20.0);
    check_integrated(&player, -23.0);
}
END_TEST

START_TEST(tech_3341_9_the_short_term_window_is_3_s) {
    Player player = begin(48000.0, 2, NULL);
    for (int i = 0; i < 5; i++) {
        play(&player, -20.0, 1.34);
        play(&player, -30.0, 1.66);
    }
    ck_assert_double_eq_tol(player.least_short, -23.0, TOLERANCE_LU);
    ck_assert_double_eq_tol(loudness_short_term_most(&player.meter), -23.0, TOLERANCE_LU);
}
END_TEST

START_TEST(tech_3341_10_and_11_short_term_maximum_wherever_it_lies) {
    Player eleven = begin(48000.0, 2, NULL);
    for (int i = 0; i < 20; i++) {
        Player ten = begin(48000.0, 2, NULL);
        play(&ten, SILENT, 0.15 * i);
        play(&ten, -23.0, 3.0);
        play(&ten, SILENT, 1.0);
        ck_assert_double_eq_tol(loudness_short_term_most(&ten.meter), -23.0, TOLERANCE_LU);
    }
    eleven = begin(48000.0, 2, NULL);
    for (int i = 0; i < 20; i++) {
        play(&eleven, SILENT, 0.15 * i);
        play(&eleven, -38.0 + i, 3.0);
        play(&eleven, SILENT, 3.0 - 0.15 * i);
        ck_assert_double_eq_tol(loudness_short_term_most(&eleven.meter), -38.0 + i, TOLERANCE_LU);
    }
}
END_TEST

START_TEST(tech_3341_12_the_momentary_window_is_400_ms) {
    Player player = begin(48000.0, 2, NULL);
    for (int i = 0; i < 25; i++) {
        play(&player, -20.0, 0.18);
        play(&player, -30.0, 0.22);
    }
    ck_assert_double_eq_tol(player.least_momentary, -23.0, TOLERANCE_LU);
    ck_assert_double_eq_tol(loudness_momentary_most(&player.meter), -23.0, TOLERANCE_LU);
}
END_TEST

START_TEST(tech_3341_13_and_14_momentary_maximum_wherever_it_lies) {
    for (int i = 0; i < 20; i++) {
        Player thirteen = begin(48000.0, 2, NULL);
        play(&thirteen, SILENT, 0.02 * i);
        play(&thirteen, -23.0, 0.4);
        play(&thirteen, SILENT, 1.0);
        ck_assert_double_eq_tol(loudness_momentary_most(&thirteen.meter), -23.0, TOLERANCE_LU);
    }
    Player fourteen = begin(48000.0, 2, NULL);
    for (int i = 0; i < 20; i++) {
        play(&fourteen, SILENT, 0.02 * i);
        play(&fourteen, -38.0 + i, 0.4);
        play(&fourteen, SILENT, 0.4 - 0.02 * i);
        ck_assert_double_eq_tol(loudness_momentary_most(&fourteen.meter), -38.0 + i, TOLERANCE_LU);
    }
}
END_TEST

/* BS.1770: a 0 dB FS sine of 997 Hz in one channel reads -3.01 LKFS. */
START_TEST(one_channel_alone_reads_3_db_less) {
    Player player = begin(48000.0, 1, NULL);
    play(&player, 0.0, 2.0);
    ck_assert_double_eq_tol(loudness_integrated(&player.meter), -3.010, 0.01);
}
END_TEST

/* ---- EBU Tech 3342 ---- */

START_TEST(tech_3342_1_to_4_loudness_range) {
    const struct {
        double range, level[5];
        size_t count;
    } cases[] = {{10.0, {-20.0, -30.0}, 2},
                 {5.0, {-20.0, -15.0}, 2},
                 {20.0, {-40.0, -20.0}, 2},
                 {15.0, {-50.0, -35.0, -20.0, -35.0, -50.0}, 5}};
    for (size_t i = 0; i < 4; i++) {
        Player player = begin(48000.0, 2, NULL);
        for (size_t k = 0; k < cases[i].count; k++)
            play(&player, cases[i].level[k], 20.0);
        double range = loudness_range(&player.meter);
        ck_assert_msg(fabs(range - cases[i].range) <= RANGE_TOLERANCE_LU, "%.2f LU, not %.0f",
                      range, cases[i].range);
    }
}
END_TEST

/* ---- what is not known, and how blocks are cut ---- */

START_TEST(silence_and_short_takes_have_no_loudness) {
    Player player = begin(48000.0, 2, NULL);
    ck_assert(isnan(loudness_integrated(&player.meter)));
    ck_assert(isnan(loudness_momentary(&player.meter)));
    play(&player, -20.0, 0.39);
    ck_assert(isnan(loudness_integrated(&player.meter)));
    ck_assert(isnan(loudness_momentary_most(&player.meter)));
    loudness_reset(&player.meter);
    play(&player, SILENT, 4.0);
    ck_assert(isnan(loudness_integrated(&player.meter)));
    ck_assert(isnan(loudness_range(&player.meter)));
    ck_assert(isinf(loudness_short_term_most(&player.meter)));
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    Loudness meter;
    Arena arena = arena_over(memory, 4096);
    ck_assert(!loudness_prepare(&meter, 48000.0, 1, NULL, &arena));
    ck_assert_uint_gt(arena.used, 4096);
}
END_TEST

static void sing(SingerTake *take, double rate_hz, SingerVoice voice, uint64_t seed) {
    SingerParams params = singer_params(voice, rate_hz, seed);
    params.phrases = 4;
    ck_assert(singer_take(&params, take));
}

START_TEST(the_cutting_of_blocks_does_not_show) {
    static unsigned char other_memory[MEMORY];
    SingerTake take;
    sing(&take, 22050.0, SINGER_MAN, 5);
    Arena arena = arena_over(memory, MEMORY), other = arena_over(other_memory, MEMORY);
    Loudness whole, cut;
    ck_assert(loudness_prepare(&whole, take.rate_hz, 1, NULL, &arena));
    ck_assert(loudness_prepare(&cut, take.rate_hz, 1, NULL, &other));
    const float *in[] = {take.mix};
    loudness_process(&whole, in, take.n);
    Random random = random_seeded(7);
    for (size_t at = 0; at < take.n;) {
        size_t n = random_below(&random, 700);
        n = n < take.n - at ? n : take.n - at;
        in[0] = take.mix + at;
        loudness_process(&cut, in, n);
        at += n;
    }
    /* Sums of squares are cut with the blocks, so their rounding differs: 2^-52 a frame. */
    ck_assert_double_eq_tol(loudness_integrated(&whole), loudness_integrated(&cut), 1e-9);
    ck_assert_double_eq_tol(loudness_momentary_most(&whole), loudness_momentary_most(&cut), 1e-9);
    ck_assert_double_eq_tol(loudness_range(&whole), loudness_range(&cut), LOUDNESS_BIN_LU + 1e-9);
    singer_free(&take);
}
END_TEST

/* ---- against libebur128 ---- */

typedef struct {
    double integrated, range, momentary, short_term;
} Readings;

static Readings by_libebur128(const float *audio, size_t n, unsigned channels, double rate_hz) {
    Readings r = {0.0, 0.0, -INFINITY, -INFINITY};
    ebur128_state *state = ebur128_init(channels, (unsigned long)rate_hz,
                                        EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_S);
    ck_assert_ptr_nonnull(state);
    size_t step = (size_t)(rate_hz / 100.0);
    for (size_t at = 0; at < n; at += step) {
        double now;
        size_t take = n - at < step ? n - at : step;
        ck_assert_int_eq(ebur128_add_frames_float(state, audio + at * channels, take), 0);
        if (ebur128_loudness_momentary(state, &now) == 0)
            r.momentary = fmax(r.momentary, now);
        if (ebur128_loudness_shortterm(state, &now) == 0)
            r.short_term = fmax(r.short_term, now);
    }
    ebur128_loudness_global(state, &r.integrated);
    ebur128_loudness_range(state, &r.range);
    ebur128_destroy(&state);
    return r;
}

static void compare(const SingerTake *take, unsigned channels) {
    float *interleaved = calloc(take->n * channels, sizeof(float));
    float *side = calloc(take->n, sizeof(float));
    const size_t late = 37;
    for (size_t i = 0; i < take->n; i++) {
        side[i] = i < late ? 0.0f : 0.6f * take->mix[i - late];
        interleaved[i * channels] = take->mix[i];
        if (channels == 2)
            interleaved[i * channels + 1] = side[i];
    }
    Readings other = by_libebur128(interleaved, take->n, channels, take->rate_hz);
    Player player = begin(take->rate_hz, channels, NULL);
    const float *in[] = {take->mix, side};
    loudness_process(&player.meter, in, take->n);
    Readings ours = {loudness_integrated(&player.meter), loudness_range(&player.meter),
                     loudness_momentary_most(&player.meter),
                     loudness_short_term_most(&player.meter)};
    printf("I %.3f / %.3f LUFS, LRA %.2f / %.2f LU, M %.3f / %.3f, S %.3f / %.3f (libebur128)\n",
           ours.integrated, other.integrated, ours.range, other.range, ours.momentary,
           other.momentary, ours.short_term, other.short_term);
    /* Both follow one text; what may differ is where a block falls against a gate. */
    ck_assert_double_eq_tol(ours.integrated, other.integrated, 0.01);
    ck_assert_double_eq_tol(ours.momentary, other.momentary, 0.01);
    ck_assert_double_eq_tol(ours.short_term, other.short_term, 0.01);
    /* It takes short-term values every second, we every 100 ms: of a short take these are other
     * values. */
    ck_assert_double_eq_tol(ours.range, other.range, RANGE_TOLERANCE_LU);
    free(interleaved);
    free(side);
}

START_TEST(an_independent_implementation_agrees_on_a_sung_take) {
    const double rates[] = {44100.0, 48000.0};
    for (size_t i = 0; i < 2; i++) {
        SingerTake take;
        sing(&take, rates[i], i % 2 ? SINGER_MAN : SINGER_WOMAN, 100 + i);
        compare(&take, 1);
        compare(&take, 2);
        singer_free(&take);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("loudness");
    tcase_add_test(tcase, tech_3341_1_and_2_a_steady_tone);
    tcase_add_test(tcase, tech_3341_3_to_5_the_gates);
    tcase_add_test(tcase, tech_3341_6_channels_have_weights);
    tcase_add_test(tcase, tech_3341_9_the_short_term_window_is_3_s);
    tcase_add_test(tcase, tech_3341_10_and_11_short_term_maximum_wherever_it_lies);
    tcase_add_test(tcase, tech_3341_12_the_momentary_window_is_400_ms);
    tcase_add_test(tcase, tech_3341_13_and_14_momentary_maximum_wherever_it_lies);
    tcase_add_test(tcase, one_channel_alone_reads_3_db_less);
    tcase_add_test(tcase, tech_3342_1_to_4_loudness_range);
    tcase_add_test(tcase, silence_and_short_takes_have_no_loudness);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_add_test(tcase, the_cutting_of_blocks_does_not_show);
    tcase_add_test(tcase, an_independent_implementation_agrees_on_a_sung_take);
    tcase_set_timeout(tcase, 120);
    return run_tcase(tcase, "loudness");
}
