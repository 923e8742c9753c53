/* SPDX-License-Identifier: ISC */
/* siskin report: the page as a file, and what it is made of. */
#include "siskin/advise/rules.h"
#include "siskin/measure/take.h"
#include "siskin/page/gain.h"
#include "siskin/page/look.h"
#include "siskin/page/rate.h"
#include "siskin/page/sound.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"
#include "siskin/tests/page_take.h"
#include "siskin/text.h"

#include <zlib.h>

static const double pi = 3.14159265358979323846;

/* ---- helpers ---- */

static size_t count_text(const char *in, const char *what) {
    size_t count = 0;
    for (const char *at = in; (at = strstr(at, what)); at += strlen(what))
        count++;
    return count;
}

/* ---- text, pictures ---- */

/* RFC 4648, section 10. */
START_TEST(base_64_is_that_of_the_rfc) {
    static const char *const plain[] = {"", "f", "fo", "foo", "foob", "fooba", "foobar"};
    static const char *const coded[] = {"",         "Zg==",     "Zm8=",    "Zm9v",
                                        "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"};
    for (size_t i = 0; i < 7; i++) {
        char *text = page_base64(plain[i], strlen(plain[i]));
        ck_assert_str_eq(text, coded[i]);
        free(text);
    }
}
END_TEST

START_TEST(text_becomes_no_markup) {
    char out[256] = "";
    FILE *to = fmemopen(out, sizeof out, "w");
    page_escape(to, "<a href=\"x\" id='y'>&\x01\xFF\xC3\xA9");
    fclose(to);
    ck_assert_str_eq(out, "&lt;a href=&quot;x&quot; id=&#39;y&#39;&gt;&amp;\xEF\xBF\xBD\xEF\xBF\xBD"
                          "\xC3\xA9");
}
END_TEST

static uint32_t read32(const unsigned char *at) {
    return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

/* Read back by the PNG specification: chunks with their CRC, one deflate stream, rows with filter 1
 * (each byte over its left neighbour). */
START_TEST(a_picture_can_be_read_back) {
    enum { W = 37, H = 5 };
    uint8_t grey[H * W];
    unsigned char lines[H * (W + 1)];
    Random random = random_seeded(4);
    for (size_t i = 0; i < sizeof grey; i++)
        grey[i] = (uint8_t)random_range(&random, 0.0, 256.0);
    size_t bytes = 0;
    unsigned char *png = page_png(grey, W, H, &bytes);
    ck_assert_int_eq(memcmp(png, "\x89PNG\r\n\x1a\n", 8), 0);
    uLongf size = sizeof lines;
    size_t chunks = 0;
    for (size_t at = 8; at < bytes; chunks++) {
        uint32_t n = read32(png + at);
        ck_assert_uint_eq(crc32(0, png + at + 4, n + 4), read32(png + at + 8 + n));
        if (memcmp(png + at + 4, "IHDR", 4) == 0) {
            ck_assert_uint_eq(read32(png + at + 8), W);
            ck_assert_uint_eq(read32(png + at + 12), H);
        }
        if (memcmp(png + at + 4, "IDAT", 4) == 0)
            ck_assert_int_eq(uncompress(lines, &size, png + at + 8, n), Z_OK);
        at += 12 + n;
    }
    ck_assert_uint_eq(chunks, 3);
    ck_assert_uint_eq(size, sizeof lines);
    for (size_t r = 0; r < H; r++) {
        ck_assert_uint_eq(lines[r * (W + 1)], 1);
        uint8_t left = 0;
        for (size_t c = 0; c < W; c++) {
            left = (uint8_t)(left + lines[r * (W + 1) + c + 1]);
            ck_assert_uint_eq(left, grey[r * W + c]);
        }
    }
    free(png);
}
END_TEST

/* ---- rates ---- */

/* The largest error against the sine itself, away from the ends, in dB of its amplitude. A sine
 * that the new rate cannot hold should be nothing. */
static double sine_error_db(uint64_t from_hz, uint64_t to_hz, double hz, bool held) {
    enum { SECONDS_10 = 3 }; /* tenths of a second */
    size_t n = (size_t)from_hz * SECONDS_10 / 10, made = (size_t)to_hz * SECONDS_10 / 10;
    float *x = calloc(n, sizeof *x), *y = calloc(made, sizeof *y);
    Rate rate;
    double worst = 1e-9;
    for (size_t i = 0; i < n; i++)
        x[i] = (float)sin(2.0 * pi * hz * (double)i / (double)from_hz);
    rate_open(&rate, from_hz, to_hz);
    /* In two pieces that begin in the middle of the old frames, as parts of a page do. */
    size_t half = made / 2;
    rate_make(&rate, x, 0, n, 0, y, half);
    size_t begin = (size_t)(half * from_hz / to_hz) - 200;
    rate_make(&rate, x + begin, begin, n - begin, half, y + half, made - half);
    for (size_t i = made / 4; i < 3 * made / 4; i++) {
        double wanted = held ? sin(2.0 * pi * hz * (double)i / (double)to_hz) : 0.0;
        worst = fmax(worst, fabs((double)y[i] - wanted));
    }
    rate_close(&rate);
    free(x);
    free(y);
    return 20.0 * log10(worst);
}

/* Kaiser's formula for beta 8: 0.1102 (A - 8.7) = 8, so A = 81 dB; 75 leaves room for float. */
START_TEST(another_rate_keeps_a_sine_and_loses_what_it_cannot_hold) {
    ck_assert_double_le(sine_error_db(44100, 48000, 997.0, true), -75.0);
    ck_assert_double_le(sine_error_db(44100, 48000, 0.86 * 22050.0, true), -75.0);
    ck_assert_double_le(sine_error_db(96000, 48000, 0.86 * 24000.0, true), -75.0);
    ck_assert_double_le(sine_error_db(22050, 24000, 5000.0, true), -75.0);
    ck_assert_double_le(sine_error_db(96000, 48000, 30000.0, false), -75.0);
    ck_assert_double_le(sine_error_db(192000, 48000, 25000.0, false), -75.0);
}
END_TEST

/* ---- gains ---- */

START_TEST(gains_come_from_reductions_and_from_what_can_raise) {
    Gains gains;
    HostError error;
    write_text("t.csv",
               "time_s,de-esser.reduction,de-esser.centre,\"lead: a, \"\"b\"\".reduction\","
               "phrase-leveller 2.reduction,phrase-leveller 2.gain\n"
               "0.000000,0,7000,1,0,2\n"
               "0.005000,3,7000,,1,-1\n"
               "0.010000,1,7000,4,0,0\n");
    ck_assert(gains_read(&gains, "t.csv", 0.005, &error));
    ck_assert_uint_eq(gains.n_curves, 3);
    ck_assert_uint_eq(gains.rows, 3);
    ck_assert_str_eq(gains.curves[1].label, "lead: a, \"b\"");
    ck_assert_float_eq(gains.curves[0].db[1], -3.0f);
    ck_assert_float_eq(gains.curves[2].db[0], 2.0f);
    ck_assert(isnan(gains.curves[1].db[1]));
    ck_assert_double_eq(gains_most_cut(&gains, &gains.curves[0], 0.0, 0.004), 0.0);
    ck_assert_double_eq(gains_most_cut(&gains, &gains.curves[0], 0.0, 0.006), 3.0);
    ck_assert_double_eq(gains_most_cut(&gains, &gains.curves[2], -1.0, 9.0), 1.0);
    ck_assert_ptr_eq(gains_of(&gains, "phrase-leveller"), &gains.curves[2]);
    ck_assert_ptr_null(gains_of(&gains, "phrase"));
    float db[2];
    gains_fold(&gains, &gains.curves[0], db, 2);
    ck_assert_float_eq(db[0], -3.0f);
    ck_assert_float_eq(db[1], -1.0f);
    gains_free(&gains);
}
END_TEST

START_TEST(a_fader_that_moves_is_a_curve_with_and_without_a_trace) {
    LanePoint points[] = {{0.0, -3.0}, {0.01, 5.0}};
    const Lane lane = {.line = true, .points = points, .n = 2};
    Gains gains;
    HostError error;
    write_text("t.csv", "time_s,de-esser.reduction\n0,0\n0.005,3\n0.010,1\n0.015,1\n");
    ck_assert(gains_read(&gains, "t.csv", 0.005, &error));
    gains_add_lane(&gains, "lead: fader", &lane, 9.0);
    ck_assert_uint_eq(gains.rows, 4);
    ck_assert_uint_eq(gains.n_curves, 2);
    ck_assert_float_eq(gains.curves[1].db[0], -3.0f);
    ck_assert_float_eq_tol(gains.curves[1].db[1], 1.0f, 1e-6f);
    ck_assert_float_eq(gains.curves[1].db[3], 5.0f);
    gains_free(&gains);
    gains = (Gains){.step_s = 0.005};
    gains_add_lane(&gains, "lead: fader", &lane, 0.02);
    ck_assert_uint_eq(gains.rows, 5);
    gains_free(&gains);
}
END_TEST

/* ---- what is drawn ---- */

/* A sine of 0.5 from 1.0 to 1.5 s: its place in time, on the mel scale, and its level, a mean
 * square of 0.125 = -9.0 dB; a Hann window between two bins reads up to 1.42 dB less (Harris,
 * 1978). */
START_TEST(a_tone_is_drawn_where_and_as_loud_as_it_is) {
    enum { N = 2 * 48000 };
    const double hz = 3000.0;
    float *x = calloc(N, sizeof *x);
    const float *in[] = {x, x};
    Look look;
    for (size_t i = 48000; i < 72000; i++)
        x[i] = (float)(0.5 * sin(2.0 * pi * hz * (double)i / 48000.0));
    ck_assert(look_open(&look, 48000.0, 1, N));
    for (size_t at = 0; at < N; at += 997)
        look_hear(&look, (const float *[]){in[0] + at, in[1] + at}, N - at < 997 ? N - at : 997);
    look_finish(&look);
    const LookSpectrum *s = &look.spectrum;
    ck_assert_uint_eq(s->columns, 200);
    size_t row = 0;
    for (size_t r = 0; r < LOOK_ROWS; r++)
        row = s->level[r * s->columns + 125] > s->level[row * s->columns + 125] ? r : row;
    double low = log1p(60.0 / 700.0), high = log1p(20000.0 / 700.0);
    double share = (log1p(hz / 700.0) - low) / (high - low);
    ck_assert_double_eq_tol((double)row, LOOK_ROWS * (1.0 - share) - 0.5, 1.0);
    double db = LOOK_LOW_DB + LOOK_LEVEL_STEP_DB * (s->level[row * s->columns + 125] + 0.5);
    ck_assert_double_eq_tol(db, -9.0, 1.42 + 0.75);
    ck_assert_uint_eq(s->level[row * s->columns + 95], 0);
    ck_assert_uint_eq(s->level[row * s->columns + 155], 0);
    size_t wave = look.n_waves * 5 / 8;
    /* 12 frames a column, a period of 16: two columns hold both extremes. */
    ck_assert_float_eq_tol(fmaxf(look.most[wave], look.most[wave + 1]), 0.5f, 0.01f);
    ck_assert_float_eq_tol(fminf(look.least[wave], look.least[wave + 1]), -0.5f, 0.01f);
    ck_assert_float_eq(look.most[look.n_waves / 4], 0.0f);
    look_close(&look);
    free(x);
}
END_TEST

/* A window whose middle lies past the end is heard to its end, and belongs to no column: not to the
 * first of the row below. */
START_TEST(what_sounds_at_the_end_is_not_drawn_at_the_start) {
    enum { N = 48000 };
    float *x = calloc(N, sizeof *x);
    const float *in[] = {x, x};
    Look look;
    for (size_t i = N - 4800; i < N; i++)
        x[i] = i % 64 ? 0.0f : 0.9f; /* pulses: in every row */
    ck_assert(look_open(&look, 48000.0, 1, N));
    look_hear(&look, in, N);
    look_finish(&look);
    const LookSpectrum *s = &look.spectrum;
    uint8_t loudest = 0;
    for (size_t row = 0; row < LOOK_ROWS; row++) {
        ck_assert_uint_eq(s->level[row * s->columns], 0);
        uint8_t last = s->level[row * s->columns + s->columns - 1];
        loudest = last > loudest ? last : loudest;
    }
    ck_assert_uint_gt(loudest, 20);
    look_close(&look);
    free(x);
}
END_TEST

/* EBU Tech 3341, case 1: a stereo sine of 1 kHz at -23 dBFS (peak) reads -23.0 LUFS, within 0.1. */
START_TEST(loudness_over_time_is_that_of_the_standard) {
    enum { N = 8 * 48000 };
    float *x = calloc(N, sizeof *x);
    const float *in[] = {x, x};
    Look look;
    for (size_t i = 0; i < N; i++)
        x[i] = (float)(pow(10.0, -23.0 / 20.0) * sin(2.0 * pi * 1000.0 * (double)i / 48000.0));
    ck_assert(look_open(&look, 48000.0, 2, N));
    look_hear(&look, in, N);
    look_finish(&look);
    size_t last = (size_t)(6.5 / look.loudness.step_s);
    ck_assert(isnan(look.loudness.lufs[14]));
    for (size_t i = 16; i <= last; i++)
        ck_assert_double_eq_tol((double)look.loudness.lufs[i], -23.0, 0.1);
    ck_assert(isnan(look.loudness.lufs[last + 1]));
    look_close(&look);
    free(x);
}
END_TEST

/* ---- what is heard ---- */

static Sound read_part(const Sounds *sounds, size_t part, SoundTrack track) {
    FILE *file = fopen("part", "wb");
    ck_assert_ptr_nonnull(file);
    fwrite(sounds->parts[part].track[track].bytes, 1, sounds->parts[part].track[track].n, file);
    ck_assert_int_eq(fclose(file), 0);
    return read_sound("part");
}

/* A mono take of 12 s and a stereo result: one part and a fifth. */
START_TEST(lossless_parts_hold_the_very_frames_and_their_difference) {
    Sound raw = make_noise(1, 192000, 16000, 21), result = make_noise(2, 192000, 16000, 22);
    Sounds sounds;
    HostError error;
    write_wav("raw.wav", &raw);
    write_wav("result.wav", &result);
    ck_assert(sounds_make(&sounds, "raw.wav", "result.wav", 5000000, NULL, NULL, &error));
    ck_assert(!sounds.coded);
    ck_assert_uint_eq(sounds.n_parts, 2);
    size_t at = 0;
    for (size_t k = 0; k < 2; k++) {
        Sound a = read_part(&sounds, k, SOUND_RAW), b = read_part(&sounds, k, SOUND_RESULT),
              c = read_part(&sounds, k, SOUND_REMOVED);
        ck_assert_int_eq(a.info.frames, k ? 2 * 16000 : 10 * 16000);
        for (size_t i = 0; i < samples(&a); i++, at++) {
            float r = raw.audio[at / 2], s = result.audio[at];
            ck_assert_float_eq_tol(a.audio[i], r, 0x1p-15f); /* 16 bits, rounded or cut */
            ck_assert_float_eq_tol(b.audio[i], s, 0x1p-15f);
            ck_assert_float_eq_tol(c.audio[i], r - s, 0x1p-15f);
        }
        free(a.audio);
        free(b.audio);
        free(c.audio);
    }
    ck_assert_uint_eq(at, samples(&result));
    sounds_free(&sounds);
    free(raw.audio);
    free(result.audio);
}
END_TEST

/* Of a coded part, the shift against the truth, in frames, at which they are most alike. */
static long best_shift(const Sound *part, const float *truth, size_t n) {
    long best = -999;
    double most = 0.0;
    for (long shift = -30; shift <= 30; shift++) {
        double sum = 0.0;
        for (size_t i = 4000; i + 4000 < n; i++)
            sum += (double)part->audio[i] * (double)truth[(long)i + shift];
        if (sum > most) {
            most = sum;
            best = shift;
        }
    }
    return best;
}

/* At a rate that Opus does not know: parts have the length that they should, to the frame, and the
 * place, to 4 frames (at some 30 kbit/s the coder itself is late by one or two), and the size that
 * was asked for (a coder of variable rate: a tenth more at most). */
START_TEST(coded_parts_lie_where_they_should_and_keep_to_their_size) {
    const size_t length_s = 23, budget = length_s * SOUND_BUDGET / 600;
    const sf_count_t frames = (sf_count_t)length_s * RATE_HZ;
    SingerTake take;
    Sounds sounds;
    HostError error;
    SingerParams params = singer_params(SINGER_MAN, 48000.0, 12);
    params.phrases = 8;
    ck_assert(singer_take(&params, &take));
    ck_assert_uint_ge(take.n, length_s * 48000);
    Sound raw = make_sound(1, frames, RATE_HZ), result = make_sound(1, frames, RATE_HZ);
    Rate rate;
    rate_open(&rate, 48000, RATE_HZ);
    rate_make(&rate, take.mix, 0, take.n, 0, raw.audio, samples(&raw));
    rate_close(&rate);
    for (size_t i = 0; i < samples(&raw); i++)
        result.audio[i] = 0.5f * raw.audio[i];
    write_wav("raw.wav", &raw);
    write_wav("result.wav", &result);
    ck_assert(sounds_make(&sounds, "raw.wav", "result.wav", budget, NULL, NULL, &error));
    ck_assert(sounds.coded);
    ck_assert_uint_eq(sounds.n_parts, 3);
    ck_assert_uint_le(sounds.bytes, budget * 11 / 10);
    for (size_t k = 0; k < 3; k++)
        for (int track = 0; track < SOUND_TRACKS; track++) {
            Sound part = read_part(&sounds, k, (SoundTrack)track);
            size_t lead = k ? 4800 : 0, n = (k < 2 ? 480000 : 144000) + lead;
            ck_assert_int_eq(part.info.samplerate, 48000);
            ck_assert_uint_eq(samples(&part), n);
            long shift = best_shift(&part, take.mix + k * 480000 - lead, n);
            ck_assert_msg(labs(shift) <= 4, "part %zu, track %d: %ld", k, track, shift);
            free(part.audio);
        }
    sounds_free(&sounds);
    singer_free(&take);
    free(raw.audio);
    free(result.audio);
}
END_TEST

/* ---- the page ---- */

static void check_mark(const char *page, const char *kind, double from_s) {
    char from[64];
    char label[64];
    char time[32];
    snprintf(from, sizeof from, "data-from=\"%.4f\"", from_s);
    snprintf(label, sizeof label, "<span class=\"time\">%s</span> <span class=\"kind\">%s</span>",
             page_time(time, from_s), kind);
    for (const char *at = page; (at = strstr(at, from)); at++) {
        const char *found = strstr(at, label);
        if (found && found < strchr(at, '\n'))
            return;
    }
    ck_abort_msg("no mark of the %s at %g s", kind, from_s);
}

START_TEST(every_sound_of_the_measurement_has_its_mark_with_time_and_kind) {
    Measures m;
    HostError error;
    size_t size;
    make_page();
    char *page = read_all("page.html", &size);
    ck_assert(measure_take("take.wav", &m, NULL, NULL, &error));
    ck_assert(m.n_phrases >= 2 && m.n_breaths >= 2 && m.n_sibilants >= 3 && m.n_clicks >= 3);
    for (size_t i = 0; i < m.n_phrases; i++)
        check_mark(page, "phrase", m.phrases[i].start_s);
    for (size_t i = 0; i < m.n_breaths; i++)
        check_mark(page, "breath", m.breaths[i].start_s);
    for (size_t i = 0; i < m.n_sibilants; i++)
        check_mark(page, "sibilant", m.sibilants[i].start_s);
    for (size_t i = 0; i < m.n_clicks; i++)
        check_mark(page, "click", m.clicks[i].at_s);
    ck_assert_uint_eq(count_text(page, "<li data-kind="),
                      m.n_phrases + m.n_breaths + m.n_sibilants + m.n_clicks + m.n_thumps);
    ck_assert_uint_ge(count_text(page, " dB by breath-ducker</span>"), m.n_breaths / 2);
    ck_assert_uint_ge(count_text(page, " dB by de-esser</span>"), m.n_sibilants / 2);
    ck_assert_uint_ge(count_text(page, " dB by transient-tamer</span>"), m.n_clicks / 2);
    measures_free(&m);
    free(page);
}
END_TEST

/* "31 cents flat", to the rounding of both. */
static void check_cents(const char *told, double midi) {
    char *direction = NULL;
    double cents = strtod(told, &direction);
    if (strncmp(told, "on pitch", 8) != 0) {
        ck_assert_msg(direction > told && strncmp(direction, " cent", 5) == 0, "%.40s", told);
        direction += direction[5] == 's' ? 7 : 6; /* " cents " or " cent " */
        bool flat = strncmp(direction, "flat", 4) == 0;
        ck_assert_msg(flat || strncmp(direction, "sharp", 5) == 0, "%.40s", told);
        cents = flat ? -cents : cents;
    }
    ck_assert_double_eq_tol(cents, 100.0 * (midi - round(midi)), 0.6);
}

/* Eight notes, of which four are flat: each has its line, with the cents of the measurement, and
 * what became of it. */
START_TEST(each_note_is_told_with_what_it_is_off_and_what_became_of_it) {
    Measures m;
    HostError error;
    size_t size;
    char line[128];
    make_tuned_page();
    char *page = read_all("page.html", &size);
    ck_assert(measure_take("take.wav", &m, NULL, NULL, &error));
    ck_assert_uint_eq(m.n_sung, SUNG_NOTES);
    ck_assert_uint_eq(count_text(page, "data-midi="), SUNG_NOTES);
    ck_assert_uint_eq(count_text(page, "data-now-midi="), SUNG_NOTES);
    for (size_t i = 0; i < SUNG_NOTES; i++) {
        snprintf(line, sizeof line, "<li><button type=\"button\" data-from=\"%.4f\"",
                 m.sung[i].start_s);
        const char *at = strstr(page, line);
        ck_assert_msg(at != NULL, "%s", line);
        double midi = strtod(strstr(at, "data-midi=\"") + 11, NULL);
        double now = strtod(strstr(at, "data-now-midi=\"") + 15, NULL);
        /* Both against the result's semitones, which lie within 8 cents of A 440. */
        ck_assert_double_eq_tol(midi, SUNG_MIDI[i], 0.1);
        ck_assert_double_eq_tol(now, round(SUNG_MIDI[i]), 0.1);
        check_cents(strstr(at, "class=\"figure\">") + 15, midi);
        check_cents(strstr(at, "class=\"deed\">now ") + 17, now);
    }
    measures_free(&m);
    free(page);
}
END_TEST

START_TEST(what_is_not_sung_has_no_notes) {
    size_t size;
    bundles = "lv2";
    Sound take = noise_file("take.wav", 1, 0, 51);
    ck_assert_ran("report take.wav page.html pitch-corrector");
    char *page = read_all("page.html", &size);
    ck_assert_uint_eq(count_text(page, "data-midi="), 0);
    ck_assert_ptr_nonnull(strstr(page, "the take is not sung"));
    free(page);
    free(take.audio);
}
END_TEST

/* Pictures of noise in every level, which nothing packs, the longest series there can be, sound a
 * tenth over its budget, all in base 64; and 1.2 MB for the page itself, a list of 2000 sounds, and
 * one of 1500 notes. */
START_TEST(ten_minutes_stay_under_ten_megabytes) {
    const size_t n = (size_t)LOOK_ROWS * LOOK_SPECTRA;
    size_t picture = 0;
    uint8_t *grey = calloc(n, 1);
    Random random = random_seeded(41);
    for (size_t i = 0; i < n; i++)
        grey[i] = (uint8_t)(4 * (unsigned)random_range(&random, 0.0, LOOK_LEVELS));
    free(page_png(grey, LOOK_SPECTRA, LOOK_ROWS, &picture));
    free(grey);
    const double pitch = 2.0 * 600.0 / MEASURE_PITCH_STEP_S, gains = 8.0 * LOOK_LOUDNESS;
    double series = 2.0 * (4.0 * LOOK_WAVES + 2.0 * LOOK_LOUDNESS + pitch + gains);
    double bytes = 2.0 * (double)picture + series + 1.1 * SOUND_BUDGET;
    ck_assert_double_le(bytes * 4.0 / 3.0 + 1200000.0, 10e6);
}
END_TEST

static void number_text(char *to, size_t size, double value) {
    snprintf(to, size, "%s%.1f", round(10.0 * value) < 0.0 ? "&minus;" : "", fabs(value));
}

START_TEST(figures_are_those_of_the_take_and_of_its_render) {
    Measures before, after;
    HostError error;
    size_t size;
    char a[32], b[32], row[256];
    make_page();
    ck_assert_ran("render --chain lead.chain take.wav result.wav");
    ck_assert(measure_take("take.wav", &before, NULL, NULL, &error));
    ck_assert(measure_take("result.wav", &after, NULL, NULL, &error));
    char *page = read_all("page.html", &size);
    number_text(a, sizeof a, before.integrated_lufs);
    number_text(b, sizeof b, after.integrated_lufs);
    snprintf(row, sizeof row,
             "integrated <span class=\"unit\">LUFS</span></th><td>%s</td><td>%s</td>", a, b);
    ck_assert_msg(strstr(page, row) != NULL, "%s", row);
    snprintf(row, sizeof row, "breaths</th><td>%zu</td><td>%zu</td>", before.n_breaths,
             after.n_breaths);
    ck_assert_msg(strstr(page, row) != NULL, "%s", row);
    number_text(a, sizeof a, before.air_db);
    number_text(b, sizeof b, after.air_db);
    snprintf(row, sizeof row, "<span class=\"unit\">dB</span></th><td>%s</td><td>%s</td>", a, b);
    ck_assert_msg(strstr(page, row) != NULL, "%s", row);
    measures_free(&before);
    measures_free(&after);
    free(page);
}
END_TEST

/* Each rule of siskin advise that the take does not meet, with its two figures, and each that the
 * result alone does not; of what no processor mends the take's own, and never that it is mended. */
START_TEST(what_was_wrong_is_told_with_what_is_left_of_it) {
    size_t size, wrong = 0, mended = 0;
    HostError error;
    Measures before, after;
    make_page();
    ck_assert_ran("render --quiet --chain lead.chain take.wav result.wav");
    ck_assert(measure_take("take.wav", &before, NULL, NULL, &error));
    ck_assert(measure_take("result.wav", &after, NULL, NULL, &error));
    Advice was = advice_of(&before), is = advice_of(&after);
    char *page = read_all("page.html", &size);
    for (size_t i = 0; i < advice_n_rules; i++) {
        bool bad = was.verdict[i] == ADVICE_NEEDED, hand = !advice_rules[i].processor;
        bool new = was.verdict[i] == ADVICE_FINE &&is.verdict[i] == ADVICE_NEEDED && !hand;
        char *title = text_print("<h3>%s: <em>", advice_rules[i].name);
        const char *at = strstr(page, title);
        free(title);
        ck_assert_msg((at != NULL) == (bad || new), "%s", advice_rules[i].name);
        if (!at)
            continue;
        const char *end = strstr(at, "</li>");
        const char *result = strstr(at, "<b>result</b>");
        ck_assert_int_eq(hand, !result || result > end);
        for (int k = 0; k < 2 - hand; k++) {
            char *says = k ? advice_sentence_after(i, was.verdict[i], is.figure[i])
                           : advice_sentence(i, was.figure[i]);
            const char *there = strstr(at, says);
            ck_assert_msg(there && there < end, "%s: %s", advice_rules[i].name, says);
            free(says);
        }
        wrong += bad;
        bool told = strncmp(strstr(at, "<em>"), "<em>mended<", 11) == 0;
        ck_assert_int_eq(told, bad && !hand && advice_is_mended(i, is.figure[i]));
        mended += told;
    }
    ck_assert_uint_ge(wrong, 3); /* clicks, breaths, sibilants were laid in */
    ck_assert_uint_ge(mended, 1);
    free(page);
    measures_free(&before);
    measures_free(&after);
}
END_TEST

/* The verdicts of a page whose chain is one bus with `line` in it. The caller frees them. */
static char *verdicts_of(const Measures *before, const Measures *after, const char *line) {
    char *text = NULL, *chain_text = text_print("bus lead\n  %s\n", line);
    size_t size = 0;
    HostError error;
    write_text("x.chain", chain_text);
    Chain *chain = chain_load("x.chain", &error);
    ck_assert_ptr_nonnull(chain);
    Page *page = calloc(1, sizeof *page);
    ck_assert_ptr_nonnull(page);
    page->chain = chain;
    page->before = *before;
    page->after = *after;
    FILE *file = open_memstream(&text, &size);
    page_write_verdicts(file, page);
    ck_assert_int_eq(fclose(file), 0);
    chain_free(chain);
    free(page);
    free(chain_text);
    return text;
}

/* Gaps 60 dB under two phrases alike, and 20 in the result, as a reverb fills them; the result also
 * has a resonance, and flat tops fewer than the take. */
START_TEST(like_is_held_against_like_or_nothing_is_said) {
    MeasurePhrase phrases[2] = {{.lufs = -20.0}, {.lufs = -20.0}};
    Measures before = {.channels = 1,
                       .integrated_lufs = -20.0,
                       .rumble_db = -90.0,
                       .phrases = phrases,
                       .n_phrases = 2,
                       .gap_db = -80.0,
                       .flat_tops = 9};
    Measures after = before;
    before.peak[0].known = after.peak[0].known = after.peak[0].found = true;
    after.n_peaks = 1;
    after.peak[0].height_db = 8.0;
    after.gap_db = -40.0;
    after.flat_tops = 0;
    const struct {
        const char *line;
        bool new;
    } chains[] = {{"gap-trimmer", true}, {"urn:foreign:reverb", false}};
    for (size_t i = 0; i < 2; i++) {
        char *text = verdicts_of(&before, &after, chains[i].line);
        ck_assert_int_eq(strstr(text, "Noise in the gaps: <em>new") != NULL, chains[i].new);
        ck_assert_ptr_null(strstr(text, "Room resonance: <em>"));
        ck_assert_ptr_nonnull(strstr(text, "Clipping: <em>by hand"));
        free(text);
    }
    before.gap_db = (double)NAN; /* unlike what can be told of the result */
    char *text = verdicts_of(&before, &after, "gap-trimmer");
    ck_assert_ptr_null(strstr(text, "<em>new"));
    free(text);
    before.gap_db = -60.0; /* 40 dB under, and 20 */
    text = verdicts_of(&before, &after, "urn:foreign:reverb");
    ck_assert_ptr_nonnull(strstr(text, "Noise in the gaps: <em>not judged"));
    ck_assert_ptr_null(strstr(text, "20 dB under"));
    ck_assert_ptr_nonnull(strstr(text, "This chain has no gap-trimmer."));
    free(text);
    text = verdicts_of(&before, &after, "gap-trimmer\n  soft-drive");
    ck_assert_ptr_nonnull(strstr(text, "Noise in the gaps: <em>not judged"));
    ck_assert_ptr_nonnull(strstr(text, "gap-trimmer works on it"));
    ck_assert_ptr_null(strstr(text, "by hand, or sing again")); /* as if something were left */
    free(text);
}
END_TEST

/* A filter tilts the tops that a converter has cut off: they are no fewer. */
START_TEST(clipped_tops_do_not_go_away) {
    char *text = NULL;
    size_t size = 0;
    Page *page = calloc(1, sizeof *page);
    ck_assert_ptr_nonnull(page);
    page->before.flat_tops = 9;
    FILE *file = open_memstream(&text, &size);
    page_write_figures(file, page);
    ck_assert_int_eq(fclose(file), 0);
    ck_assert_ptr_nonnull(strstr(text, "clipped tops</th><td>9</td><td>&ndash;</td><td></td>"));
    free(text);
    free(page);
}
END_TEST

START_TEST(a_page_is_one_file_of_bounded_size_that_names_nothing_outside) {
    static const char *const outside[] = {
        "http:",   "https:",         " src=",      " href=", "url(",
        "@import", "XMLHttpRequest", "WebSocket(", "fetch("};
    size_t size;
    make_page();
    char *page = read_all("page.html", &size);
    ck_assert_uint_le(size, 10000000);
    for (size_t i = 0; i < sizeof outside / sizeof *outside; i++)
        ck_assert_msg(!strstr(page, outside[i]), "'%s' is in the page", outside[i]);
    ck_assert_ptr_nonnull(strstr(page, "default-src 'none'"));
    ck_assert_ptr_nonnull(strstr(page, "breath-ducker depth=18"));
    ck_assert_ptr_null(strstr(page, "@name@"));
    free(page);
}
END_TEST

START_TEST(names_and_chains_are_text_and_nothing_else) {
    size_t size;
    make_nasty_page();
    char *page = read_all("page.html", &size);
    ck_assert_ptr_null(strstr(page, "<script>alert"));
    ck_assert_ptr_null(strstr(page, "<!--&amp;.wav"));
    ck_assert_uint_ge(count_text(page, "&#39;&quot;&gt;&lt;script&gt;alert(1)&lt;!--&amp;amp;.wav"),
                      2);
    ck_assert_ptr_nonnull(strstr(page, "&lt;/pre&gt;&lt;/script&gt;&lt;script&gt;alert(2)"));
    free(page);
}
END_TEST

START_TEST(what_cannot_be_is_refused_and_leaves_nothing) {
    bundles = "lv2";
    Sound take = noise_file("take.wav", 1, 0, 31);
    write_wav("take.html", &take);
    write_text("lead.chain", CHAIN);
    ck_assert_int_eq(mkdir("folder", 0755), 0);
    ck_assert_int_eq(mkdir("folder.html", 0755), 0);
    int before = count_files(".");
    check_refused("report take.wav", 2, "PAGE.html|--help");
    check_refused("report take.wav page.html", 2, "processor|--chain");
    check_refused("report folder page.html de-esser", 2, "folder|one take");
    check_refused("report take.wav folder.html de-esser", 2, "folder.html is a folder");
    check_refused("report take.wav other.wav de-esser", 2, "other.wav|.html");
    check_refused("report take.html take.html de-esser", 2, "take itself");
    check_refused("report take.wav page.html de-essar", 2, "de-essar|de-esser");
    check_refused("report take.wav page.html de-esser range=99", 2, "range|24");
    check_refused("report --chian lead.chain take.wav page.html", 2, "--chain");
    check_refused("report --chain lead.chain take.wav page.html x=take.wav", 2, "bus|x");
    check_refused("report missing.wav page.html de-esser", 1, "missing.wav");
    check_refused("report take.wav no/page.html de-esser", 1, "no/page.html");
    check_refused("report lead.chain page.html de-esser", 1, "lead.chain");
    ck_assert_int_eq(count_files("."), before);
    check_same_bits("take.wav", &take);
    check_same_bits("take.html", &take);
    free(take.audio);
}
END_TEST

START_TEST(a_page_that_cannot_be_finished_leaves_the_older_one) {
    size_t size;
    bundles = "lv2";
    Sound take = noise_file("take.wav", 1, 0, 32);
    write_text("page.html", "older");
    int before = count_files(".");
    /* The result is some 134 KB and its trace less; the page is more. */
    ck_assert_int_eq(run_limited(150000, "report take.wav page.html de-esser"), 1);
    ck_assert_ptr_nonnull(strstr(ran.err, "page.html"));
    ck_assert_int_eq(run_limited(50000, "report take.wav page.html de-esser"), 1);
    ck_assert_int_eq(count_files("."), before);
    char *page = read_all("page.html", &size);
    ck_assert_str_eq(page, "older");
    free(page);
    free(take.audio);
}
END_TEST

START_TEST(a_page_that_is_stopped_leaves_nothing) {
    bundles = "lv2";
    Sound take = noise_file("take.wav", 1, 2880000, 33);
    int before = count_files(".");
    int null = open("/dev/null", O_WRONLY);
    pid_t process = start_program("report take.wav page.html de-esser", null, null, 0);
    while (count_files(".") == before) /* until something lies aside */
        usleep(1000);
    usleep(50000);
    kill(process, SIGTERM);
    ck_assert_int_eq(finish_program(process), 1000 + SIGTERM);
    ck_assert_int_eq(count_files("."), before);
    close(null);
    free(take.audio);
}
END_TEST

/* Feeding a bus, a ready chain by name, the help. */
START_TEST(words_are_those_of_render) {
    size_t size;
    bundles = "lv2";
    write_singer("take.wav");
    Sound wet = noise_file("wet.wav", 2, 0, 34);
    int before = count_files(".");
    Sound slow = make_noise(2, 44100, RATE_HZ, 35);
    write_wav("wet.wav", &slow);
    ck_assert_ran("report --quiet --chain lead-with-return take.wav page.html return=wet.wav");
    ck_assert_str_eq(ran.out, "");
    ck_assert_int_eq(count_files("."), before + 1);
    char *page = read_all("page.html", &size);
    ck_assert_ptr_nonnull(strstr(page, "# return is fed by wet.wav"));
    ck_assert_ptr_nonnull(strstr(page, "return: return-ducker"));
    ck_assert_ran("report --help");
    ck_assert_ptr_nonnull(strstr(ran.out, "PAGE.html"));
    ck_assert_ran("--help");
    ck_assert_ptr_nonnull(strstr(ran.out, "  report "));
    free(page);
    free(wet.audio);
    free(slow.audio);
}
END_TEST

int main(void) {
    TCase *tcase = tcase_create("page");
    tcase_add_test(tcase, base_64_is_that_of_the_rfc);
    tcase_add_test(tcase, text_becomes_no_markup);
    tcase_add_test(tcase, a_picture_can_be_read_back);
    tcase_add_test(tcase, another_rate_keeps_a_sine_and_loses_what_it_cannot_hold);
    tcase_add_test(tcase, gains_come_from_reductions_and_from_what_can_raise);
    tcase_add_test(tcase, a_fader_that_moves_is_a_curve_with_and_without_a_trace);
    tcase_add_test(tcase, a_tone_is_drawn_where_and_as_loud_as_it_is);
    tcase_add_test(tcase, what_sounds_at_the_end_is_not_drawn_at_the_start);
    tcase_add_test(tcase, loudness_over_time_is_that_of_the_standard);
    tcase_add_test(tcase, lossless_parts_hold_the_very_frames_and_their_difference);
    tcase_add_test(tcase, coded_parts_lie_where_they_should_and_keep_to_their_size);
    tcase_add_test(tcase, every_sound_of_the_measurement_has_its_mark_with_time_and_kind);
    tcase_add_test(tcase, each_note_is_told_with_what_it_is_off_and_what_became_of_it);
    tcase_add_test(tcase, what_is_not_sung_has_no_notes);
    tcase_add_test(tcase, ten_minutes_stay_under_ten_megabytes);
    tcase_add_test(tcase, figures_are_those_of_the_take_and_of_its_render);
    tcase_add_test(tcase, what_was_wrong_is_told_with_what_is_left_of_it);
    tcase_add_test(tcase, like_is_held_against_like_or_nothing_is_said);
    tcase_add_test(tcase, clipped_tops_do_not_go_away);
    tcase_add_test(tcase, a_page_is_one_file_of_bounded_size_that_names_nothing_outside);
    tcase_add_test(tcase, names_and_chains_are_text_and_nothing_else);
    tcase_add_test(tcase, what_cannot_be_is_refused_and_leaves_nothing);
    tcase_add_test(tcase, a_page_that_cannot_be_finished_leaves_the_older_one);
    tcase_add_test(tcase, a_page_that_is_stopped_leaves_nothing);
    tcase_add_test(tcase, words_are_those_of_render);
    return run_suite(tcase, "siskin page");
}
