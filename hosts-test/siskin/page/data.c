/* SPDX-License-Identifier: ISC */
/* What the script of a page draws and plays: JSON with series as base 64 of 16-bit numbers, little
 * end first, and the audio, a script element a part. */
#include "siskin/json.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NOT_KNOWN = -32768, GAIN_COLUMNS = 6000 };

/* ---- series ---- */

typedef struct {
    unsigned char *bytes;
    size_t n;
} Series;

static Series series_of(size_t count) {
    return (Series){.bytes = text_take(2 * count, 1)};
}

static void add(Series *series, double value) {
    double inside = fmax(-32767.0, fmin(32767.0, round(value)));
    int number = isfinite(value) ? (int)inside : NOT_KNOWN;
    series->bytes[series->n++] = (unsigned char)(number & 255);
    series->bytes[series->n++] = (unsigned char)(number >> 8 & 255);
}

static void write_series(Json *j, const char *name, Series *series) {
    char *text = page_base64(series->bytes, series->n);
    json_text(j, name, text);
    free(text);
    free(series->bytes);
}

/* ---- what is drawn ---- */

/* Least and most of each column, full scale 16384: twice that is as far as it goes. */
static void write_wave(Json *j, const char *name, const Look *look) {
    Series series = series_of(2 * look->n_waves);
    for (size_t i = 0; i < look->n_waves; i++) {
        add(&series, 16384.0 * (double)look->least[i]);
        add(&series, 16384.0 * (double)look->most[i]);
    }
    write_series(j, name, &series);
}

/* Hundredths of LU. */
static void write_loudness(Json *j, const char *name, const LookLoudness *loudness) {
    Series series = series_of(loudness->count);
    for (size_t i = 0; i < loudness->count; i++)
        add(&series, 100.0 * (double)loudness->lufs[i]);
    write_series(j, name, &series);
}

/* A PNG whose greys are four times the level. */
static void write_spectrum(Json *j, const char *name, const LookSpectrum *s) {
    size_t n = LOOK_ROWS * s->columns, bytes = 0;
    uint8_t *grey = text_take(n, 1);
    for (size_t i = 0; i < n; i++)
        grey[i] = (uint8_t)(4 * s->level[i]);
    unsigned char *png = page_png(grey, s->columns, LOOK_ROWS, &bytes);
    char *coded = page_base64(png, bytes);
    char *url = text_print("data:image/png;base64,%s", coded);
    json_text(j, name, url);
    free(url);
    free(coded);
    free(png);
    free(grey);
}

/* Cents over 10 Hz; 0 where there is no pitch. */
static void write_curve(Json *j, const char *name, const Measures *m) {
    Series series = series_of(m->n_pitch);
    for (size_t i = 0; i < m->n_pitch; i++)
        add(&series, m->pitch_hz[i] > 0.0f ? 1200.0 * log2((double)m->pitch_hz[i] / 10.0) : 0.0);
    write_series(j, name, &series);
}

static void write_pitch(Json *j, const Page *page) {
    json_open(j, "pitch", '{', false);
    json_number(j, "step_s", MEASURE_PITCH_STEP_S, 4);
    write_curve(j, "raw", &page->before);
    write_curve(j, "result", &page->after);
    json_close(j, '}');
}

/* Hundredths of a dB. */
static void write_gain(Json *j, const Gains *gains, const GainCurve *curve, double length_s) {
    size_t columns = gains->rows < GAIN_COLUMNS ? gains->rows : GAIN_COLUMNS;
    float *db = text_take(columns, sizeof *db);
    Series series = series_of(columns);
    gains_fold(gains, curve, db, columns);
    for (size_t i = 0; i < columns; i++)
        add(&series, 100.0 * (double)db[i]);
    json_open(j, NULL, '{', false);
    json_text(j, "label", curve->label);
    json_number(j, "step_s", columns ? length_s / (double)columns : (double)NAN, 6);
    write_series(j, "db", &series);
    json_close(j, '}');
    free(db);
}

static void write_gains(Json *j, const Page *page) {
    const Gains *gains = &page->gains;
    json_open(j, "gains", '[', false);
    for (size_t i = 0; i < gains->n_curves; i++)
        write_gain(j, gains, &gains->curves[i], (double)gains->rows * gains->step_s);
    json_close(j, ']');
}

static void write_pair(Json *j, const Page *page) {
    const Look *raw = &page->before_look, *result = &page->after_look;
    json_open(j, "wave", '{', false);
    write_wave(j, "raw", raw);
    write_wave(j, "result", result);
    json_close(j, '}');
    json_open(j, "loudness", '{', false);
    json_number(j, "raw_step_s", raw->loudness.step_s, 4);
    json_number(j, "result_step_s", result->loudness.step_s, 4);
    write_loudness(j, "raw", &raw->loudness);
    write_loudness(j, "result", &result->loudness);
    json_close(j, '}');
    json_open(j, "spectrum", '{', false);
    json_number(j, "lowest_hz", LOOK_LOWEST_HZ, 1);
    json_number(j, "highest_hz", look_top_hz(raw->rate_hz), 1);
    json_number(j, "low_db", LOOK_LOW_DB, 1);
    json_number(j, "step_db", LOOK_LEVEL_STEP_DB, 2);
    write_spectrum(j, "raw", &raw->spectrum);
    write_spectrum(j, "result", &result->spectrum);
    json_close(j, '}');
}

static void write_sound(Json *j, const Page *page) {
    double gain_db[2];
    page_match(page, gain_db);
    json_truth(j, "coded", page->sounds.coded);
    json_number(j, "part_s", SOUND_PART_S, 3);
    json_open(j, "match_db", '[', true);
    json_number(j, NULL, gain_db[0], 2);
    json_number(j, NULL, gain_db[1], 2);
    json_close(j, ']');
}

void page_write_data(FILE *to, const Page *page) {
    Json j = json_begin(to);
    json_open(&j, NULL, '{', false);
    json_number(&j, "length_s", page->sounds.length_s, 6);
    json_number(&j, "raw_s", page->before.length_s, 6);
    json_number(&j, "result_s", page->after.length_s, 6);
    json_number(&j, "rate_hz", page->sounds.rate_hz, 0);
    write_sound(&j, page);
    write_pair(&j, page);
    write_pitch(&j, page);
    write_gains(&j, page);
    json_close(&j, '}');
}

/* ---- what is played ---- */

void page_write_audio(FILE *to, const Page *page) {
    for (size_t k = 0; k < page->sounds.n_parts; k++) {
        const SoundPart *part = &page->sounds.parts[k];
        for (size_t t = 0; t < SOUND_TRACKS; t++) {
            fprintf(to, "<script type=\"text/plain\" id=\"sound-%zu-%zu\" data-lead=\"%.4f\">", k,
                    t, part->lead_s);
            page_write_base64(to, part->track[t].bytes, part->track[t].n);
            fputs("</script>\n", to);
        }
    }
}
