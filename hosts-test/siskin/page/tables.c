/* SPDX-License-Identifier: ISC */
/* The tables of a page: the measurement of the take beside that of the result; the processors. */
#include "siskin/measure/statistics.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"
#include "siskin/text.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

/* ---- figures ---- */

/* The median of one member of an array of structures. */
static double median_of(const void *first, size_t n, size_t size, size_t member) {
    double *values = text_take(n, sizeof *values);
    for (size_t i = 0; i < n; i++)
        memcpy(&values[i], (const char *)first + i * size + member, sizeof *values);
    double median = statistics_median(values, n);
    free(values);
    return median;
}

static double hum(const Measures *m) {
    return m->hum_known && m->hum.found ? 10.0 * log10(m->hum.total) : (double)NAN;
}

static double peak_hz(const Measures *m) {
    return m->n_peaks ? m->peak[0].hz : (double)NAN;
}

static double peak_db(const Measures *m) {
    return m->n_peaks ? m->peak[0].height_db : (double)NAN;
}

static double clipped(const Measures *m) {
    return (double)m->flat_tops;
}

static double phrases(const Measures *m) {
    return (double)m->n_phrases;
}

static double breaths(const Measures *m) {
    return (double)m->n_breaths;
}

static double breath_under(const Measures *m) {
    return median_of(m->breaths, m->n_breaths, sizeof *m->breaths,
                     offsetof(MeasureBreath, under_db));
}

static double sibilants(const Measures *m) {
    return (double)m->n_sibilants;
}

static double sibilant_over(const Measures *m) {
    return median_of(m->sibilants, m->n_sibilants, sizeof *m->sibilants,
                     offsetof(MeasureSibilant, ratio_db));
}

static double clicks(const Measures *m) {
    return (double)m->n_clicks;
}

static double clear_clicks(const Measures *m) {
    return (double)measures_clear_clicks(m);
}

static double thumps(const Measures *m) {
    return (double)m->n_thumps;
}

static double click_height(const Measures *m) {
    return median_of(m->clicks, m->n_clicks, sizeof *m->clicks, offsetof(MeasureClick, height_db));
}

static double far_off(const Measures *m) {
    return m->intonation.known ? 100.0 * m->intonation.far_off : (double)NAN;
}

#define MEMBER(name) .member = offsetof(Measures, name)

/* A figure is a member, or what `find` makes of the measures. A heading stands over those after it;
 * those of sounds are of the take as page_heard() has it. What stays whatever a chain does is told
 * of the take alone: tops that a filter has tilted are as clipped as before. */
static const struct {
    const char *what, *unit;
    int decimals;
    bool heading, sounds, stays;
    size_t member;
    double (*find)(const Measures *m);
} rows[] = {
    {"Loudness", .heading = true},
    {"integrated", "LUFS", 1, MEMBER(integrated_lufs)},
    {"range", "LU", 1, MEMBER(range_lu)},
    {"short-term, loudest", "LUFS", 1, MEMBER(short_most_lufs)},
    {"momentary, loudest", "LUFS", 1, MEMBER(momentary_most_lufs)},
    {"true peak", "dBTP", 1, MEMBER(true_peak_db)},
    {"Recording", .heading = true},
    {"noise floor", "dBFS", 1, MEMBER(noise_db)},
    {"hum", "dBFS", 1, .find = hum},
    {"rumble", "dBFS", 1, MEMBER(rumble_db)},
    {"clipped tops", "", 0, .find = clipped, .stays = true},
    {"reverberation, T60", "s", 2, MEMBER(t60_s)},
    {"room resonance", "Hz", 0, .find = peak_hz},
    {"its height", "dB", 0, .find = peak_db},
    {"Sounds", .heading = true},
    {"phrases", "", 0, .find = phrases, .sounds = true},
    {"spread between them", "dB", 1, MEMBER(spread_db), .sounds = true},
    {"loudest over softest", "dB", 1, .find = measures_phrase_reach, .sounds = true},
    {"breaths", "", 0, .find = breaths, .sounds = true},
    {"breaths under the voice, median", "dB", 1, .find = breath_under, .sounds = true},
    {"sibilants", "", 0, .find = sibilants, .sounds = true},
    {"sibilants against the vowels, median", "dB", 1, .find = sibilant_over, .sounds = true},
    {"clicks", "", 0, .find = clicks, .sounds = true},
    {"their height, median", "dB", 1, .find = click_height, .sounds = true},
    {"clicks that stand out by 12 dB", "", 0, .find = clear_clicks, .sounds = true},
    {"thumps of /p/ and /b/", "", 0, .find = thumps, .sounds = true},
    {"Colour", .heading = true},
    {"8..16 kHz over 0.2..2 kHz", "dB", 1, MEMBER(air_db)},
    {"bottom, to 200 Hz", "dBFS", 1, MEMBER(band[0].level_db)},
    {"body, 200 Hz..1 kHz", "dBFS", 1, MEMBER(band[1].level_db)},
    {"presence, 1..5 kHz", "dBFS", 1, MEMBER(band[2].level_db)},
    {"air, from 5 kHz", "dBFS", 1, MEMBER(band[3].level_db)},
    {"Pitch", .heading = true},
    {"lowest", "Hz", 1, MEMBER(low_hz)},
    {"middle", "Hz", 1, MEMBER(middle_hz)},
    {"highest", "Hz", 1, MEMBER(high_hz)},
    {"off pitch, mean", "cents", 0, MEMBER(off_cents)},
    {"notes' time over 25 cents off", "%", 0, .find = far_off},
};

static double figure_of(const Measures *m, size_t row) {
    double value = 0.0;
    if (rows[row].find)
        return rows[row].find(m);
    memcpy(&value, (const char *)m + rows[row].member, sizeof value);
    return value;
}

/* A true minus, and none before a zero. */
static void write_number(FILE *to, double value, int decimals, bool sign) {
    double scale = pow(10.0, decimals);
    double rounded = round(value * scale) / scale;
    if (isnan(value))
        fputs("&ndash;", to);
    else if (isinf(value))
        fputs(value < 0.0 ? "silent" : "endless", to);
    else
        fprintf(to, "%s%.*f",
                rounded < 0.0           ? "&minus;"
                : sign && rounded > 0.0 ? "+"
                                        : "",
                decimals, fabs(rounded));
}

static void write_key(FILE *to, const Page *page) {
    const Measures *both[] = {&page->before, &page->after};
    fputs("<tr><th scope=\"row\">key</th>", to);
    for (size_t i = 0; i < 2; i++) {
        char key[64];
        fprintf(to, "<td class=\"words\">%s</td>", measures_key_text(key, both[i]));
    }
    fputs("<td></td></tr>\n", to);
}

static void write_row(FILE *to, const Page *page, size_t row) {
    const Measures *raw = rows[row].sounds ? page_heard(page) : &page->before;
    double before = figure_of(raw, row), after = figure_of(&page->after, row);
    if (rows[row].stays && before > 0.0)
        after = (double)NAN;
    fprintf(to, "<tr><th scope=\"row\">%s", rows[row].what);
    if (rows[row].unit[0])
        fprintf(to, " <span class=\"unit\">%s</span>", rows[row].unit);
    fputs("</th><td>", to);
    write_number(to, before, rows[row].decimals, false);
    fputs("</td><td>", to);
    write_number(to, after, rows[row].decimals, false);
    fputs("</td><td>", to);
    if (isfinite(before) && isfinite(after))
        write_number(to, after - before, rows[row].decimals, true);
    fputs("</td></tr>\n", to);
}

void page_write_figures(FILE *to, const Page *page) {
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
        if (!rows[row].heading)
            write_row(to, page, row);
        else
            fprintf(to, "%s<tbody>\n<tr><th scope=\"rowgroup\" colspan=\"4\">%s</th></tr>\n",
                    row ? "</tbody>\n" : "", rows[row].what);
    }
    write_key(to, page);
    fputs("</tbody>\n", to);
}

/* ---- processors ---- */

static void write_processor(FILE *to, const TakeProcessor *p) {
    fputs("<tr><th scope=\"row\">", to);
    page_escape(to, p->label);
    fputs("</th><td>", to);
    write_number(to, p->has_reduction ? p->most_db : (double)NAN, 1, false);
    fputs("</td><td>", to);
    write_number(to, p->has_reduction ? p->mean_db : (double)NAN, 2, false);
    fputs("</td><td>", to);
    write_number(to, p->has_reduction ? 100.0 * p->active : (double)NAN, 1, false);
    fputs("</td><td>", to);
    write_number(to, p->events, 0, false);
    fputs("</td><td>", to);
    write_number(to, p->latency_ms, 1, false);
    fputs("</td></tr>\n", to);
}

void page_write_processors(FILE *to, const Page *page) {
    for (size_t i = 0; i < page->report.n_processors; i++)
        write_processor(to, &page->report.processor[i]);
}
