/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"
#include "sound/double_voice.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LENGTH = 4 * RATE, ROOM = 1 << 21, LATE = 2048 };
static float in[LENGTH], out[LENGTH], other[LENGTH];
static unsigned char memory[ROOM];
static PsolaSource source;
static HissDuck duck;
static DoubleVoice voice;

static void make(const DoubleVoiceParams *params, uint64_t seed) {
    Arena arena = arena_over(memory, ROOM);
    ck_assert(psola_source_prepare(&source, RATE, 1, DOUBLE_VOICE_LATEST_MS, &arena));
    psola_source_reset(&source);
    hiss_duck_prepare(&duck, RATE, source.marks.tick);
    double_voice_prepare(&voice, RATE, source.marks.tick, seed, seed);
    double_voice_set(&voice, params);
}

/* Without a take to hear. */
static void make_as_if_heard(const DoubleVoiceParams *params, uint64_t seed) {
    make(params, seed);
    source.state.sounds = true;
}

/* In pieces of up to `most` frames. */
static void run(const DoubleVoiceParams *params, float *to, size_t most) {
    const float *const heard[] = {in};
    make(params, 1);
    for (size_t at = 0, n; at < LENGTH; at += n) {
        n = psola_source_room(&source);
        n = n < most ? n : most;
        n = n < LENGTH - at ? n : LENGTH - at;
        double_voice_process(&voice, &source, &duck, (float *const[]){to + at}, 0, n);
        hiss_duck_hear(&duck, in + at, n);
        if (psola_source_hear(&source, heard, at, n))
            double_voice_plan(&voice, &source);
    }
}

/* Noise below the sibilants has no periods: it is the take, later. */
START_TEST(what_is_not_voiced_comes_later_by_the_delay) {
    Random random = random_seeded(3);
    size_t late = psola_source_latency(RATE) + 960;
    signals_band_noise(in, LENGTH, RATE, 300.0, 2000.0, 0.1, &random);
    run(&(DoubleVoiceParams){.delay_ms = 20.0}, out, PSOLA_CHUNK);
    double kept = 0.0;
    for (size_t t = late; t < LENGTH; t++)
        kept += fabsf(out[t] - in[t - late]) < 1e-6f ? 1.0 / (LENGTH - (double)late) : 0.0;
    ck_assert_double_gt(kept, 0.95); /* a moment of noise may look periodic */
}
END_TEST

START_TEST(pitch_and_delay_wander_as_far_as_drift_says) {
    const DoubleVoiceParams params = {.detune_cents = 9.0, .delay_ms = 24.0, .drift = 0.5};
    double cents[2] = {0.0, 0.0}, ms[2] = {0.0, 0.0}, least = 1e9, most = 0.0, fastest = 0.0;
    make_as_if_heard(&params, 5);
    const int ticks = 4000000; /* over an hour */
    for (int k = 0; k < ticks; k++) {
        double_voice_plan(&voice, &source);
        double c = 100.0 * voice.state.semitones, d = voice.state.to * 1000.0 / RATE;
        cents[0] += c / ticks, cents[1] += c * c / ticks;
        ms[0] += d / ticks, ms[1] += d * d / ticks;
        least = fmin(least, d), most = fmax(most, d);
        fastest = fmax(fastest, fabs(voice.state.to - voice.state.from) / voice.tick);
    }
    double spread = sqrt(cents[1] - cents[0] * cents[0]), wide = sqrt(ms[1] - ms[0] * ms[0]);
    printf("%.2f cents, spread %.2f; %.2f ms, spread %.2f, %.1f to %.1f; %.1f ms/s at most\n",
           cents[0], spread, ms[0], wide, least, most, 1000.0 * fastest);
    /* Held to 2 deviations a normal value has one of 0.96. Over an hour there are some 3000 pitches
     * and 500 delays to count: 5 sqrt(1 / 3000) and 5 sqrt(1 / 500) of it may be chance. */
    ck_assert_double_le(fabs(cents[0] - 9.0), 0.6);
    ck_assert_double_le(fabs(spread - 0.96 * 6.0), 0.6);
    ck_assert_double_le(fabs(ms[0] - 24.0), 1.4);
    ck_assert_double_le(fabs(wide - 0.96 * 6.0), 1.0);
    ck_assert(least >= 11.99 && most <= 36.01);
    ck_assert_double_le(fastest, 0.02);
}
END_TEST

START_TEST(without_drift_it_keeps_still) {
    make_as_if_heard(&(DoubleVoiceParams){.detune_cents = -9.0, .delay_ms = 24.0}, 6);
    for (int k = 0; k < 10000; k++) {
        double_voice_plan(&voice, &source);
        ck_assert_double_eq_tol(voice.state.semitones, -0.09, 1e-12);
        ck_assert_double_eq_tol(voice.state.to, 1152.0, 1e-9);
    }
}
END_TEST

START_TEST(a_delay_that_is_set_is_drawn_to_and_met) {
    make_as_if_heard(&(DoubleVoiceParams){.delay_ms = 0.0}, 7);
    for (int k = 0; k < 3000; k++) {
        if (k == 10)
            double_voice_set(&voice, &(DoubleVoiceParams){.delay_ms = 60.0});
        double_voice_plan(&voice, &source);
        ck_assert_double_le(fabs(voice.state.to - voice.state.from), 0.25 * voice.tick);
    }
    ck_assert_double_eq_tol(voice.state.to, 2880.0, 1.0);
}
END_TEST

START_TEST(blocks_do_not_matter) {
    const DoubleVoiceParams params = {
        .detune_cents = 9.0, .delay_ms = 24.0, .drift = 1.0, .semitones = 1.0};
    sing_into(in, LENGTH, RATE, 3);
    run(&params, out, PSOLA_CHUNK);
    run(&params, other, 1);
    ck_assert(signals_same_bits(out, other, LENGTH));
    run(&params, other, 17);
    ck_assert(signals_same_bits(out, other, LENGTH));
}
END_TEST

START_TEST(the_voice_is_as_loud_as_the_take) {
    const DoubleVoiceParams params = {
        .detune_cents = 9.0, .delay_ms = 24.0, .drift = 0.5, .semitones = 0.6};
    for (uint64_t seed = 1; seed <= 4; seed++) {
        sing_into(in, LENGTH, RATE, seed);
        run(&params, out, PSOLA_CHUNK);
        double db = signals_band_db(out, LENGTH, RATE, 100.0, 2000.0) -
                    signals_band_db(in, LENGTH - (size_t)LATE, RATE, 100.0, 2000.0);
        printf("seed %u: %+.2f dB\n", (unsigned)seed, db);
        ck_assert_double_le(fabs(db), 1.0);
    }
}
END_TEST

/* All that is off in pitch is the delay's movement: off by the detune one way or the other, and by
 * what it drifts, and never early, even where no delay is asked for. */
START_TEST(by_delay_it_is_off_both_ways_in_turn_and_never_early) {
    for (double delay = 0.0; delay <= 60.0; delay += 30.0) {
        const DoubleVoiceParams params = {
            .detune_cents = 9.0, .delay_ms = delay, .drift = 0.5, .by_delay = true};
        make_as_if_heard(&params, 5);
        double off = 0.0, mean = 0.0, square = 0.0, least = 1e9;
        const int ticks = 1000000;
        for (int k = 0; k < ticks; k++) {
            double_voice_plan(&voice, &source);
            double c = 1200.0 * log2(1.0 - (voice.state.to - voice.state.from) / voice.tick);
            off += fabs(c) / ticks, mean += c / ticks, square += c * c / ticks;
            least = fmin(least, voice.state.to);
            ck_assert_double_eq(voice.state.semitones, 0.0);
        }
        printf("delay %g ms: %.2f cents off, mean %.2f, rms %.2f, %.2f ms late at least\n", delay,
               off, mean, sqrt(square), 1000.0 * least / RATE);
        /* Its movements lead nowhere, so that their mean is 0 but for the curve of the
         * logarithm. */
        ck_assert_double_le(fabs(mean), 0.25);
        ck_assert(off > 7.0 && off < 14.0);
        ck_assert_double_ge(least, 0.0);
    }
}
END_TEST

/* 0.2 s, as long as a word's start is: within 0.25 ms of the least delay there is. */
START_TEST(together_it_begins_as_early_as_it_may_come) {
    for (uint64_t seed = 1; seed <= 20; seed++) {
        make_as_if_heard(&(DoubleVoiceParams){.delay_ms = 6.0, .drift = 0.3, .together = true},
                         seed);
        for (int k = 0; k < 200; k++) {
            double_voice_plan(&voice, &source);
            ck_assert_double_le(fabs(voice.state.to - 0.7 * 288.0), 12.0);
        }
    }
}
END_TEST

/* A bar before the take, or a region that begins earlier, must not make another double of it: whole
 * ticks of silence ahead, and the walks of every tick of the take are the same to the bit. */
START_TEST(silence_ahead_does_not_change_how_it_wanders) {
    const DoubleVoiceParams params = {
        .detune_cents = 9.0, .delay_ms = 24.0, .drift = 1.0, .semitones = 0.6};
    static float wandered[2][LENGTH / 2][2];
    const size_t ahead[2] = {0, RATE};
    size_t ticks = 0;
    sing_into(other, LENGTH, RATE, 3);
    for (int k = 0; k < 2; k++) {
        make(&params, 1);
        signals_silence(in, ahead[k]);
        memcpy(in + ahead[k], other, (LENGTH - ahead[k]) * sizeof *in);
        ck_assert_uint_eq(ahead[k] % source.marks.tick, 0);
        for (size_t at = 0, n; at < LENGTH; at += n) {
            n = psola_source_room(&source);
            n = n < LENGTH - at ? n : LENGTH - at;
            if (!psola_source_hear(&source, (const float *const[]){in}, at, n))
                continue;
            double_voice_plan(&voice, &source);
            if (at < ahead[k])
                continue;
            ticks = (at - ahead[k]) / source.marks.tick;
            wandered[k][ticks][0] = (float)voice.state.semitones;
            wandered[k][ticks][1] = (float)voice.state.to;
        }
    }
    ck_assert_uint_gt(ticks, 1000);
    ck_assert(signals_same_bits(wandered[0][0], wandered[1][0], 2 * ticks));
    ck_assert_float_ne(wandered[0][0][0], wandered[0][ticks - 1][0]);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("double_voice");
    tcase_add_test(tcase, what_is_not_voiced_comes_later_by_the_delay);
    tcase_add_test(tcase, pitch_and_delay_wander_as_far_as_drift_says);
    tcase_add_test(tcase, without_drift_it_keeps_still);
    tcase_add_test(tcase, a_delay_that_is_set_is_drawn_to_and_met);
    tcase_add_test(tcase, by_delay_it_is_off_both_ways_in_turn_and_never_early);
    tcase_add_test(tcase, together_it_begins_as_early_as_it_may_come);
    tcase_add_test(tcase, blocks_do_not_matter);
    tcase_add_test(tcase, the_voice_is_as_loud_as_the_take);
    tcase_add_test(tcase, silence_ahead_does_not_change_how_it_wanders);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "double_voice");
}
