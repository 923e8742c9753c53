/* SPDX-License-Identifier: ISC */
#include "siskin/page/match_page.h"

#include "siskin/page/files.h"
#include "siskin/page/text.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

/* The drawing, in its own units; frequencies are logarithmic. */
enum { LEFT = 56, WIDE = 860, TOP = 16, HIGH = 360, RIGHT = LEFT + WIDE, BOTTOM = TOP + HIGH };

static const double LOW_HZ = 80.0, HIGH_HZ = 20000.0, SPAN_DB = 70.0, GRID_DB = 10.0;

typedef struct {
    const MatchProfile *profile;
    const char *name, *style; /* told apart by more than colour */
} Curve;

static double x_of(double hz) {
    return LEFT + WIDE * log(hz / LOW_HZ) / log(HIGH_HZ / LOW_HZ);
}

/* Over the loudness of the voice. */
static double over_db(const MatchProfile *profile, size_t third) {
    return profile->third_db[third] - profile->lufs;
}

static double y_of(double db, double top_db) {
    double share = (top_db - db) / SPAN_DB;
    return TOP + HIGH * fmin(1.0, fmax(0.0, share));
}

/* ---- spectra ---- */

static double top_of(const Curve *curves, size_t count) {
    double top = -SPAN_DB;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < MATCH_THIRDS; k++)
            top = fmax(top, over_db(curves[i].profile, k));
    return GRID_DB * ceil(top / GRID_DB) + 0.0; /* no -0 */
}

static void write_grid(FILE *to, double top_db) {
    static const double marks[] = {100, 200, 500, 1000, 2000, 5000, 10000, 20000};
    for (int i = 0; i <= (int)(SPAN_DB / GRID_DB); i++) {
        double db = top_db - GRID_DB * (double)i;
        double y = y_of(db, top_db);
        fprintf(to, "<line class=\"grid\" x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\"/>", LEFT,
                RIGHT, y, y);
        fprintf(to, "<text x=\"%d\" y=\"%.1f\" text-anchor=\"end\">%.0f</text>\n", LEFT - 8,
                y + 4.0, db);
    }
    for (size_t i = 0; i < sizeof marks / sizeof *marks; i++) {
        double x = x_of(marks[i]);
        fprintf(to, "<line class=\"grid\" x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\"/>", x, x, TOP,
                BOTTOM);
        fprintf(to, "<text x=\"%.1f\" y=\"%d\" text-anchor=\"middle\">%g%s</text>\n", x,
                BOTTOM + 18, marks[i] < 1000.0 ? marks[i] : 1e-3 * marks[i],
                marks[i] < 1000.0 ? "" : "k");
    }
}

static void write_splits(FILE *to, const Match *match) {
    for (int b = 0; b < MATCH_BANDS - 1; b++) {
        double x = x_of((double)match->setting.splits.split_hz[b]);
        fprintf(to, "<line class=\"split\" x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\"/>\n", x, x,
                TOP, BOTTOM);
    }
}

static void write_curve(FILE *to, const Curve *curve, double top_db) {
    fprintf(to, "<polyline class=\"%s\" points=\"", curve->style);
    for (size_t k = 0; k < MATCH_THIRDS; k++)
        if (!isnan(over_db(curve->profile, k)))
            fprintf(to, "%.1f,%.1f ", x_of(match_third_hz(k)),
                    y_of(over_db(curve->profile, k), top_db));
    fputs("\"/>\n", to);
}

static void write_legend(FILE *to, const Curve *curves, size_t count) {
    fputs("<p class=\"small\">", to);
    for (size_t i = 0; i < count; i++) {
        fprintf(to,
                "<svg width=\"44\" height=\"10\" aria-hidden=\"true\"><line class=\"%s\" x1=\"2\" "
                "x2=\"42\" y1=\"5\" y2=\"5\"/></svg> ",
                curves[i].style);
        page_escape(to, curves[i].name);
        fputs(" &#160; ", to);
    }
    fputs("</p>\n", to);
}

static void write_spectra(FILE *to, const Match *match, const Curve *curves, size_t count) {
    double top_db = top_of(curves, count);
    fputs("<section><h2>Spectra</h2>\n<p class=\"small\">Thirds of an octave over the loudness of "
          "the voice, dB; frequency in Hz. Upright dashes: where the bands meet.</p>\n",
          to);
    write_legend(to, curves, count);
    fprintf(to,
            "<svg class=\"plot\" viewBox=\"0 0 %d %d\" role=\"img\" aria-label=\"Spectra of take, "
            "reference and result; the table below has the bands\">\n",
            RIGHT + 16, BOTTOM + 28);
    write_grid(to, top_db);
    write_splits(to, match);
    for (size_t i = 0; i < count; i++)
        write_curve(to, &curves[i], top_db);
    fputs("</svg></section>\n", to);
}

/* ---- bands ---- */

static void write_cell(FILE *to, double value) {
    if (isfinite(value))
        fprintf(to, "<td>%.1f</td>", value);
    else
        fputs("<td>&#8211;</td>", to);
}

static void write_bands(FILE *to, const Match *match, const Curve *curves, size_t count) {
    char *names[MATCH_BANDS];
    match_band_names(match, names);
    fprintf(to,
            "<section><h2>Bands</h2>\n<table><thead><tr><th rowspan=\"2\">band</th><th "
            "colspan=\"%zu\">level over the loudness, dB</th><th colspan=\"%zu\">crest, dB</th><th "
            "colspan=\"2\">band-colour, dB</th></tr><tr>",
            count, count);
    for (int i = 0; i < 2; i++)
        for (size_t k = 0; k < count; k++)
            fprintf(to, "<th>%s</th>", curves[k].name);
    fputs("<th>level</th><th>drive</th></tr></thead>\n<tbody>", to);
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        fprintf(to, "<tr><th>%s</th>", names[b]);
        for (size_t k = 0; k < count; k++)
            write_cell(to, curves[k].profile->level_db[b] - curves[k].profile->lufs);
        for (size_t k = 0; k < count; k++)
            write_cell(to, curves[k].profile->crest_db[b]);
        write_cell(to, match->setting.level_db[b]);
        write_cell(to, match->setting.drive_db[b]);
        fputs("</tr>\n", to);
        free(names[b]);
    }
    fputs("</tbody></table></section>\n", to);
}

/* ---- the page ---- */

static void write_head(FILE *to, const char *take, const char *reference) {
    fputs("<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\n<meta "
          "name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>",
          to);
    page_escape(to, text_base(take));
    fputs(" to ", to);
    page_escape(to, text_base(reference));
    fputs("</title>\n<style>\n", to);
    for (const char *const *line = page_css; *line; line++)
        fputs(*line, to);
    fputs(".plot { width: 100%; height: auto; }\n"
          ".plot text { fill: var(--soft); font-size: 13px; }\n"
          ".grid { stroke: var(--grid); }\n"
          ".split { stroke: var(--soft); stroke-dasharray: 2 5; }\n"
          ".take, .reference, .result { fill: none; stroke-width: 2.5; }\n"
          ".take { stroke: var(--before); stroke-dasharray: 8 5; }\n"
          ".reference { stroke: var(--head); }\n"
          ".result { stroke: var(--accent); stroke-dasharray: 1 4; stroke-linecap: round; "
          "stroke-width: 4; }\n"
          "table { border-collapse: collapse; }\n"
          "td, thead th { text-align: right; padding: 0.15rem 0.6rem; }\n"
          "tbody th { text-align: left; font-weight: normal; }\n"
          "</style></head>\n<body><main>\n<h1>",
          to);
    page_escape(to, text_base(take));
    fputs(" to the colour of ", to);
    page_escape(to, text_base(reference));
    fputs("</h1>\n", to);
}

void match_page_write(FILE *to, const Match *match, const char *take, const char *reference) {
    const Curve curves[] = {{&match->take, "take", "take"},
                            {&match->reference, "reference", "reference"},
                            {&match->after, "after", "result"}};
    const size_t count = match->any ? 3 : 2;
    write_head(to, take, reference);
    fprintf(to, "<p class=\"facts\">%.1f and %.1f s sung with a pitch. %s %.1f dB%s",
            match->take.sung_s, match->reference.sung_s,
            match->any ? "The worst band was off by" : "Alike: the worst band is off by",
            match_worst_off(&match->take, &match->reference), match->any ? ", and is by " : ".");
    if (match->any)
        fprintf(to, "%.1f dB after.", match_worst_off(&match->after, &match->reference));
    fputs("</p>\n", to);
    write_spectra(to, match, curves, count);
    write_bands(to, match, curves, count);
    fputs("</main></body></html>\n", to);
}
