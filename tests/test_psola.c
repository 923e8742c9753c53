/* SPDX-License-Identifier: ISC */
#include "run_tcase.h"
#include "signals.h"
#include "singer.h"
#include "sound/psola.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double RATE = 48000.0;
static unsigned char memory[1 << 21];
static PsolaSource source;
static PsolaVoice voice;

typedef struct {
    size_t n;
    float *out, *cover;
} Made;

/* The take at another pitch, aligned with it, in pieces of at most `most` frames. */
static Made shift(const float *take, size_t n, double ratio, double formant, size_t most) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(psola_source_prepare(&source, RATE, 1, 0.0, &arena));
    psola_source_reset(&source);
    psola_voice_reset(&voice);
    size_t late = source.latency, all = n + late;
    float *in = calloc(all, sizeof *in), *cover = calloc(all, sizeof *in);
    Made made = {n, calloc(all, sizeof *in), calloc(all, sizeof *in)};
    ck_assert(in && cover && made.out && made.cover);
    memcpy(in, take, n * sizeof *in);
    for (size_t at = 0, now; at < all; at += now) {
        const float *from = in;
        now = psola_source_room(&source);
        now = now < all - at ? now : all - at;
        now = now < most ? now : most;
        psola_voice_process(&voice, &source, 0, &made.out, cover, at, now);
        uint64_t mark;
        if (psola_source_hear(&source, &from, at, now))
            while (psola_voice_wants(&voice, &source, 0.0, &mark))
                psola_voice_add(&voice, &source, 0.0, ratio, formant);
    }
    for (size_t i = late; i < all; i++) {
        float c = cover[i], dry = in[i - late];
        made.out[i - late] = c > 0.0f ? (1.0f - c) * dry + made.out[i] : dry;
        made.cover[i - late] = c;
    }
    free(in);
    free(cover);
    return made;
}

static void made_free(Made *made) {
    free(made->out);
    free(made->cover);
}

static SingerTake sing(SingerVoice kind, double semitones) {
    SingerParams params = singer_params(kind, RATE, 612);
    SingerTake take;
    params.phrases = 2;
    params.breath_share = params.gap_clicks = params.word_clicks = 0.0;
    params.room_db = -200.0;
    params.note_hz.low *= pow(2.0, semitones / 12.0);
    params.note_hz.high *= pow(2.0, semitones / 12.0);
    ck_assert(singer_take(&params, &take));
    return take;
}

/* But for rounding, and where a chain broke and was mended, within a few periods of a take. */
START_TEST(at_its_own_pitch_a_voice_is_what_it_was) {
    for (int v = 0; v < 2; v++) {
        SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, 0.0);
        Made made = shift(take.mix, take.n, 1.0, 1.0, 256);
        size_t differ = 0;
        for (size_t t = 0; t < take.n; t++)
            differ += fabs((double)made.out[t] - (double)take.mix[t]) > 1e-5;
        printf("%.2f %% of frames differ\n", 100.0 * (double)differ / (double)take.n);
        ck_assert_uint_lt(differ, take.n / 100);
        made_free(&made);
        singer_free(&take);
    }
}
END_TEST

START_TEST(what_is_not_voiced_passes_bit_for_bit) {
    SingerTake take = sing(SINGER_WOMAN, 0.0);
    Made made = shift(take.mix, take.n, 1.3, 1.0, 256);
    size_t hissed = 0, changed = 0;
    for (size_t t = 0; t < take.n; t++)
        ck_assert(made.cover[t] > 0.0f || signals_same_bits(made.out + t, take.mix + t, 1));
    for (size_t i = 0; i < take.n_labels; i++)
        if (take.labels[i].kind == SINGER_S || take.labels[i].kind == SINGER_SH) {
            size_t end = take.labels[i].end - 480;
            for (size_t t = take.labels[i].start + 480; t < end; t++, hissed++)
                changed += made.out[t] != take.mix[t];
        }
    printf("of %zu frames in sibilants %zu changed\n", hissed, changed);
    ck_assert_uint_gt(hissed, 2400);
    ck_assert_uint_le(changed, hissed / 50);
    made_free(&made);
    singer_free(&take);
}
END_TEST

/* Pitch by another method than the marks': what the singer's f0, moved, and pitch.h say of the
 * result, 12 ms later. */
static void judge_pitch(const SingerTake *take, const Made *made, double ratio,
                        double gross_share) {
    static unsigned char room[1 << 16];
    static double off[1 << 16];
    Arena arena = arena_over(room, sizeof room);
    Pitch pitch;
    size_t n = 0, gross = 0;
    ck_assert(pitch_prepare(&pitch, RATE, &(PitchRange){50.0, 1500.0}, &arena));
    pitch_reset(&pitch);
    for (size_t at = 0, now; at < made->n; at += now) {
        now = pitch_until(&pitch);
        now = now < made->n - at ? now : made->n - at;
        if (!pitch_process(&pitch, made->out + at, now) || at < 2000)
            continue;
        size_t then = at + now - 576;
        bool steady = true;
        for (size_t t = then - 1200; t < then + 1200 && t < take->n; t++)
            steady &= take->f0_hz[t] > 0.0f && made->cover[t] == 1.0f;
        if (!steady)
            continue;
        double cents =
            1200.0 * log2((double)pitch_reading(&pitch).hz / ratio / (double)take->f0_hz[then]);
        gross += fabs(cents) > 200.0;
        off[n++] = fabs(cents);
    }
    ck_assert_uint_gt(n, 100);
    double median = signals_quantile(off, n, 0.5);
    printf("ratio %.3f: %.1f cents off, median; %zu of %zu gross\n", ratio, median, gross, n);
    ck_assert_double_lt(median, 8.0);
    ck_assert_double_le((double)gross, gross_share * (double)n);
}

START_TEST(it_is_sung_at_the_pitch_asked_for) {
    static const double semitones[] = {-7.0, -3.0, 1.0, 3.0, 7.0};
    for (int v = 0; v < 2; v++)
        for (int i = 0; i < 5; i++) {
            SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, 0.0);
            double ratio = pow(2.0, semitones[i] / 12.0);
            Made made = shift(take.mix, take.n, ratio, 1.0, 256);
            judge_pitch(&take, &made, ratio, 0.02);
            made_free(&made);
            singer_free(&take);
        }
}
END_TEST

/* High notes an octave up. Readings an octave too low come from what differs between a period and
 * the next: the wrong pitch where each period is sung twice. */
START_TEST(an_octave_up_no_period_is_sung_twice) {
    for (int up = 0; up <= 8; up += 4) {
        SingerTake take = sing(SINGER_WOMAN, up);
        Made made = shift(take.mix, take.n, 2.0, 1.0, 256);
        judge_pitch(&take, &made, 2.0, 0.005);
        made_free(&made);
        singer_free(&take);
    }
}
END_TEST

/* The singer transposed is the truth: same take, same formants, other notes. Third octaves from 250
 * Hz to 8 kHz of the take, their mean level taken out. A band holds one partial or two, and another
 * after the move: 5 dB. */
START_TEST(formants_stay_where_they_were) {
    static const double semitones[] = {-3.0, 3.0, 7.0};
    for (int v = 0; v < 2; v++)
        for (int i = 0; i < 3; i++) {
            SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, 0.0);
            SingerTake twin = sing(v ? SINGER_WOMAN : SINGER_MAN, semitones[i]);
            Made made = shift(take.mix, take.n, pow(2.0, semitones[i] / 12.0), 1.0, 256);
            double apart[16], mean = 0.0, most = 0.0;
            for (int b = 0; b < 16; b++) {
                double low = 250.0 * pow(2.0, (double)b / 3.0 - 1.0 / 6.0),
                       high = low * pow(2.0, 1.0 / 3.0);
                apart[b] = signals_band_db(made.out, take.n, RATE, low, high) -
                           signals_band_db(twin.mix, take.n, RATE, low, high);
                mean += apart[b] / 16.0;
            }
            for (int b = 0; b < 16; b++)
                most = fmax(most, fabs(apart[b] - mean));
            printf("%+.0f semitones: level %.1f dB off, third octaves at most %.1f dB\n",
                   semitones[i], mean, most);
            ck_assert_double_lt(most, 5.0);
            ck_assert_double_lt(fabs(mean), 3.0);
            made_free(&made);
            singer_free(&take);
            singer_free(&twin);
        }
}
END_TEST

/* A pulse through one resonance at 1 kHz, 200 times a second: read 1.6 times as fast its peak is at
 * 1.6 kHz. */
START_TEST(formants_move_when_told_to) {
    enum { N = 48000 };
    static float tone[N];
    signals_silence(tone, N);
    for (size_t t = 0; t < N; t += 240)
        signals_burst_add(tone + t, N - t < 2400 ? N - t : 2400, RATE, 1000.0, 3.0, 0.3);
    Made made = shift(tone, N, 1.0, 1.6, 256);
    double at_1000 = signals_band_db(made.out + N / 4, N / 2, RATE, 900.0, 1100.0);
    double at_1600 = signals_band_db(made.out + N / 4, N / 2, RATE, 1500.0, 1700.0);
    ck_assert_double_gt(at_1600, at_1000 + 6.0);
    made_free(&made);
}
END_TEST

/* Of the take begun some frames later, places of 100 ms within 45 dB of the loudest whose level
 * differs by over 1 dB. */
START_TEST(some_frames_later_a_voice_is_as_loud) {
    static const size_t later[] = {37, 101, 229};
    const size_t hop = 4800;
    size_t places = 0, differ = 0;
    for (int v = 0; v < 2; v++) {
        SingerTake take = sing(v ? SINGER_WOMAN : SINGER_MAN, 0.0);
        Made made = shift(take.mix, take.n, 1.26, 1.0, 256);
        float *moved = calloc(take.n + later[2], sizeof *moved);
        ck_assert(moved != NULL);
        for (int k = 0; k < 3; k++) {
            signals_silence(moved, later[k]);
            memcpy(moved + later[k], take.mix, take.n * sizeof *moved);
            Made other = shift(moved, take.n + later[k], 1.26, 1.0, 256);
            for (size_t at = 0; at + hop <= take.n; at += hop) {
                double one = signals_rms_db(made.out + at, hop);
                double two = signals_rms_db(other.out + at + later[k], hop);
                places += fmax(one, two) > -55.0;
                differ += fmax(one, two) > -55.0 && fabs(one - two) > 1.0;
            }
            made_free(&other);
        }
        free(moved);
        made_free(&made);
        singer_free(&take);
    }
    printf("of %zu places %zu differ\n", places, differ);
    ck_assert_uint_gt(places, 200);
    ck_assert_uint_le(differ, places / 200);
}
END_TEST

/* ---- marks set by hand ---- */

/* A mark every period of 200 frames: all distances are exact. */
static const double PERIOD = 200.0;

static void begin_by_hand(void) {
    Arena arena = arena_over(memory, sizeof memory);
    ck_assert(psola_source_prepare(&source, RATE, 1, 0.0, &arena));
    psola_source_reset(&source);
    psola_voice_reset(&voice);
}

static void set_mark(double at, bool first) {
    PeriodMarks *marks = &source.marks;
    marks->state.kept[marks->state.count++ % PERIOD_MARKS_KEPT] =
        (PeriodMark){.at = at, .period = PERIOD, .likeness = 1.0f, .first = first};
}

static void set_last(bool last) {
    PeriodMarks *marks = &source.marks;
    marks->state.kept[(marks->state.count - 1) % PERIOD_MARKS_KEPT].last = last;
}

/* The next frame put out is that of `now`. */
static void be_at(double now) {
    source.state.frames = (int64_t)source.latency + (int64_t)now;
}

enum { MOST_PLANNED = 4096 };
typedef struct {
    size_t n; /* MOST_PLANNED: it did not end */
    double centre[MOST_PLANNED];
    uint64_t mark[MOST_PLANNED];
} Planned;
static Planned planned;

/* Every grain that is wanted now. */
static void plan(double ratio, bool aligned) {
    uint64_t mark;
    planned.n = 0;
    while (planned.n < MOST_PLANNED && psola_voice_wants(&voice, &source, 0.0, &mark)) {
        if (aligned)
            psola_voice_align(&voice, &source);
        planned.mark[planned.n] = mark;
        planned.centre[planned.n++] = voice.state.next;
        psola_voice_add(&voice, &source, 0.0, ratio, 1.0);
    }
}

/* Ten marks, at 1000 to 2800, of which the last one ends the run; sung until the voice has left
 * it. */
static void sing_ten_and_leave(double ratio) {
    begin_by_hand();
    for (int k = 0; k < 10; k++)
        set_mark(1000.0 + k * PERIOD, k == 0);
    set_last(true);
    for (double now = 800.0; now < 3100.0; now += 48.0) {
        be_at(now);
        plan(ratio, false);
    }
    ck_assert(!voice.state.in_run);
}

/* Grains of the first run lie at 1000 + k 200 / ratio. The run that is joined to it keeps to these
 * places, so that no step shows in the pitch; rounding of 30 sums in double. */
START_TEST(a_run_joined_to_one_that_was_left_goes_on_as_far_from_its_marks) {
    static const double ratios[] = {0.84, 1.1, 1.37};
    for (int i = 0; i < 3; i++) {
        sing_ten_and_leave(ratios[i]);
        set_last(false);
        for (int k = 10; k < 20; k++)
            set_mark(1000.0 + k * PERIOD, false);
        plan(ratios[i], false);
        ck_assert_uint_gt(planned.n, 0);
        double steps = (planned.centre[0] - 1000.0) * ratios[i] / PERIOD;
        ck_assert_double_le(fabs(steps - rint(steps)), 1e-9);
        ck_assert(fabs(planned.centre[0] - 1000.0 - rint(steps) * PERIOD) > 1.0);
    }
}
END_TEST

START_TEST(a_run_of_its_own_begins_at_its_first_mark) {
    sing_ten_and_leave(1.37);
    for (int k = 10; k < 20; k++)
        set_mark(1000.0 + k * PERIOD, k == 10);
    plan(1.37, false);
    ck_assert_uint_gt(planned.n, 0);
    ck_assert(planned.centre[0] == 3000.0 && planned.mark[0] == 10);
}
END_TEST

/* A fall that was planned and has not begun is taken back where the run goes on: all stays
 * covered. */
START_TEST(a_run_joined_before_its_end_was_heard_does_not_fall) {
    static float cover[4096];
    begin_by_hand();
    for (int k = 0; k < 10; k++)
        set_mark(1000.0 + k * PERIOD, k == 0);
    set_last(true);
    /* At 2700 the fall from 2800 on is planned. The next grain lies at 1000 + 9 x 200 / 0.84 = 3143
     * and rises from 2943. */
    for (double now = 800.0; now <= 2700.0; now += 10.0) {
        be_at(now);
        psola_voice_process(&voice, &source, 0, NULL, cover, 0, 10);
        plan(0.84, false);
    }
    ck_assert(!voice.state.in_run);
    set_last(false);
    for (int k = 10; k < 20; k++)
        set_mark(1000.0 + k * PERIOD, false);
    for (double now = 2710.0; now < 4500.0; now += 10.0) {
        be_at(now);
        psola_voice_process(&voice, &source, 0, NULL, cover, 0, 10);
        for (int i = 0; i < 10; i++)
            ck_assert_msg(cover[i] == 1.0f, "%g covered at %g", (double)cover[i], now + i);
        plan(0.84, false);
    }
}
END_TEST

/* Where no later mark is known the grain after the last one is still nearest to it. Led back to it
 * each time it would be wanted for ever. */
START_TEST(a_voice_led_to_its_marks_is_given_each_grain_once) {
    begin_by_hand();
    for (int k = 0; k < 3; k++)
        set_mark(1000.0 + k * PERIOD, k == 0);
    be_at(1400.0);
    plan(1.0, true);
    ck_assert_uint_lt(planned.n, 8);
    for (size_t i = 1; i < planned.n; i++)
        ck_assert_double_gt(planned.centre[i], planned.centre[i - 1]);
}
END_TEST

/* A voice that was not asked while many runs went by goes on from half of the marks that are kept:
 * so many grains at the most, at `ratio` times as many, and none of a mark that is kept no more. */
START_TEST(a_voice_that_was_left_behind_has_a_bounded_number_of_grains_to_plan) {
    const size_t count = 8 * PERIOD_MARKS_KEPT + 17;
    static const double ratios[] = {0.25, 1.0, 4.0};
    for (int i = 0; i < 3; i++) {
        begin_by_hand();
        for (size_t k = 0; k < count; k++)
            set_mark(1000.0 + (double)k * PERIOD, k == 0);
        be_at(1000.0 + (double)count * PERIOD);
        plan(ratios[i], false);
        ck_assert_uint_gt(planned.n, 0);
        ck_assert_uint_ge(planned.mark[0], count - PERIOD_MARKS_KEPT / 2);
        ck_assert_double_le((double)planned.n, (0.5 * PERIOD_MARKS_KEPT + 2.0) * ratios[i] + 2.0);
    }
}
END_TEST

START_TEST(any_cutting_gives_the_same_bits) {
    SingerTake take = sing(SINGER_MAN, 0.0);
    size_t n = take.n < 144000 ? take.n : 144000;
    Made made = shift(take.mix, n, 1.23, 1.1, 256), pieces = shift(take.mix, n, 1.23, 1.1, 1);
    ck_assert(signals_same_bits(made.out, pieces.out, n));
    made_free(&pieces);
    pieces = shift(take.mix, n, 1.23, 1.1, 29);
    ck_assert(signals_same_bits(made.out, pieces.out, n));
    made_free(&pieces);
    made_free(&made);
    singer_free(&take);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("psola");
    tcase_add_test(tcase, at_its_own_pitch_a_voice_is_what_it_was);
    tcase_add_test(tcase, what_is_not_voiced_passes_bit_for_bit);
    tcase_add_test(tcase, it_is_sung_at_the_pitch_asked_for);
    tcase_add_test(tcase, an_octave_up_no_period_is_sung_twice);
    tcase_add_test(tcase, formants_stay_where_they_were);
    tcase_add_test(tcase, formants_move_when_told_to);
    tcase_add_test(tcase, some_frames_later_a_voice_is_as_loud);
    tcase_add_test(tcase, a_run_joined_to_one_that_was_left_goes_on_as_far_from_its_marks);
    tcase_add_test(tcase, a_run_of_its_own_begins_at_its_first_mark);
    tcase_add_test(tcase, a_run_joined_before_its_end_was_heard_does_not_fall);
    tcase_add_test(tcase, a_voice_led_to_its_marks_is_given_each_grain_once);
    tcase_add_test(tcase, a_voice_that_was_left_behind_has_a_bounded_number_of_grains_to_plan);
    tcase_add_test(tcase, any_cutting_gives_the_same_bits);
    tcase_set_timeout(tcase, 60);
    return run_tcase(tcase, "psola");
}
