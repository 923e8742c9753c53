/* SPDX-License-Identifier: ISC */
/* The whole chain of breath-ducker, driven through its plugin_spec as the shell drives it, on takes
 * of the test singer. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables and its struct. */
#include "../plugins/breath-ducker/breath-ducker_plugin.c"

#include "run_tcase.h"
#include "signals.h"
#include "singer.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double RATES[] = {8000.0,  11025.0, 16000.0, 22050.0, 32000.0,
                               44100.0, 48000.0, 96000.0, 192000.0};
enum { N_RATES = sizeof RATES / sizeof *RATES };
static const double DEPTH_GAIN = 0.25118864; /* -12 dB */

static BreathDucker ducker;
static float control[CONTROLS];

/* A take and what the plugin makes of it, latency taken away again. */
typedef struct {
    size_t n;
    float *in, *out, *gain; /* gain: what the plugin does to a signal of ones */
    float largest_reduction_db;
} Run;

static void *zeros(size_t n) {
    void *memory = calloc(n + 1, sizeof(float));
    ck_assert_ptr_nonnull(memory);
    return memory;
}

static void prepare_ducker(double rate_hz, unsigned channels) {
    memset(&ducker, 0, sizeof ducker);
    Arena arena = arena_over(NULL, 0);
    ck_assert(plugin_spec.prepare(&ducker, rate_hz, channels, &arena));
    plugin_spec.reset(&ducker);
    for (int i = 0; i < CONTROLS; i++)
        control[i] = controls[i].initial;
}

/* Runs `in`, followed by as much silence as the latency, in blocks of at most `most` frames of
 * random length (NULL: of that length). */
static Run run(const float *in, size_t n, size_t most, Random *random) {
    size_t late = plugin_spec.latency(&ducker, control), all = n + late;
    float *fed = zeros(all), *dry = zeros(all), *out = zeros(all), *ones = zeros(all);
    float *gain = zeros(all);
    memcpy(fed, in, n * sizeof *in);
    memcpy(dry + late, in, n * sizeof *in);
    for (size_t i = 0; i < all; i++)
        ones[i] = 1.0f;
    Run made = {.n = n, .in = zeros(n), .out = zeros(n), .gain = zeros(n)};
    plugin_spec.set(&ducker, control);
    for (size_t at = 0, k; at < all; at += k) {
        k = random ? random_below(random, most + 1) : most;
        k = k < all - at ? k : all - at;
        float meter[METERS], reduction_db = -1.0f;
        const float *f[2] = {fed + at, fed + at}, *d[2] = {dry + at, ones + at};
        float *o[2] = {out + at, gain + at};
        plugin_spec.process(&ducker, &(Io){.n = k,
                                           .channels = 2,
                                           .in = f,
                                           .dry = d,
                                           .out = o,
                                           .meter = meter,
                                           .reduction_db = &reduction_db});
        ck_assert_float_ge(reduction_db, 0.0f);
        if (reduction_db > made.largest_reduction_db)
            made.largest_reduction_db = reduction_db;
    }
    memcpy(made.in, in, n * sizeof *in);
    memcpy(made.out, out + late, n * sizeof *out);
    memcpy(made.gain, gain + late, n * sizeof *gain);
    free(fed), free(dry), free(out), free(ones), free(gain);
    return made;
}

static void free_run(Run *made) {
    free(made->in), free(made->out), free(made->gain);
}

static SingerTake sing(SingerVoice voice, double rate_hz, uint64_t seed) {
    SingerParams params = singer_params(voice, rate_hz, seed);
    params.phrases = 5;
    params.room_db = -75.0;
    params.breath_db = (SingerRange){-32.0, -17.0};
    SingerTake take;
    ck_assert(singer_take(&params, &take));
    return take;
}

/* Share of the inner three fifths of all breaths that lies within 1 dB of the depth: what a raised
 * cosine onset does not hide under the room. */
static double share_ducked(const SingerTake *take, const Run *made) {
    double inside = 0.0, ducked = 0.0;
    for (size_t l = 0; l < take->n_labels; l++) {
        const SingerLabel *label = &take->labels[l];
        size_t margin = (label->end - label->start) / 5;
        if (label->kind != SINGER_BREATH)
            continue;
        for (size_t i = label->start + margin; i < label->end - margin; i++) {
            inside += 1.0;
            ducked += fabs(20.0 * log10((double)made->gain[i] / DEPTH_GAIN)) < 1.0;
        }
    }
    return ducked / inside;
}

/* Frames of words that are not what went in, bit for bit. */
static size_t frames_touched(const SingerTake *take, const Run *made) {
    size_t touched = 0;
    for (size_t l = 0; l < take->n_labels; l++)
        if (take->labels[l].kind == SINGER_WORD)
            for (size_t i = take->labels[l].start; i < take->labels[l].end; i++)
                touched += made->out[i] != made->in[i];
    return touched;
}

START_TEST(breaths_go_down_and_words_stay_bit_for_bit_at_every_rate) {
    for (int r = 0; r < N_RATES; r++)
        for (int v = 0; v < 2; v++) {
            uint64_t seed = 20 + (uint64_t)v;
            printf("%s %g Hz, seed %d\n", v ? "woman" : "man", RATES[r], (int)seed);
            SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, RATES[r], seed);
            prepare_ducker(RATES[r], 2);
            Run made = run(take.mix, take.n, PLUGIN_CHUNK, NULL);
            ck_assert_double_ge(share_ducked(&take, &made), 0.9);
            ck_assert_uint_eq(frames_touched(&take, &made), 0);
            ck_assert_float_eq_tol(made.largest_reduction_db, 12.0f, 1e-3f);
            free_run(&made);
            singer_free(&take);
        }
}
END_TEST

START_TEST(a_take_without_breaths_passes_bit_for_bit) {
    for (int v = 0; v < 2; v++) {
        SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, 48000.0, 30);
        float *rest = zeros(take.n);
        singer_mix(&take, ~(1u << SINGER_STEM_BREATHS), rest);
        prepare_ducker(48000.0, 2);
        Run made = run(rest, take.n, PLUGIN_CHUNK, NULL);
        ck_assert(signals_same_bits(made.out, made.in, take.n));
        ck_assert_float_eq(made.largest_reduction_db, 0.0f);
        free(rest);
        free_run(&made);
        singer_free(&take);
    }
}
END_TEST

START_TEST(room_tone_and_silence_pass_bit_for_bit) {
    Random random = random_seeded(201);
    printf("seed 201\n");
    enum { N = 480000 };
    float *in = zeros(N);
    const double top_hz[] = {1e9, 3000.0};
    for (int k = 0; k < 3; k++) {
        if (k < 2)
            signals_band_noise(in, N, 48000.0, 0.0, top_hz[k], 1e-3, &random);
        else
            signals_silence(in, N);
        prepare_ducker(48000.0, 2);
        Run made = run(in, N, PLUGIN_CHUNK, NULL);
        ck_assert(signals_same_bits(made.out, made.in, N));
        free_run(&made);
    }
    free(in);
}
END_TEST

START_TEST(gain_in_front_changes_no_decision) {
    /* By powers of two, which round nothing: -42 and +12 dB. */
    const double gains[] = {1.0 / 128.0, 4.0};
    SingerTake take = sing(SINGER_WOMAN, 48000.0, 40);
    prepare_ducker(48000.0, 2);
    Run made = run(take.mix, take.n, PLUGIN_CHUNK, NULL);
    for (int g = 0; g < 2; g++) {
        float *scaled = zeros(take.n);
        memcpy(scaled, take.mix, take.n * sizeof *scaled);
        signals_scale(scaled, take.n, gains[g]);
        prepare_ducker(48000.0, 2);
        Run other = run(scaled, take.n, PLUGIN_CHUNK, NULL);
        ck_assert(signals_same_bits(other.gain, made.gain, take.n));
        free(scaled);
        free_run(&other);
    }
    free_run(&made);
    singer_free(&take);
}
END_TEST

START_TEST(how_the_audio_is_cut_changes_no_bit) {
    Random random = random_seeded(202);
    printf("seed 202\n");
    SingerTake take = sing(SINGER_MAN, 44100.0, 50);
    prepare_ducker(44100.0, 2);
    Run made = run(take.mix, take.n, PLUGIN_CHUNK, NULL);
    prepare_ducker(44100.0, 2);
    Run other = run(take.mix, take.n, PLUGIN_CHUNK, &random);
    ck_assert(signals_same_bits(made.out, other.out, take.n));
    plugin_spec.reset(&ducker);
    Run third = run(take.mix, take.n, 1, NULL);
    ck_assert(signals_same_bits(made.out, third.out, take.n));
    free_run(&made), free_run(&other), free_run(&third);
    singer_free(&take);
}
END_TEST

START_TEST(depth_and_fade_do_what_they_say) {
    SingerTake take = sing(SINGER_MAN, 48000.0, 60);
    const float depths[] = {6.0f, 24.0f, 60.0f}, fades[] = {2.0f, 20.0f, 100.0f};
    for (int k = 0; k < 3; k++) {
        prepare_ducker(48000.0, 2);
        control[DEPTH] = depths[k];
        control[FADE] = fades[k];
        Run made = run(take.mix, take.n, PLUGIN_CHUNK, NULL);
        double lowest = 1.0, steepest = 0.0;
        for (size_t i = 1; i < take.n; i++) {
            double step = 20.0 * log10((double)made.gain[i] / (double)made.gain[i - 1]);
            lowest = fmin(lowest, (double)made.gain[i]);
            steepest = fmax(steepest, fabs(step));
        }
        ck_assert_double_eq_tol(20.0 * log10(lowest), -(double)depths[k], 1e-3);
        /* The cubic step's slope is at most 1.5 depth in a fade. */
        ck_assert_double_le(steepest, 1.5 * (double)depths[k] / (48.0 * (double)fades[k]) + 1e-3);
        ck_assert_uint_eq(frames_touched(&take, &made), 0);
        free_run(&made);
    }
    singer_free(&take);
}
END_TEST

START_TEST(latency_grows_with_its_controls_and_is_a_quarter_of_a_second) {
    for (int r = 0; r < N_RATES; r++) {
        prepare_ducker(RATES[r], 1);
        double usual_ms = 1e3 * (double)plugin_spec.latency(&ducker, control) / RATES[r];
        ck_assert_double_ge(usual_ms, 200.0);
        ck_assert_double_le(usual_ms, 275.0);
        size_t most = 0;
        for (int fade = 2; fade <= 100; fade += 7)
            for (int shortest = 40; shortest <= 500; shortest += 20) {
                control[FADE] = (float)fade;
                control[SHORTEST] = (float)shortest;
                size_t now = plugin_spec.latency(&ducker, control);
                most = now > most ? now : most;
            }
        control[FADE] = 100.0f;
        control[SHORTEST] = 500.0f;
        ck_assert_uint_ge(plugin_spec.latency(&ducker, control), most);
    }
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("breath_ducker");
    tcase_set_timeout(tcase, 120.0);
    tcase_add_test(tcase, breaths_go_down_and_words_stay_bit_for_bit_at_every_rate);
    tcase_add_test(tcase, a_take_without_breaths_passes_bit_for_bit);
    tcase_add_test(tcase, room_tone_and_silence_pass_bit_for_bit);
    tcase_add_test(tcase, gain_in_front_changes_no_decision);
    tcase_add_test(tcase, how_the_audio_is_cut_changes_no_bit);
    tcase_add_test(tcase, depth_and_fade_do_what_they_say);
    tcase_add_test(tcase, latency_grows_with_its_controls_and_is_a_quarter_of_a_second);
    return run_tcase(tcase, "breath_ducker");
}
