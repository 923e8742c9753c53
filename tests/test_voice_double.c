/* SPDX-License-Identifier: ISC */
/* The whole chain of voice-double, driven through its plugin_spec as the shell drives it. */
/* NOLINTNEXTLINE(bugprone-suspicious-include): to reach its tables. */
#include "../plugins/voice-double/voice-double_plugin.c"

#include "reverb_measures.h"
#include "run_spec.h"
#include "run_tcase.h"
#include "signals.h"
#include "sing_into.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, LENGTH = 4 * RATE, LONG = 2 * RATE };
static float in[2][LENGTH], out[2][LENGTH], other[2][LENGTH], sum[LENGTH];

static void run(SpecRun *spec) {
    const float *const i[2] = {in[0], in[1]};
    float *const o[2] = {out[0], out[1]};
    spec_run_over(spec, i, o, LENGTH);
}

static void hear_singer(uint64_t seed) {
    sing_into(in[0], LENGTH, RATE, seed);
    memcpy(in[1], in[0], sizeof in[0]);
}

/* A voice-like tone on both sides. */
static void tone(double hz) {
    signals_harmonics(in[0], LENGTH, RATE, hz, 6000.0, -6.0, 0.1);
    memcpy(in[1], in[0], sizeof in[0]);
}

/* Stereo, and nothing on the move. */
static SpecRun at_rest(void) {
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[DRIFT] = 0.0f;
    spec.control[FORMANT] = 0.0f;
    return spec;
}

static double correlation(const float *a, const float *b) {
    double xy = 0.0, xx = 0.0, yy = 0.0;
    for (size_t t = 0; t < LENGTH; t++) {
        xy += (double)a[t] * (double)b[t];
        xx += (double)a[t] * (double)a[t];
        yy += (double)b[t] * (double)b[t];
    }
    return xy / sqrt(xx * yy);
}

START_TEST(with_blend_at_0_it_is_the_input_to_the_bit) {
    hear_singer(1);
    in[0][100] = -0.0f, in[0][101] = 1e-40f;
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    spec.control[BLEND] = 0.0f;
    run(&spec);
    ck_assert(signals_same_bits(in[0], out[0], LENGTH));
    ck_assert(signals_same_bits(in[1], out[1], LENGTH));
}
END_TEST

/* The design's figures: sides at most 0.5 alike, either at most 0.6 like the lead; and each as loud
 * as it. */
START_TEST(a_mono_take_gets_two_sides_that_are_neither_it_nor_each_other) {
    for (uint64_t seed = 1; seed <= 2; seed++) {
        hear_singer(seed);
        for (int voices = 1; voices <= MOST_VOICES; voices++) {
            SpecRun spec = spec_run(&plugin_spec, RATE, 2);
            spec.control[VOICES] = (float)voices;
            run(&spec);
            double sides = correlation(out[0], out[1]), lead = correlation(in[0], out[0]);
            double db = signals_rms_db(out[0], LENGTH) - signals_rms_db(in[0], LENGTH);
            printf("seed %u, %d voices: sides %+.2f, lead %+.2f, %+.1f dB\n", (unsigned)seed,
                   voices, sides, lead, db);
            ck_assert_double_le(fabs(lead), 0.6);
            if (voices > 1)
                ck_assert_double_le(fabs(sides), 0.5);
            ck_assert_double_le(fabs(db), 1.5);
        }
    }
}
END_TEST

/* Lead in the middle, doubles as they come: no octave of the mono sum is lower than the lead alone,
 * or than the powers of the three together by 3 dB. */
START_TEST(the_mono_sum_loses_no_octave) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        hear_singer(seed);
        SpecRun spec = spec_run(&plugin_spec, RATE, 2);
        run(&spec);
        for (size_t t = 0; t < LENGTH; t++)
            sum[t] = in[0][t] + 0.5f * (out[0][t] + out[1][t]);
        for (double hz = 125.0; hz < 8001.0; hz *= 2.0) {
            double low = hz / 1.414, high = hz * 1.414;
            double lead = signals_band_db(in[0], LENGTH, RATE, low, high);
            double left = signals_band_db(out[0], LENGTH, RATE, low, high) - 6.0;
            double right = signals_band_db(out[1], LENGTH, RATE, low, high) - 6.0;
            double mono = signals_band_db(sum, LENGTH, RATE, low, high);
            double all = 10.0 * log10(pow(10.0, 0.1 * lead) + pow(10.0, 0.1 * left) +
                                      pow(10.0, 0.1 * right));
            printf("seed %u, %4.0f Hz: %+.1f dB re lead, %+.1f re all\n", (unsigned)seed, hz,
                   mono - lead, mono - all);
            ck_assert_double_ge(mono, all - 3.0);
            ck_assert_double_ge(mono, lead - 1.0);
        }
    }
}
END_TEST

static double partials(const float *audio, double hz) {
    double there = 0.0, beside = 0.0;
    for (int k = 4; k <= 8; k++) {
        there += signals_tone_amplitude(audio + 3 * (size_t)RATE / 2, LONG, RATE, hz * k);
        beside += signals_tone_amplitude(audio + 3 * (size_t)RATE / 2, LONG, RATE, hz * (k + 0.5));
    }
    return there / beside;
}

enum { STEP = RATE / 50, STEPS = LENGTH / STEP };

/* Cents that a tone's 8th partial is off, in each 20 ms from 1 s on; their count. */
static size_t cents_off(const float *audio, double hz, double *cents) {
    double last = 0.0;
    size_t n = 0;
    for (size_t k = STEPS / 4; k < STEPS; k++) {
        double re = 0.0, im = 0.0;
        for (size_t t = k * STEP; t < (k + 1) * STEP; t++) {
            double angle = 2.0 * PI * 8.0 * hz * (double)t / RATE;
            re += (double)audio[t] * cos(angle);
            im -= (double)audio[t] * sin(angle);
        }
        double phase = atan2(im, re), turned = remainder(phase - last, 2.0 * PI);
        last = phase;
        if (k > STEPS / 4)
            cents[n++] = 1200.0 * log2(1.0 + turned / (2.0 * PI * 8.0 * hz * STEP / RATE));
    }
    return n;
}

/* One side above and the other below, but for the turns, which take 0.2 s of a second or more. */
START_TEST(detune_moves_the_sides_apart_by_so_many_cents) {
    for (double cents = 5.0; cents < 15.0; cents += 4.0) {
        double left[STEPS], right[STEPS], there = 0.0, apart = 0.0, above = 0.0;
        tone(200.0);
        SpecRun spec = at_rest();
        spec.control[DETUNE] = (float)cents;
        run(&spec);
        size_t n = cents_off(out[0], 200.0, left);
        ck_assert_uint_eq(cents_off(out[1], 200.0, right), n);
        for (size_t k = 0; k < n; k++) {
            there += fabs(fabs(left[k]) - cents) < 0.15 * cents ? 1.0 / (double)n : 0.0;
            apart += fabs(left[k] + right[k]) < 0.15 * cents ? 1.0 / (double)n : 0.0;
            above += left[k] > 0.0 ? 1.0 / (double)n : 0.0;
        }
        printf("%g cents: %.2f of the time, %.2f to both sides, %.2f above\n", cents, there, apart,
               above);
        ck_assert_double_gt(there, 0.7);
        ck_assert_double_gt(apart, 0.95);
        ck_assert(above > 0.2 && above < 0.8);
    }
}
END_TEST

/* A burst of noise that is no sibilant is found later by 0.8 and 1.2 of the delay. */
START_TEST(delay_moves_the_sides_in_time) {
    enum { AT = RATE, BURST = 2400 };
    static const float delays[] = {0.0f, 25.0f, 60.0f};
    for (int d = 0; d < 3; d++) {
        Random random = random_seeded(9);
        signals_silence(in[0], LENGTH);
        signals_band_noise(in[0] + AT, BURST, RATE, 400.0, 2500.0, 0.1, &random);
        memcpy(in[1], in[0], sizeof in[0]);
        SpecRun spec = at_rest();
        spec.control[DETUNE] = 0.0f;
        spec.control[DELAY] = delays[d];
        run(&spec);
        for (int c = 0; c < 2; c++) {
            double most = 0.0, found = 0.0;
            for (size_t late = 0; late < 4800; late++) {
                double like = 0.0;
                for (size_t t = 0; t < BURST; t++)
                    like += (double)in[0][AT + t] * (double)out[c][AT + t + late];
                if (like > most) {
                    most = like;
                    found = (double)late;
                }
            }
            /* the low cut turns the phase of the burst's low end by a frame or two */
            ck_assert_double_eq_tol(found, (c ? 57.6 : 38.4) * (double)delays[d], 3.0);
        }
    }
}
END_TEST

/* A partial that wanders by some cents is no line any more. */
START_TEST(drift_moves_what_stood_still) {
    tone(200.0);
    double lines[2];
    for (int k = 0; k < 2; k++) {
        SpecRun spec = at_rest();
        spec.control[DETUNE] = 0.0f;
        spec.control[DRIFT] = k ? 100.0f : 0.0f;
        run(&spec);
        lines[k] = partials(out[0], 200.0);
    }
    ck_assert_double_gt(lines[0], 30.0);
    ck_assert_double_lt(lines[1], 0.5 * lines[0]);
}
END_TEST

/* The tone ends at 6 kHz; half an octave of formants puts that end at 8.5 kHz on one side, 4.2 kHz
 * on the other. */
START_TEST(formant_makes_one_side_brighter_and_the_other_darker) {
    double db[2][2];
    for (int k = 0; k < 2; k++) {
        tone(200.0);
        SpecRun spec = at_rest();
        spec.control[DETUNE] = 0.0f;
        spec.control[FORMANT] = k ? 6.0f : 0.0f;
        run(&spec);
        for (int c = 0; c < 2; c++) {
            double hz = c ? 5200.0 : 7600.0;
            double there = signals_tone_amplitude(out[c] + 3 * (size_t)RATE / 2, LONG, RATE, hz);
            double whole = signals_tone_amplitude(in[c] + 3 * (size_t)RATE / 2, LONG, RATE, 5200.0);
            db[k][c] = 20.0 * log10(there / whole);
        }
    }
    printf("over the end: %.1f -> %.1f dB; under it: %.1f -> %.1f dB\n", db[0][0], db[1][0],
           db[0][1], db[1][1]);
    ck_assert_double_lt(db[0][0], -40.0);
    ck_assert_double_gt(db[1][0], -12.0);
    ck_assert_double_gt(db[0][1], -1.0);
    ck_assert_double_lt(db[1][1], -12.0);
}
END_TEST

START_TEST(width_brings_the_sides_together) {
    hear_singer(3);
    double last = -1.0;
    for (float width = 100.0f; width >= 0.0f; width -= 50.0f) {
        SpecRun spec = spec_run(&plugin_spec, RATE, 2);
        spec.control[WIDTH] = width;
        run(&spec);
        double like = correlation(out[0], out[1]);
        ck_assert_double_gt(like, last);
        last = like;
    }
    ck_assert_double_gt(last, 0.9999);
}
END_TEST

/* 6 dB, as much of a take's top as sibilants are. */
START_TEST(sibilants_of_doubles_are_6_db_down) {
    SingerTake take;
    SingerParams params = singer_params(SINGER_WOMAN, RATE, 614);
    params.score = "sa si so/sa-si se/so sa";
    params.breath_share = params.gap_clicks = params.word_clicks = 0.0;
    ck_assert(singer_take(&params, &take));
    size_t n = take.n < LENGTH ? take.n : LENGTH;
    signals_silence(in[0], LENGTH);
    memcpy(in[0], take.mix, n * sizeof(float));
    memcpy(in[1], in[0], sizeof in[0]);
    SpecRun spec = at_rest();
    run(&spec);
    double least = 99.0, most = -99.0;
    for (size_t i = 0; i < take.n_labels; i++) {
        const SingerLabel *label = &take.labels[i];
        size_t late = 922, edge = 480; /* 0.8 of 24 ms */
        if (label->kind != SINGER_S || label->end + late > n)
            continue;
        double db =
            signals_rms_db(out[0] + label->start + late + edge,
                           label->end - label->start - 2 * edge) -
            signals_rms_db(in[0] + label->start + edge, label->end - label->start - 2 * edge);
        least = fmin(least, db), most = fmax(most, db);
    }
    printf("/s/ %.2f to %.2f dB\n", least, most);
    ck_assert_double_ge(least, -7.0);
    ck_assert_double_le(most, -5.0);
    singer_free(&take);
}
END_TEST

/* A voice on the edge of breaking: after every 0.1 to 0.3 s it goes on at another pitch, and in
 * half of these stretches every second period is weaker, so that an octave may be read for another.
 * Where marks of periods begin and end in it hangs on the hops. */
static void breaking_voice(uint64_t seed) {
    Random random = random_seeded(seed);
    double phase = 0.0, hz = 200.0, weak = 1.0;
    for (size_t t = 0, left = 0; t < LENGTH; t++, left--) {
        if (left == 0) {
            left = (size_t)((0.1 + 0.2 * random_unit(&random)) * RATE);
            hz = 120.0 * exp2(1.5 * random_unit(&random));
            weak = random_unit(&random) < 0.5 ? 1.0 : 0.4 + 0.5 * random_unit(&random);
        }
        phase = fmod(phase + hz / RATE, 2.0);
        double x = 0.0;
        for (int k = 1; k < 20; k++)
            x += cos(2.0 * PI * k * phase) / k;
        in[0][t] = (float)(0.05 * (phase < 1.0 ? 1.0 : weak) * x);
    }
    memcpy(in[1], in[0], sizeof in[0]);
}

/* How the voices move is a matter of the time since the take first sounded: a take that comes some
 * frames later is as loud at every moment, wherever the analysis has cut it. */
START_TEST(some_frames_of_silence_ahead_leave_the_beats_where_they_were) {
    enum { HOP = RATE / 10 };
    static const size_t later[] = {37, 101, 229};
    SpecRun spec = spec_run(&plugin_spec, RATE, 1);
    for (uint64_t seed = 1; seed <= 3; seed++) {
        double most = 0.0;
        breaking_voice(seed);
        run(&spec);
        memcpy(other[0], out[0], sizeof out[0]);
        for (int k = 0; k < 3; k++) {
            breaking_voice(seed);
            memmove(in[0] + later[k], in[0], (LENGTH - later[k]) * sizeof *in[0]);
            signals_silence(in[0], later[k]);
            run(&spec);
            for (size_t at = HOP; at + later[k] + HOP <= LENGTH; at += HOP)
                most = fmax(most, fabs(signals_rms_db(out[0] + later[k] + at, HOP) -
                                       signals_rms_db(other[0] + at, HOP)));
        }
        printf("seed %u: %.2f dB at most\n", (unsigned)seed, most);
        ck_assert_double_le(most, 1.0);
    }
}
END_TEST

START_TEST(the_same_take_gives_the_same_doubles) {
    hear_singer(2);
    SpecRun spec = spec_run(&plugin_spec, RATE, 2);
    run(&spec);
    memcpy(other, out, sizeof out);
    spec.chunk = 37;
    run(&spec);
    ck_assert(signals_same_bits(out[0], other[0], LENGTH));
    ck_assert(signals_same_bits(out[1], other[1], LENGTH));
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("voice_double");
    tcase_add_test(tcase, with_blend_at_0_it_is_the_input_to_the_bit);
    tcase_add_test(tcase, a_mono_take_gets_two_sides_that_are_neither_it_nor_each_other);
    tcase_add_test(tcase, the_mono_sum_loses_no_octave);
    tcase_add_test(tcase, detune_moves_the_sides_apart_by_so_many_cents);
    tcase_add_test(tcase, delay_moves_the_sides_in_time);
    tcase_add_test(tcase, drift_moves_what_stood_still);
    tcase_add_test(tcase, formant_makes_one_side_brighter_and_the_other_darker);
    tcase_add_test(tcase, width_brings_the_sides_together);
    tcase_add_test(tcase, sibilants_of_doubles_are_6_db_down);
    tcase_add_test(tcase, some_frames_of_silence_ahead_leave_the_beats_where_they_were);
    tcase_add_test(tcase, the_same_take_gives_the_same_doubles);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "voice_double");
}
