/* SPDX-License-Identifier: ISC */
/* The whole of gap-trimmer: each control against its effect in numbers, on a phrase of the test
 * singer that is laid between gaps of known length. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/gap-trimmer/gap-trimmer_plugin.c"

#include "plugin_run.h"
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <stdio.h>

enum { RATE = 48000, LENGTH = 12 * RATE, MOST_PHRASES = 6 };
static const double HOP_MS = 16.0 / 3.0, LONG_GAP_S = 1.5;

typedef struct {
    size_t start, end; /* frames */
} Span;

static float audio[LENGTH];
static PluginUnderTest trimmer;
static Span phrase[MOST_PHRASES];
static size_t n_phrases;
static SingerTake song;

/* The first phrase that was sung, without the silence beside it. */
static Span sung_phrase(void) {
    for (size_t l = 0; l < song.n_labels; l++)
        if (song.labels[l].kind == SINGER_PHRASE)
            return (Span){song.labels[l].start, song.labels[l].end};
    ck_abort_msg("no phrase");
    return (Span){0, 0};
}

/* Room tone at -75 dBFS, and the phrase again and again: long gaps, and one of `short_s` before the
 * third. */
static void lay(double short_s, double third_db) {
    Random random = random_seeded(12);
    Span span = sung_phrase();
    size_t n = span.end - span.start, at = RATE;
    signals_noise(audio, LENGTH, pow(10.0, -75.0 / 20.0), &random);
    n_phrases = 0;
    for (; n_phrases < 4 && at + n < LENGTH; n_phrases++) {
        double gain = n_phrases == 2 ? pow(10.0, third_db / 20.0) : 1.0;
        float voice[LENGTH / 4];
        ck_assert_uint_le(n, sizeof voice / sizeof *voice);
        for (size_t i = 0; i < n; i++)
            audio[at + i] += (float)(gain * (double)song.stem[SINGER_STEM_VOICE][span.start + i]);
        phrase[n_phrases] = (Span){at, at + n};
        at += n + (size_t)((n_phrases == 1 ? short_s : LONG_GAP_S) * RATE);
    }
    ck_assert_uint_eq(n_phrases, 4);
}

static void begin(void) {
    SingerParams params = singer_params(SINGER_WOMAN, RATE, 3);
    params.score = "mu-na-lo";
    params.breath_share = 0.0;
    params.level_spread_db = 0.0;
    params.gap_clicks = params.word_clicks = 0.0;
    ck_assert(singer_take(&params, &song));
    trimmer = plugin_new(RATE);
    lay(0.4, 0.0);
}

static void end(void) {
    plugin_free(&trimmer);
    singer_free(&song);
}

static double db(float gain) {
    return 20.0 * log10((double)gain);
}

/* The lowest gain within a gap, dB. */
static double lowest(const PluginRun *made, size_t from, size_t to) {
    float least = 1.0f;
    for (size_t t = from; t < to; t++)
        least = made->gain[t] < least ? made->gain[t] : least;
    return db(least);
}

static double lowest_in_gap(const PluginRun *made, size_t after_phrase) {
    return lowest(made, phrase[after_phrase].end, phrase[after_phrase + 1].start);
}

START_TEST(gaps_go_down_to_the_floor) {
    static const float floors[] = {-12.0f, -60.0f, -90.0f};
    for (size_t i = 0; i < 3; i++) {
        trimmer.control[FLOOR] = floors[i];
        PluginRun made = plugin_run(&trimmer, audio, LENGTH);
        for (size_t k = 0; k < 3; k += 2)
            ck_assert_double_eq_tol(lowest_in_gap(&made, k), (double)floors[i], 0.02);
        ck_assert_double_eq_tol(plugin_run_most(&trimmer, &made, 1.0, 12.0), -(double)floors[i],
                                0.02);
        plugin_run_free(&made);
    }
    trimmer.control[FLOOR] = 0.0f;
    PluginRun made = plugin_run(&trimmer, audio, LENGTH);
    ck_assert(signals_same_bits(made.out, audio, LENGTH));
    plugin_run_free(&made);
}
END_TEST

START_TEST(phrases_pass_bit_for_bit_from_their_first_frame) {
    PluginRun made = plugin_run(&trimmer, audio, LENGTH);
    for (size_t k = 0; k < n_phrases; k++)
        ck_assert_msg(signals_same_bits(made.out + phrase[k].start, audio + phrase[k].start,
                                        phrase[k].end - phrase[k].start),
                      "phrase %zu", k);
    plugin_run_free(&made);
}
END_TEST

/* Frames from `from` on until the gain is (or is no longer) under `under`, forwards or
 * backwards. */
static size_t distance(const PluginRun *made, size_t from, bool back, float under) {
    for (size_t d = 0; d < (size_t)(LONG_GAP_S * RATE); d++)
        if (made->gain[back ? from - d : from + d] < under)
            return d;
    return SIZE_MAX;
}

/* From the last frame at the floor to the first at 1, in the long gap before the second phrase. */
static double fade_in_ms(float set_ms) {
    trimmer.control[FADE_IN] = set_ms;
    PluginRun made = plugin_run(&trimmer, audio, LENGTH);
    size_t start = phrase[1].start, full = distance(&made, start, true, 1.0f);
    size_t floor = distance(&made, start, true, 1.001f * (float)pow(10.0, -60.0 / 20.0));
    plugin_run_free(&made);
    ck_assert_msg(full != SIZE_MAX && floor != SIZE_MAX, "no fade");
    ck_assert_uint_ge(full, 1); /* over before the phrase begins */
    return 1e3 * (double)(floor - full) / RATE;
}

START_TEST(fade_in_lasts_as_long_as_set) {
    static const float ms[] = {5.0f, 20.0f, 60.0f};
    for (size_t i = 0; i < 3; i++) {
        double took = fade_in_ms(ms[i]);
        printf("fade in %g ms: %.2f ms\n", (double)ms[i], took);
        ck_assert_double_eq_tol(took, (double)ms[i], 0.1 * (double)ms[i] + 0.2);
    }
}
END_TEST

START_TEST(fade_out_lasts_as_long_as_set) {
    static const float ms[] = {20.0f, 80.0f, 300.0f};
    for (size_t i = 0; i < 3; i++) {
        trimmer.control[FADE_OUT] = ms[i];
        PluginRun made = plugin_run(&trimmer, audio, LENGTH);
        size_t begins = distance(&made, phrase[0].end, false, 1.0f);
        size_t ends =
            distance(&made, phrase[0].end, false, 1.001f * (float)pow(10.0, -60.0 / 20.0));
        ck_assert_msg(begins != SIZE_MAX && ends != SIZE_MAX, "no fade");
        double took = 1e3 * (double)(ends - begins) / RATE;
        printf("fade out %g ms: %.2f ms\n", (double)ms[i], took);
        ck_assert_double_eq_tol(took, (double)ms[i], 0.1 * (double)ms[i] + 0.2);
        plugin_run_free(&made);
    }
}
END_TEST

START_TEST(gaps_shorter_than_set_are_left_alone) {
    trimmer.control[FADE_OUT] = 5.0f;
    trimmer.control[FADE_IN] = 1.0f;
    for (double gap_s = 0.3; gap_s < 0.7; gap_s += 0.2) {
        lay(gap_s, 0.0);
        /* What the voice leaves of its end and the room of its beginning: 0.1 s. */
        trimmer.control[SHORTEST_GAP] = (float)(1e3 * (gap_s + 0.1));
        PluginRun left = plugin_run(&trimmer, audio, LENGTH);
        trimmer.control[SHORTEST_GAP] = (float)(1e3 * (gap_s - 0.15));
        PluginRun cut = plugin_run(&trimmer, audio, LENGTH);
        printf("gap of %g s: %.1f and %.1f dB\n", gap_s, lowest_in_gap(&left, 1),
               lowest_in_gap(&cut, 1));
        ck_assert_double_eq(lowest_in_gap(&left, 1), 0.0);
        ck_assert_double_eq_tol(lowest_in_gap(&cut, 1), -60.0, 1e-3);
        ck_assert_double_eq_tol(lowest_in_gap(&left, 0), -60.0, 1e-3);
        plugin_run_free(&left);
        plugin_run_free(&cut);
    }
}
END_TEST

static float gain_of_third(float threshold_db, bool absolute) {
    trimmer.control[THRESHOLD] = threshold_db;
    trimmer.control[ABSOLUTE] = absolute ? 1.0f : 0.0f;
    PluginRun made = plugin_run(&trimmer, audio, LENGTH);
    float gain = made.gain[(phrase[2].start + phrase[2].end) / 2];
    plugin_run_free(&made);
    return gain;
}

/* A phrase far under the others, so much lower for each dB of threshold. Voice opens some 12 dB
 * under the threshold: 6 for its period, and 6 for its loudest moments over its level. */
START_TEST(threshold_is_from_the_singer_or_from_full_scale) {
    for (float threshold = -35.0f; threshold <= -20.0f; threshold += 15.0f) {
        lay(0.8, (double)threshold - 2.0);
        ck_assert_float_eq(gain_of_third(threshold, false), 1.0f);
        lay(0.8, (double)threshold - 22.0);
        ck_assert_double_eq_tol(db(gain_of_third(threshold, false)), -60.0, 0.02);
    }
    lay(0.8, -30.0);
    double level = signals_rms_db(audio + phrase[2].start, phrase[2].end - phrase[2].start);
    ck_assert_double_eq_tol(db(gain_of_third((float)level + 25.0f, true)), -60.0, 0.02);
    ck_assert_float_eq(gain_of_third((float)level - 5.0f, true), 1.0f);
    /* 24 dB less in front matter to a threshold from full scale, and not to one from the singer. */
    signals_scale(audio, LENGTH, 0.0625);
    ck_assert_double_eq_tol(db(gain_of_third((float)level - 5.0f, true)), -60.0, 0.02);
    ck_assert_float_eq(gain_of_third(-45.0f, false), 1.0f);
}
END_TEST

START_TEST(the_meter_open_tells_phrases_from_gaps) {
    PluginRun made = plugin_run(&trimmer, audio, LENGTH);
    for (size_t k = 0; k + 1 < n_phrases; k += 2) {
        size_t phrase_at = (phrase[k].start + phrase[k].end) / 2 / PLUGIN_RUN_STEP;
        size_t gap_at = (phrase[k].end + RATE) / PLUGIN_RUN_STEP;
        ck_assert_float_eq(made.meter[phrase_at][OPEN], 1.0f);
        ck_assert_float_eq(made.meter[gap_at][OPEN], 0.0f);
    }
    plugin_run_free(&made);
}
END_TEST

START_TEST(breaths_are_kept_or_trimmed_whole) {
    SingerParams params = singer_params(SINGER_WOMAN, RATE, 5);
    params.phrases = 6;
    params.breath_share = 1.0;
    params.breath_db = (SingerRange){-24.0, -18.0};
    params.room_db = -78.0;
    params.gap_clicks = params.word_clicks = 0.0;
    SingerTake take;
    ck_assert(singer_take(&params, &take));
    size_t kept[2] = {0}, breaths = 0;
    for (size_t keep = 0; keep < 2; keep++) {
        trimmer.control[KEEP_BREATHS] = (float)keep;
        PluginRun made = plugin_run(&trimmer, take.mix, take.n);
        breaths = 0;
        for (size_t l = 0; l < take.n_labels; l++) {
            const SingerLabel *label = &take.labels[l];
            if (label->kind != SINGER_BREATH || label->start < (size_t)2 * RATE)
                continue;
            breaths++;
            kept[keep] +=
                lowest(&made, label->start + (label->end - label->start) / 4, label->end) > -1.0;
        }
        plugin_run_free(&made);
    }
    printf("%zu breaths: %zu stay when kept, %zu when not\n", breaths, kept[1], kept[0]);
    ck_assert_uint_ge(breaths, 4);
    ck_assert_uint_ge(kept[1], breaths - 1);
    ck_assert_uint_le(kept[0], 1);
    singer_free(&take);
}
END_TEST

START_TEST(it_looks_ahead_as_far_as_set_less_a_hop) {
    static const float ms[] = {25.0f, 60.0f, 150.0f};
    for (size_t i = 0; i < 3; i++) {
        trimmer.control[LOOKAHEAD] = ms[i];
        double late_ms = 1e3 * (double)plugin_spec.latency(trimmer.self, trimmer.control) / RATE;
        ck_assert_double_le(late_ms, (double)ms[i]);
        ck_assert_double_gt(late_ms, (double)ms[i] - HOP_MS);
    }
}
END_TEST

/* A voice that begins at once is seen in the hop it begins in, or the next; two hops later that is
 * known, and the fade takes one. So with four hops ahead at most one and its fade are late, and
 * with six none is. */
START_TEST(with_little_look_ahead_a_phrase_that_begins_at_once_is_open_within_two_hops) {
    static const float ms[] = {25.0f, 35.0f};
    for (size_t i = 0; i < 2; i++) {
        trimmer.control[LOOKAHEAD] = ms[i];
        PluginRun made = plugin_run(&trimmer, audio, LENGTH);
        for (size_t k = 0; k < n_phrases; k++) {
            size_t late = i == 0 ? (size_t)(2.0 * HOP_MS * RATE / 1e3) : 0;
            size_t first = phrase[k].start;
            while (first < phrase[k].end && fabsf(audio[first]) < 0.01f)
                first++;
            size_t opens = first;
            while (opens < phrase[k].end && made.gain[opens] < 1.0f)
                opens++;
            printf("%g ms: phrase %zu is open after %.1f ms\n", (double)ms[i], k,
                   1e3 * (double)(opens - first) / RATE);
            ck_assert_uint_le(opens - first, late);
            for (size_t t = opens; t < phrase[k].end; t++)
                ck_assert_float_eq(made.gain[t], 1.0f);
        }
        ck_assert_double_eq_tol(lowest_in_gap(&made, 0), -60.0, 0.02);
        plugin_run_free(&made);
    }
}
END_TEST

/* Look-ahead moved in the middle of a phrase, and back: it stays open. */
START_TEST(moving_the_look_ahead_closes_no_phrase) {
    static float gain[PLUGIN_CHUNK];
    size_t middle = (phrase[1].start + phrase[1].end) / 2, step = PLUGIN_RUN_STEP;
    static const float to[] = {25.0f, 150.0f, 60.0f, 150.0f, 25.0f};
    plugin_spec.reset(trimmer.self);
    trimmer.control[SHORTEST_GAP] = 50.0f;
    for (size_t at = 0, next = 0; at < phrase[1].end; at += step) {
        if (next < 5 && at >= middle + next * RATE / 25)
            trimmer.control[LOOKAHEAD] = to[next++];
        float ones[PLUGIN_RUN_STEP], meter[METERS], reduction;
        for (size_t i = 0; i < step; i++)
            ones[i] = 1.0f;
        plugin_spec.set(trimmer.self, trimmer.control);
        plugin_spec.process(trimmer.self, &(Io){.n = step,
                                                .channels = 1,
                                                .in = (const float *const[]){audio + at},
                                                .dry = (const float *const[]){ones},
                                                .out = (float *const[]){gain},
                                                .meter = meter,
                                                .reduction_db = &reduction});
        for (size_t i = 0; at >= middle && i < step; i++)
            ck_assert_float_eq(gain[i], 1.0f);
    }
}
END_TEST

int main(void) {
    TCase *tc = tcase_create("gap_trimmer");
    tcase_add_checked_fixture(tc, begin, end);
    tcase_set_timeout(tc, 120.0);
    tcase_add_test(tc, gaps_go_down_to_the_floor);
    tcase_add_test(tc, phrases_pass_bit_for_bit_from_their_first_frame);
    tcase_add_test(tc, fade_in_lasts_as_long_as_set);
    tcase_add_test(tc, fade_out_lasts_as_long_as_set);
    tcase_add_test(tc, gaps_shorter_than_set_are_left_alone);
    tcase_add_test(tc, threshold_is_from_the_singer_or_from_full_scale);
    tcase_add_test(tc, the_meter_open_tells_phrases_from_gaps);
    tcase_add_test(tc, breaths_are_kept_or_trimmed_whole);
    tcase_add_test(tc, it_looks_ahead_as_far_as_set_less_a_hop);
    tcase_add_test(tc, with_little_look_ahead_a_phrase_that_begins_at_once_is_open_within_two_hops);
    tcase_add_test(tc, moving_the_look_ahead_closes_no_phrase);
    return run_tcase(tc, "gap_trimmer");
}
