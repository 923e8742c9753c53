/* SPDX-License-Identifier: ISC */
/* The ride: one gain a phrase, from the whole take. The takes are the test singer's, whose phrases
 * are known; what is judged is what its lane does to them. */
#include "measure/true_peak.h"
#include "singer.h"
#include "siskin/edit/ride.h"
#include "siskin/tests/run_siskin.h"

enum { MOST_PHRASES = 64, RATE_HZ = 48000 };

static const RideParams usual = {.range_db = RIDE_RANGE_DB, .strength = 1.0, .target_lufs = NAN};

typedef struct {
    SingerTake take;
    RidePhrase truth[MOST_PHRASES];
    size_t n;
    Envelope envelope;
    Ride ride;
    Lane lane;
} Ridden;

static Ridden ridden;

/* Sung times of the labelled phrases: first to last voiced frame. */
static void find_phrases(Ridden *r) {
    r->n = 0;
    for (size_t i = 0; i < r->take.n_labels; i++) {
        const SingerLabel *label = &r->take.labels[i];
        if (label->kind == SINGER_PHRASE && r->n < MOST_PHRASES)
            r->truth[r->n++] = (RidePhrase){.start_s = (double)label->start / RATE_HZ,
                                            .end_s = (double)label->end / RATE_HZ,
                                            .lufs = (double)NAN};
    }
}

/* Phrases in turn up and down by `apart_db`, the gain changing in the middle of each gap. */
static void make_uneven(Ridden *r, double apart_db) {
    size_t phrase = 0;
    for (size_t i = 0; i < r->take.n; i++) {
        double at_s = (double)i / RATE_HZ;
        while (phrase + 1 < r->n &&
               at_s > 0.5 * (r->truth[phrase].end_s + r->truth[phrase + 1].start_s))
            phrase++;
        double gain_db = phrase % 2 ? -apart_db : apart_db;
        r->take.mix[i] = (float)((double)r->take.mix[i] * pow(10.0, gain_db / 20.0));
    }
}

static void write_take(const char *path, const SingerTake *take) {
    Sound sound = make_sound(1, (sf_count_t)take->n, RATE_HZ);
    memcpy(sound.audio, take->mix, take->n * sizeof(float));
    write_wav(path, &sound);
    free(sound.audio);
}

static Ridden *ride(SingerVoice voice, uint64_t seed, double apart_db, const RideParams *params) {
    Ridden *r = &ridden;
    HostError error;
    SingerParams singer = singer_params(voice, RATE_HZ, seed);
    singer.phrases = 8;
    ck_assert(singer_take(&singer, &r->take));
    find_phrases(r);
    make_uneven(r, apart_db);
    write_take("take.wav", &r->take);
    ck_assert_msg(envelope_read(&r->envelope, "take.wav", &error), "%s", error.text);
    ride_plan(&r->ride, &r->envelope, r->truth, r->n, params);
    ride_lane(&r->ride, &r->lane);
    return r;
}

static void leave(Ridden *r) {
    singer_free(&r->take);
    envelope_free(&r->envelope);
    ride_free(&r->ride);
    lane_free(&r->lane);
}

static double spread(const double *value, size_t n) {
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += value[i];
    for (size_t i = 0; i < n; i++)
        squares += (value[i] - sum / (double)n) * (value[i] - sum / (double)n);
    return sqrt(squares / (double)(n - 1));
}

/* Target of the design: the spread of phrase levels falls by 85 % and more. Measured apart from the
 * unit: root mean square of each labelled phrase before and after. */
START_TEST(uneven_phrases_come_to_one_level) {
    for (uint64_t seed = 1; seed <= 4; seed++) {
        Ridden *r = ride(seed % 2 ? SINGER_WOMAN : SINGER_MAN, 7100 + seed, 6.0, &usual);
        double before[MOST_PHRASES], after[MOST_PHRASES];
        ck_assert_uint_ge(r->n, 6);
        for (size_t k = 0; k < r->n; k++) {
            double in = 0.0, out = 0.0;
            for (size_t i = (size_t)(r->truth[k].start_s * RATE_HZ);
                 i < (size_t)(r->truth[k].end_s * RATE_HZ); i++) {
                double x = (double)r->take.mix[i];
                double g = pow(10.0, lane_value(&r->lane, (double)i / RATE_HZ) / 20.0);
                in += x * x;
                out += g * g * x * x;
            }
            before[k] = 10.0 * log10(in / (r->truth[k].end_s - r->truth[k].start_s));
            after[k] = 10.0 * log10(out / (r->truth[k].end_s - r->truth[k].start_s));
        }
        /* RMS is not loudness: vowels differ by what K-weighting makes of them, some tenths. */
        ck_assert_msg(spread(after, r->n) <= 0.15 * spread(before, r->n) + 0.7,
                      "seed %d: spread %.2f dB, was %.2f", (int)seed, spread(after, r->n),
                      spread(before, r->n));
        ck_assert_double_le(r->ride.left_db, 0.15 * r->ride.spread_db);
        leave(r);
    }
}
END_TEST

static double true_peak_of(const float *audio, size_t n) {
    TruePeak peak;
    true_peak_prepare(&peak, 1);
    true_peak_process(&peak, &audio, n);
    return (double)true_peak_true(&peak);
}

/* In true peak, as files are handed over by. A slope of 12 dB in 30 ms changes what lies between
 * samples by less than 1e-3. */
START_TEST(the_ride_peaks_no_higher_than_the_take) {
    for (uint64_t seed = 1; seed <= 6; seed++) {
        const RideParams far = {.range_db = 24.0, .strength = 1.0, .target_lufs = -6.0};
        Ridden *r = ride(SINGER_WOMAN, 7200 + seed, 5.0, seed % 2 ? &usual : &far);
        double raw = true_peak_of(r->take.mix, r->take.n);
        for (size_t i = 0; i < r->take.n; i++)
            r->take.mix[i] *= (float)pow(10.0, lane_value(&r->lane, (double)i / RATE_HZ) / 20.0);
        double peak = true_peak_of(r->take.mix, r->take.n);
        ck_assert_msg(peak <= raw * (1.0 + 1e-3), "seed %d: %.3f dB over the take's peak",
                      (int)seed, 20.0 * log10(peak / raw));
        leave(r);
    }
}
END_TEST

START_TEST(the_gain_stands_within_each_phrase) {
    Ridden *r = ride(SINGER_MAN, 7301, 6.0, &usual);
    ck_assert_uint_eq(r->ride.n, r->n);
    for (size_t k = 0; k < r->n; k++) {
        double at_start = lane_value(&r->lane, r->truth[k].start_s);
        size_t ms = (size_t)(1e3 * (r->truth[k].end_s - r->truth[k].start_s));
        for (size_t i = 0; i <= ms; i++)
            ck_assert_double_eq(lane_value(&r->lane, r->truth[k].start_s + 1e-3 * (double)i),
                                at_start);
    }
    leave(r);
}
END_TEST

START_TEST(gains_keep_to_their_range) {
    const RideParams narrow = {.range_db = 3.0, .strength = 1.0, .target_lufs = NAN};
    Ridden *r = ride(SINGER_MAN, 7401, 6.0, &narrow);
    size_t held = 0;
    for (size_t k = 0; k < r->ride.n; k++) {
        /* a tenth: gains are rounded down to whole tenths */
        ck_assert_double_le(fabs(r->ride.phrases[k].gain_db), 3.0 + 0.1 + 1e-9);
        held += r->ride.phrases[k].held;
    }
    ck_assert_uint_gt(held, 0);
    leave(r);
}
END_TEST

START_TEST(half_the_strength_goes_half_the_way) {
    const RideParams half = {.range_db = RIDE_RANGE_DB, .strength = 0.5, .target_lufs = -30.0};
    const RideParams whole = {.range_db = 24.0, .strength = 1.0, .target_lufs = -30.0};
    Ridden *r = ride(SINGER_WOMAN, 7501, 2.0, &half);
    Ride other;
    ride_plan(&other, &r->envelope, r->truth, r->n, &whole);
    for (size_t k = 0; k < r->ride.n; k++)
        if (!r->ride.phrases[k].held && !other.phrases[k].held)
            /* both are rounded down, to 0.1 dB each */
            ck_assert_double_eq_tol(r->ride.phrases[k].gain_db, 0.5 * other.phrases[k].gain_db,
                                    0.1 + 1e-9);
    ride_free(&other);
    leave(r);
}
END_TEST

/* A tone in two halves 9.5 dB apart with a dip of 40 ms and -20 dB between them: one phrase to who
 * looks for pauses, two for the fader; and it moves within the dip. */
START_TEST(phrases_that_touch_are_parted_at_their_softest) {
    Sound sound = make_sound(1, (sf_count_t)4 * RATE_HZ, RATE_HZ);
    for (int i = 0; i < 4 * RATE_HZ; i++) {
        double t = (double)i / RATE_HZ;
        double a = t < 2.0 ? 0.1 : 0.3;
        if (t > 1.98 && t < 2.02)
            a = 0.01;
        sound.audio[i] = (float)(a * sin(2.0 * M_PI * 440.0 * t));
    }
    write_wav("tone.wav", &sound);
    free(sound.audio);
    Envelope envelope;
    HostError error;
    ck_assert(envelope_read(&envelope, "tone.wav", &error));
    const RidePhrase whole = {.start_s = 0.05, .end_s = 3.95, .lufs = (double)NAN};
    Ride r;
    ride_plan(&r, &envelope, &whole, 1, &usual);
    ck_assert_uint_eq(r.n, 2);
    ck_assert_double_ge(r.phrases[0].to_s, 1.97);
    ck_assert_double_le(r.phrases[1].from_s, 2.03);
    ck_assert_double_eq_tol(r.phrases[1].lufs - r.phrases[0].lufs, 20.0 * log10(3.0), 0.2);
    ck_assert_double_eq_tol(r.phrases[0].gain_db - r.phrases[1].gain_db, 20.0 * log10(3.0), 0.3);
    ride_free(&r);
    envelope_free(&envelope);
}
END_TEST

START_TEST(nothing_sung_is_an_empty_ride) {
    Sound sound = make_sound(2, RATE_HZ, RATE_HZ);
    write_wav("silence.wav", &sound);
    free(sound.audio);
    Envelope envelope;
    HostError error;
    ck_assert(envelope_read(&envelope, "silence.wav", &error));
    Ride r;
    ride_plan(&r, &envelope, NULL, 0, &usual);
    ck_assert_uint_eq(r.n, 0);
    const RidePhrase silent = {.start_s = 0.1, .end_s = 0.9, .lufs = (double)NAN};
    ride_plan(&r, &envelope, &silent, 1, &usual);
    ck_assert_uint_eq(r.n, 0);
    ride_free(&r);
    envelope_free(&envelope);
}
END_TEST

/* Twice the gain ahead of it: the same gains, since all is relative to the take. */
START_TEST(the_take_may_be_louder) {
    Ridden *r = ride(SINGER_WOMAN, 7601, 6.0, &usual);
    Ride first = r->ride;
    r->ride = (Ride){0};
    for (size_t i = 0; i < r->take.n; i++)
        r->take.mix[i] *= 0.25f;
    write_take("softer.wav", &r->take);
    Envelope softer;
    HostError error;
    ck_assert(envelope_read(&softer, "softer.wav", &error));
    ride_plan(&r->ride, &softer, r->truth, r->n, &usual);
    ck_assert_uint_eq(r->ride.n, first.n);
    for (size_t k = 0; k < first.n; k++)
        ck_assert_double_eq_tol(r->ride.phrases[k].gain_db, first.phrases[k].gain_db, 0.1 + 1e-9);
    ride_free(&first);
    envelope_free(&softer);
    leave(r);
}
END_TEST

/* ---- the command ---- */

/* Every sample of the render is the take's, times the lane that was printed: what is read back from
 * text is what was meant. A thousandth of a second and a tenth of a dB are written. */
START_TEST(what_is_printed_renders_as_it_says) {
    Ridden *r = ride(SINGER_WOMAN, 7701, 6.0, &usual);
    ck_assert_ran("ride --quiet take.wav");
    write_text("ride.chain", ran.out);
    ck_assert_ran("render --chain ride.chain take.wav out.wav");
    ck_assert_ran("ride --quiet --lane take.wav");
    ck_assert_int_eq(strncmp(ran.out, "lane ride line\n", 15), 0);
    write_text("ride.lane", ran.out + 10); /* "line" and the points */
    Lane lane;
    HostError error;
    ck_assert_msg(lane_load(&lane, "ride.lane", &error), "%s", error.text);
    ck_assert_uint_ge(lane.n, 2 * (size_t)6);
    Sound out = read_sound("out.wav");
    double raw = 0.0, peak = 0.0;
    for (size_t i = 0; i < r->take.n; i++) {
        double gain = pow(10.0, lane_value(&lane, (double)i / RATE_HZ) / 20.0);
        /* 12 dB over 30 ms at most: 0.5 dB in 64 frames, off by 0.5^2 / 70 dB */
        ck_assert_double_eq_tol((double)out.audio[i], gain * (double)r->take.mix[i], 1e-3);
        raw = fmax(raw, fabs((double)r->take.mix[i]));
        peak = fmax(peak, fabs((double)out.audio[i]));
    }
    ck_assert_double_le(peak, raw * 1.01);
    free(out.audio);
    lane_free(&lane);
    leave(r);
}
END_TEST

START_TEST(one_phrase_lies_apart_from_none) {
    SingerTake sung;
    SingerParams params = singer_params(SINGER_WOMAN, RATE_HZ, 7703);
    params.score = "la-mu na";
    ck_assert(singer_take(&params, &sung));
    Sound sound = make_sound(1, (sf_count_t)sung.n, RATE_HZ);
    memcpy(sound.audio, sung.mix, sung.n * sizeof(float));
    write_wav("take.wav", &sound);
    ck_assert_ran("ride --quiet take.wav");
    ck_assert_int_eq(strncmp(ran.out, "# Only one phrase: at -", 23), 0);
    free(sound.audio);
    singer_free(&sung);
}
END_TEST

/* From its softest to its loudest gain, dB. */
static double reach_db(const char *options) {
    double least, greatest;
    Lane lane;
    HostError error;
    ck_assert_msg(run("ride --quiet --lane %s take.wav", options) == 0, "%s", ran.err);
    write_text("ride.lane", ran.out + 10);
    ck_assert_msg(lane_load(&lane, "ride.lane", &error), "%s", error.text);
    lane_range(&lane, &least, &greatest);
    lane_free(&lane);
    return greatest - least;
}

/* Phrases 6 dB up and down lie 12 dB apart, less what the singer does; gains are written to 0.1
 * dB. */
START_TEST(the_options_reach_the_ride) {
    Ridden *r = ride(SINGER_MAN, 7702, 6.0, &usual);
    double whole = reach_db("");
    ck_assert_double_gt(whole, 6.0);
    ck_assert_double_eq_tol(reach_db("--strength 50"), whole / 2.0, 0.15);
    ck_assert_double_eq(reach_db("--strength 0"), 0.0);
    ck_assert_double_le(reach_db("--range 1"), 2.0);
    ck_assert_double_gt(reach_db("--range 1"), 0.9);
    leave(r);
}
END_TEST

START_TEST(what_cannot_be_ridden_is_named) {
    Sound sound = make_sound(1, RATE_HZ, RATE_HZ);
    write_wav("silence.wav", &sound);
    free(sound.audio);
    check_refused("ride --quiet silence.wav", 1, "silence.wav: no phrase was found");
    check_refused("ride --quiet absent.wav", 1, "absent.wav");
    check_refused("ride", 2, "name one TAKE");
    check_refused("ride a.wav b.wav", 2, "name one TAKE");
    check_refused("ride --range 30 silence.wav", 2, "--range 30: allowed are 0 to 24");
    check_refused("ride --target loud silence.wav", 2, "--target loud: allowed are -60 to 0");
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("ride");
    tcase_add_test(tcase, uneven_phrases_come_to_one_level);
    tcase_add_test(tcase, the_ride_peaks_no_higher_than_the_take);
    tcase_add_test(tcase, the_gain_stands_within_each_phrase);
    tcase_add_test(tcase, gains_keep_to_their_range);
    tcase_add_test(tcase, half_the_strength_goes_half_the_way);
    tcase_add_test(tcase, phrases_that_touch_are_parted_at_their_softest);
    tcase_add_test(tcase, nothing_sung_is_an_empty_ride);
    tcase_add_test(tcase, the_take_may_be_louder);
    tcase_add_test(tcase, what_is_printed_renders_as_it_says);
    tcase_add_test(tcase, one_phrase_lies_apart_from_none);
    tcase_add_test(tcase, the_options_reach_the_ride);
    tcase_add_test(tcase, what_cannot_be_ridden_is_named);
    return run_suite(tcase, "ride");
}
