/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sound/spectral_frames.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MEMORY = 1 << 20, LENGTH = 20000 };

static unsigned char memory[MEMORY];
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH];
static SpectralFrames frames;
static size_t steps_run, hops;
static float kept; /* share of every bin that is left */

static void keep(void *user, const Spectrum *spectrum, size_t from, size_t count) {
    (void)user;
    steps_run += count;
    for (size_t k = from; k < from + count; k++) {
        spectrum->re[k] *= kept;
        spectrum->im[k] *= kept;
    }
}

static void idle(void *user, const Spectrum *spectrum, size_t from, size_t count) {
    (void)user;
    (void)spectrum;
    (void)from;
    steps_run += count;
}

static void prepare(double rate_hz, unsigned channels) {
    Arena arena = arena_over(memory, MEMORY);
    size_t size = spectral_frames_size(rate_hz);
    const SpectralTask tasks[] = {{size, 1, keep}, {5, 30, idle}};
    ck_assert(spectral_frames_prepare(&frames, rate_hz, channels, tasks, 2, NULL, &arena));
    steps_run = hops = 0;
}

/* In pieces of at most `most`, drawn by `random`; all at once for NULL. */
static void play(float to[2][LENGTH], Random *random, size_t most) {
    const float *from[2] = {in[0], in[1]};
    float *into[2] = {to[0], to[1]};
    for (size_t at = 0; at < LENGTH;) {
        size_t n = random ? random_below(random, most + 1) : LENGTH;
        size_t room = spectral_frames_room(&frames);
        n = n < room ? n : room;
        n = n < LENGTH - at ? n : LENGTH - at;
        hops += spectral_frames_process(&frames, from, into, at, n);
        at += n;
    }
}

static void fill(unsigned long long seed) {
    Random random = random_seeded(seed);
    printf("seed %llu\n", seed);
    signals_noise(in[0], LENGTH, 0.3, &random);
    signals_noise(in[1], LENGTH, 0.3, &random);
}

/* Spectra left alone give the input, N + N/4 late. Two transforms round within 3e-7 log2 N of their
 * largest value each (test_spread_fft), which for this noise is some 4 times its root mean square
 * times root N there, and that over root N back. */
START_TEST(spectra_left_alone_are_the_input_within_rounding) {
    const double rates[] = {8000.0, 44100.0, 48000.0, 192000.0};
    fill(61);
    kept = 1.0f;
    for (int r = 0; r < 4; r++)
        for (unsigned channels = 1; channels <= 2; channels++) {
            prepare(rates[r], channels);
            play(out, NULL, 0);
            size_t late = spectral_frames_latency(&frames);
            ck_assert_uint_eq(late, frames.size + frames.size / 4);
            for (unsigned c = 0; c < channels; c++) {
                for (size_t i = 0; i < late && i < LENGTH; i++)
                    ck_assert(fabsf(out[c][i]) < 1e-6f);
                ck_assert(signals_largest_difference(in[c], out[c] + late, LENGTH - late) < 5e-6);
            }
        }
}
END_TEST

START_TEST(spectra_made_zero_are_silence_exactly) {
    fill(62);
    kept = 0.0f;
    prepare(48000.0, 2);
    play(out, NULL, 0);
    for (size_t i = 0; i < LENGTH; i++)
        ck_assert(out[0][i] == 0.0f && out[1][i] == 0.0f);
}
END_TEST

/* One channel's sound leaves no more than rounding in the other. */
START_TEST(channels_do_not_mix) {
    fill(63);
    signals_silence(in[1], LENGTH);
    kept = 1.0f;
    prepare(48000.0, 2);
    play(out, NULL, 0);
    ck_assert(signals_peak(out[1], LENGTH) < 5e-6);
}
END_TEST

START_TEST(how_the_input_was_cut_changes_no_bit) {
    const size_t most[] = {1, 7, 64, 300, 1000};
    fill(64);
    kept = 1.0f;
    for (int m = 0; m < 5; m++) {
        Random random = random_seeded(65);
        prepare(44100.0, 2);
        play(out, NULL, 0);
        prepare(44100.0, 2);
        play(other, &random, most[m]);
        ck_assert(signals_same_bits(out[0], other[0], LENGTH));
        ck_assert(signals_same_bits(out[1], other[1], LENGTH));
    }
}
END_TEST

START_TEST(every_hop_does_all_steps_of_all_tasks) {
    Random random = random_seeded(66);
    fill(66);
    kept = 1.0f;
    prepare(48000.0, 1);
    play(out, &random, 100);
    ck_assert_uint_eq(hops, LENGTH / frames.hop);
    ck_assert_uint_ge(steps_run, hops * (frames.size + 5));
    ck_assert_uint_lt(steps_run, (hops + 1) * (frames.size + 5));
}
END_TEST

/* A frame's share is the hop's cost over its length, a step more at most, each rounded up to
 * four. */
START_TEST(work_is_spread_evenly) {
    fill(67);
    kept = 1.0f;
    prepare(48000.0, 1);
    const float *from[2] = {in[0], in[1]};
    float *into[2] = {out[0], out[1]};
    for (size_t at = 0; at < 4 * frames.hop; at++) {
        size_t before = frames.state.done;
        bool over = spectral_frames_process(&frames, from, into, at, 1);
        size_t done = over ? frames.total - before : frames.state.done - before;
        ck_assert_uint_le(done, frames.total / frames.hop + 1 + 120);
    }
}
END_TEST

/* 42.6..85.3 ms, a power of two. */
START_TEST(frames_last_as_long_at_every_rate) {
    for (double rate_hz = 8000.0; rate_hz <= 192000.0; rate_hz += 50.0) {
        size_t size = spectral_frames_size(rate_hz);
        ck_assert_uint_eq(size & (size - 1), 0);
        ck_assert((double)size >= 0.0426 * rate_hz && (double)size < 0.0853 * rate_hz);
    }
}
END_TEST

START_TEST(memory_is_asked_for_before_it_is_used) {
    Arena arena = arena_over(memory, 64);
    const SpectralTask task = {1, 1, keep};
    ck_assert(!spectral_frames_prepare(&frames, 48000.0, 2, &task, 1, NULL, &arena));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("spectral_frames");
    tcase_add_test(tcase, spectra_left_alone_are_the_input_within_rounding);
    tcase_add_test(tcase, spectra_made_zero_are_silence_exactly);
    tcase_add_test(tcase, channels_do_not_mix);
    tcase_add_test(tcase, how_the_input_was_cut_changes_no_bit);
    tcase_add_test(tcase, every_hop_does_all_steps_of_all_tasks);
    tcase_add_test(tcase, work_is_spread_evenly);
    tcase_add_test(tcase, frames_last_as_long_at_every_rate);
    tcase_add_test(tcase, memory_is_asked_for_before_it_is_used);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "spectral_frames");
}
