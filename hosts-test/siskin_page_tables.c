/* SPDX-License-Identifier: ISC */
/* The tables of a page: the measurement of the take beside that of the result; the processors. */
#include "siskin_measure_tell.h"
#include "siskin_page_text.h"
#include "siskin_page_write.h"
#include "siskin_text.h"

#include <math.h>
#include <stdlib.h>

typedef double Figure(const Measures *m);

/* ---- figures ---- */

static double integrated(const Measures *m) {
    return m->integrated_lufs;
}
static double range(const Measures *m) {
    return m->range_lu;
}
static double short_most(const Measures *m) {
    return m->short_most_lufs;
}
static double momentary_most(const Measures *m) {
    return m->momentary_most_lufs;
}
static double true_peak(const Measures *m) {
    return m->true_peak_db;
}
static double noise(const Measures *m) {
    return m->noise_db;
}
static double hum_level(const Measures *m) {
    return m->hum_known && m->hum.found ? 10.0 * log10(m->hum.total) : (double)NAN;
}
static double rumble(const Measures *m) {
    return m->rumble_db;
}
static double clipped(const Measures *m) {
    return (double)m->flat_tops;
}
static double t60(const Measures *m) {
    return m->t60_s;
}
static double phrases(const Measures *m) {
    return (double)m->n_phrases;
}
static double spread(const Measures *m) {
    return m->spread_db;
}
static double reach(const Measures *m) {
    return measures_phrase_reach(m);
}
static double breaths(const Measures *m) {
    return (double)m->n_breaths;
}
static double breath_under(const Measures *m) {
    double *values = text_take(m->n_breaths, sizeof *values);
    for (size_t i = 0; i < m->n_breaths; i++)
        values[i] = m->breaths[i].under_db;
    double median = tell_median(values, m->n_breaths);
    free(values);
    return median;
}
static double sibilants(const Measures *m) {
    return (double)m->n_sibilants;
}
static double sibilant_over(const Measures *m) {
    double *values = text_take(m->n_sibilants, sizeof *values);
    for (size_t i = 0; i < m->n_sibilants; i++)
        values[i] = m->sibilants[i].ratio_db;
    double median = tell_median(values, m->n_sibilants);
    free(values);
    return median;
}
static double clicks(const Measures *m) {
    return (double)m->n_clicks;
}
static double click_height(const Measures *m) {
    double *values = text_take(m->n_clicks, sizeof *values);
    for (size_t i = 0; i < m->n_clicks; i++)
        values[i] = m->clicks[i].height_db;
    double median = tell_median(values, m->n_clicks);
    free(values);
    return median;
}
static double air(const Measures *m) {
    return m->air_db;
}
static double band0(const Measures *m) {
    return m->band_db[0];
}
static double band1(const Measures *m) {
    return m->band_db[1];
}
static double band2(const Measures *m) {
    return m->band_db[2];
}
static double band3(const Measures *m) {
    return m->band_db[3];
}
static double lowest(const Measures *m) {
    return m->low_hz;
}
static double middle(const Measures *m) {
    return m->middle_hz;
}
static double highest(const Measures *m) {
    return m->high_hz;
}
static double off(const Measures *m) {
    return m->off_cents;
}

/* `figure` NULL: a heading. */
static const struct {
    const char *what, *unit;
    int decimals;
    Figure *figure;
} rows[] = {
    {.what = "Loudness"},
    {"integrated", "LUFS", 1, integrated},
    {"range", "LU", 1, range},
    {"short-term, most", "LUFS", 1, short_most},
    {"momentary, most", "LUFS", 1, momentary_most},
    {"true peak", "dBTP", 1, true_peak},
    {.what = "Recording"},
    {"noise floor", "dBFS", 1, noise},
    {"hum", "dBFS", 1, hum_level},
    {"rumble", "dBFS", 1, rumble},
    {"clipped tops", "", 0, clipped},
    {"reverberation, T60", "s", 2, t60},
    {.what = "Sounds"},
    {"phrases", "", 0, phrases},
    {"spread between them", "dB", 1, spread},
    {"loudest over softest", "dB", 1, reach},
    {"breaths", "", 0, breaths},
    {"breaths under the voice, median", "dB", 1, breath_under},
    {"sibilants", "", 0, sibilants},
    {"sibilants over the vowels, median", "dB", 1, sibilant_over},
    {"clicks", "", 0, clicks},
    {"clicks' height, median", "dB", 1, click_height},
    {.what = "Colour"},
    {"8..16 kHz over 0.2..2 kHz", "dB", 1, air},
    {"bottom, to 200 Hz", "dBFS", 1, band0},
    {"body, 200 Hz..1 kHz", "dBFS", 1, band1},
    {"presence, 1..5 kHz", "dBFS", 1, band2},
    {"air, from 5 kHz", "dBFS", 1, band3},
    {.what = "Pitch"},
    {"lowest", "Hz", 1, lowest},
    {"middle", "Hz", 1, middle},
    {"highest", "Hz", 1, highest},
    {"off the key's notes, mean", "cents", 0, off},
};

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
        char key[24];
        const char *name =
            both[i]->key_known ? tell_key(key, both[i]->key.tonic, both[i]->key.minor) : "unknown";
        fprintf(to, "<td>%s</td>", name);
    }
    fputs("<td></td></tr>\n", to);
}

static void write_row(FILE *to, const Page *page, size_t row) {
    double before = rows[row].figure(&page->before), after = rows[row].figure(&page->after);
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
        if (rows[row].figure)
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
