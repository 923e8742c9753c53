/* SPDX-License-Identifier: ISC */
#include "siskin/measure/print.h"

#include "siskin/measure/pitch_name.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

const char *const print_band_name[BAND_CREST_BANDS] = {"bottom", "body", "presence", "air"};
static const char *const band_range[BAND_CREST_BANDS] = {"to 200 Hz", "200 Hz..1 kHz", "1..5 kHz",
                                                         "from 5 kHz"};

/* Rounded to so many decimals, and no "-0". */
static double rounded(double value, int decimals) {
    double scale = pow(10.0, decimals);
    return round(value * scale) / scale + 0.0;
}

PrintMore print_more_level_db(const Measures *take, const Measures *reference, size_t band) {
    const MeasureBand *a = &take->band[band], *b = &reference->band[band];
    return (PrintMore){(a->level_db - take->sung_lufs) - (b->level_db - reference->sung_lufs),
                       hypot(a->level_error_db, b->level_error_db)};
}

PrintMore print_more_spread_db(const Measures *take, const Measures *reference, size_t band) {
    const MeasureBand *a = &take->band[band], *b = &reference->band[band];
    return (PrintMore){a->spread_db - b->spread_db, hypot(a->spread_error_db, b->spread_error_db)};
}

/* ---- the table ---- */

typedef struct {
    char text[24];
} Figure;

/* "-12.3"; "-" for what is not known. */
static Figure figure(double value, int decimals) {
    Figure figure = {"-"};
    if (isfinite(value))
        snprintf(figure.text, sizeof figure.text, "%.*f", decimals, rounded(value, decimals));
    return figure;
}

static void heading(const char *text) {
    printf("\n  %s\n", text);
}

/* "    what ........  value unit, more"; `more` is a format of its own. */
static void row(const char *what, double value, int decimals, const char *unit, const char *more,
                ...) __attribute__((format(printf, 5, 6)));

static void row(const char *what, double value, int decimals, const char *unit, const char *more,
                ...) {
    va_list args;
    printf("    %-28s", what);
    if (isnan(value))
        printf("%9s", "unknown");
    else if (isinf(value))
        printf("%9s", value < 0 ? "silent" : "endless");
    else
        printf("%9.*f %s", decimals, rounded(value, decimals), unit);
    va_start(args, more);
    vprintf(more, args);
    va_end(args);
    putchar('\n');
}

static void row_none(const char *what) {
    printf("    %-28s%9s\n", what, "none");
}

static void table_level(const Measures *m) {
    heading("Loudness");
    row("integrated", m->integrated_lufs, 1, "LUFS", "%s", "");
    row("range", m->range_lu, 1, "LU", "%s", "");
    row("short-term, loudest", m->short_most_lufs, 1, "LUFS", "%s", "");
    row("momentary, loudest", m->momentary_most_lufs, 1, "LUFS", "%s", "");
    row("true peak", m->true_peak_db, 1, "dBTP", "   (sample peak %s dBFS)",
        figure(m->sample_peak_db, 1).text);
}

static void table_peaks(const Measures *m) {
    const StandingPeak *peak = m->peak;
    if (!peak->known)
        row("room resonance", (double)NAN, 0, "", "   too little singing to tell");
    else if (!peak->found)
        printf("    %-28s%9s   %.0f Hz..1 kHz\n", "room resonance", "none", peak->from_hz);
    for (; peak < m->peak + m->n_peaks; peak++)
        row("room resonance", peak->hz, 0, "Hz", "   %.0f dB, %.0f..%.0f Hz; seen in %s",
            peak->height_db, peak->low_hz, peak->high_hz,
            peak->by_noise ? "voice and noise" : "the voice");
}

static void table_faults(const Measures *m) {
    heading("Recording");
    row("noise floor", m->noise_db, 1, "dBFS", "%s", "");
    row("noise slope", m->noise_slope_db, 1, "dB/octave", "%s", "");
    if (!m->hum_known)
        row("hum", (double)NAN, 1, "", "   too short to tell");
    else if (!m->hum.found)
        printf("    %-28s%9s\n", "hum", "none");
    else
        row("hum", 10.0 * log10(m->hum.total), 1, "dBFS", "   at %.0f Hz and harmonics",
            m->hum.mains_hz);
    row("rumble", m->rumble_db, 1, "dBFS", "   below %.0f Hz", m->rumble_below_hz);
    for (unsigned c = 0; c < m->channels; c++)
        row(m->channels == 1 ? "DC"
            : c              ? "DC, right"
                             : "DC, left",
            text_db(fabs(m->dc[c])), 1, "dBFS", "%s", "");
    if (m->flat_tops == 0)
        row_none("clipped tops");
    else if (m->longest_top_ms > 0.0)
        row("clipped tops", (double)m->flat_tops, 0, "", "   longest %.2f ms", m->longest_top_ms);
    else
        row("clipped tops", (double)m->flat_tops, 0, "", "%s", "   filtered or resampled since");
    if (m->full_scale)
        row("frames at full scale", (double)m->full_scale, 0, "", "%s", "");
    row("reverberation, T60", m->t60_s, 2, "s",
        m->n_decays ? "   from %zu phrase ends" : "   no phrase ends freely", m->n_decays);
    table_peaks(m);
}

static double per_minute(const Measures *m, size_t count) {
    return m->length_s > 0.0 ? 60.0 * (double)count / m->length_s : (double)NAN;
}

static double median_breath(const Measures *m, bool lengths) {
    double *values = text_take(m->n_breaths, sizeof *values);
    for (size_t i = 0; i < m->n_breaths; i++)
        values[i] = lengths ? m->breaths[i].end_s - m->breaths[i].start_s : m->breaths[i].under_db;
    double median = statistics_median(values, m->n_breaths);
    free(values);
    return median;
}

static double median_sibilant(const Measures *m, bool centres) {
    double *values = text_take(m->n_sibilants, sizeof *values);
    for (size_t i = 0; i < m->n_sibilants; i++)
        values[i] = centres ? m->sibilants[i].centre_hz : m->sibilants[i].ratio_db;
    double median = statistics_median(values, m->n_sibilants);
    free(values);
    return median;
}

static double median_click(const Measures *m) {
    double *values = text_take(m->n_clicks, sizeof *values);
    for (size_t i = 0; i < m->n_clicks; i++)
        values[i] = m->clicks[i].height_db;
    double median = statistics_median(values, m->n_clicks);
    free(values);
    return median;
}

static double median_thump(const Measures *m) {
    double *values = text_take(m->n_thumps, sizeof *values);
    for (size_t i = 0; i < m->n_thumps; i++)
        values[i] = m->thumps[i].over_db;
    double median = statistics_median(values, m->n_thumps);
    free(values);
    return median;
}

static void table_breaths(const Measures *m) {
    if (m->n_breaths == 0)
        row_none("breaths");
    else
        row("breaths", (double)m->n_breaths, 0, "",
            "   %.1f a minute; %s dB under the voice, %s s long (medians)",
            per_minute(m, m->n_breaths), figure(median_breath(m, false), 1).text,
            figure(median_breath(m, true), 2).text);
}

static void table_sibilants(const Measures *m) {
    if (m->n_sibilants == 0)
        row_none("sibilants");
    else
        row("sibilants", (double)m->n_sibilants, 0, "",
            "   %.1f a minute; %s dB against the vowels, at %s Hz (medians)",
            per_minute(m, m->n_sibilants), figure(median_sibilant(m, false), 1).text,
            figure(median_sibilant(m, true), 0).text);
}

static void table_clicks(const Measures *m) {
    if (m->n_clicks == 0) {
        row_none("clicks");
        return;
    }
    row("clicks", (double)m->n_clicks, 0, "", "   median %s dB high",
        figure(median_click(m), 1).text);
    row("stand out by 12 dB", (double)measures_clear_clicks(m), 0, "", "%s", "");
}

static void table_thumps(const Measures *m) {
    if (m->n_thumps == 0)
        row_none("thumps");
    else
        row("thumps", (double)m->n_thumps, 0, "",
            "   of /p/ and /b/; %s dB over the voice's low end (median)",
            figure(median_thump(m), 1).text);
}

static void table_sounds(const Measures *m) {
    heading("Sounds");
    row("phrases", (double)m->n_phrases, 0, "", "   %.1f s sung", m->sung_s);
    row("spread between them", m->spread_db, 1, "dB", "   loudest over softest %s dB",
        figure(measures_phrase_reach(m), 1).text);
    table_breaths(m);
    table_sibilants(m);
    table_clicks(m);
    table_thumps(m);
}

/* Each with how well it is known. */
static void print_more(const Measures *m, const Measures *reference, size_t band) {
    PrintMore level = print_more_level_db(m, reference, band);
    PrintMore spread = print_more_spread_db(m, reference, band);
    printf("%14s +-%s dB%9s +-%s dB", figure(level.value, 1).text, figure(level.error, 1).text,
           figure(spread.value, 1).text, figure(spread.error, 1).text);
}

static void table_colour(const Measures *m, const Measures *reference) {
    heading("Colour");
    row("8..16 kHz over 0.2..2 kHz", m->air_db, 1, "dB", "%s", "");
    printf("    %-28s%9s%15s", "band", "level", "spread");
    puts(reference ? "     over the reference: level, spread" : "");
    for (size_t i = 0; i < BAND_CREST_BANDS; i++) {
        char what[40];
        snprintf(what, sizeof what, "%s, %s", print_band_name[i], band_range[i]);
        printf("    %-28s%9s dBFS%7s dB", what, figure(m->band[i].level_db, 1).text,
               figure(m->band[i].spread_db, 1).text);
        if (reference)
            print_more(m, reference, i);
        putchar('\n');
    }
}

static void table_intonation(const Measures *m) {
    const Intonation *in = &m->intonation;
    if (!in->known) {
        row("off pitch, mean", (double)NAN, 0, "", "   %s",
            in->sung || m->voiced_s < 2.0 ? "too little singing to tell" : "it is not sung");
        return;
    }
    row("tuning over A 440", in->tuning_cents, 0, "cents", "%s", "");
    row("off pitch, mean", m->off_cents, 0, "cents", "%s   give or take %s; of %zu notes",
        in->at_least ? " or more" : "", figure(in->give_cents, 0).text, m->n_sung);
    row("leaning", m->lean_cents, 0, "cents", "%s", "");
    if (in->drift_cents != 0.0)
        row("drift over the take", in->drift_cents, 0, "cents", "%s", "");
}

static void table_pitch(const Measures *m) {
    char low[24], middle[24], high[24], key[64];
    heading("Pitch");
    row("voiced", m->voiced_s, 1, "s", "%s", "");
    if (isnan(m->low_hz))
        row("lowest", (double)NAN, 1, "", "   too little singing to tell");
    else
        printf("    %-28s%9s Hz   %s;  middle %s;  highest %s\n", "lowest",
               figure(m->low_hz, 1).text, pitch_name_note(low, m->low_hz),
               pitch_name_note(middle, m->middle_hz), pitch_name_note(high, m->high_hz));
    printf("    %-28s%9s\n", "key", measures_key_text(key, m));
    table_intonation(m);
}

static void table_phrases(const Measures *m) {
    char start[32], end[32];
    printf("\n    %-4s%10s%10s%12s%12s%14s\n", "", "from", "to", "loudness", "off pitch",
           "leaning");
    for (size_t i = 0; i < m->n_phrases; i++) {
        const MeasurePhrase *p = &m->phrases[i];
        printf("    %-4zu%10s%10s%7.1f LUFS", i + 1, text_time(start, p->start_s),
               text_time(end, p->end_s), p->lufs);
        if (isnan(p->off_cents))
            puts("           -             -");
        else
            printf("%6.0f cents%+8.0f cents\n", p->off_cents, rounded(p->lean_cents, 0));
    }
}

static void table_events(const Measures *m) {
    char start[32];
    heading("Phrases");
    table_phrases(m);
    heading("Breaths");
    for (size_t i = 0; i < m->n_breaths; i++)
        printf("    %10s%8.2f s %8s dB under the voice\n", text_time(start, m->breaths[i].start_s),
               m->breaths[i].end_s - m->breaths[i].start_s, figure(m->breaths[i].under_db, 1).text);
    heading("Sibilants");
    for (size_t i = 0; i < m->n_sibilants; i++)
        printf("    %10s%8.2f s %8.1f dB against the vowels %8.0f Hz\n",
               text_time(start, m->sibilants[i].start_s),
               m->sibilants[i].end_s - m->sibilants[i].start_s, m->sibilants[i].ratio_db,
               m->sibilants[i].centre_hz);
    heading("Clicks");
    for (size_t i = 0; i < m->n_clicks; i++)
        printf("    %10s%8.1f dB high %8.0f..%.0f Hz\n", text_time(start, m->clicks[i].at_s),
               m->clicks[i].height_db, m->clicks[i].low_hz, m->clicks[i].high_hz);
    heading("Thumps");
    for (size_t i = 0; i < m->n_thumps; i++)
        printf("    %10s%8.2f s %8.1f dB over the voice's low end\n",
               text_time(start, m->thumps[i].start_s), m->thumps[i].end_s - m->thumps[i].start_s,
               m->thumps[i].over_db);
}

void print_table(const Measures *m, const Measures *reference, bool all) {
    char length[32], path[4096];
    printf("%s: %s, %g Hz, %s\n", text_plain(path, sizeof path, m->path),
           text_time(length, m->length_s), m->rate_hz, m->channels == 1 ? "mono" : "stereo");
    table_level(m);
    table_faults(m);
    table_sounds(m);
    table_colour(m, reference);
    table_pitch(m);
    if (all)
        table_events(m);
}

/* ---- a line for each of several takes ---- */

void print_row_head(void) {
    printf("%-28s%9s%8s%8s%8s%8s%8s%8s%7s%8s%7s  %s\n", "take", "length", "LUFS", "LU", "dBTP",
           "noise", "phrases", "breaths", "sibil.", "clicks", "T60 s", "key");
}

static void cell(int width, double value, int decimals) {
    if (isfinite(value))
        printf("%*.*f", width, decimals, value);
    else
        printf("%*s", width, "-");
}

void print_row(const Measures *m) {
    char length[32], key[64], name[1024];
    printf("%-28s%9s", text_plain(name, sizeof name, text_base(m->path)),
           text_time(length, m->length_s));
    cell(8, m->integrated_lufs, 1);
    cell(8, m->range_lu, 1);
    cell(8, m->true_peak_db, 1);
    cell(8, m->noise_db, 1);
    printf("%8zu%8zu%7zu%8zu", m->n_phrases, m->n_breaths, m->n_sibilants, m->n_clicks);
    cell(7, m->t60_s, 2);
    printf("  %s\n", m->key_known ? measures_key_text(key, m) : "-");
}

/* ---- CSV ---- */

typedef struct {
    const char *name;
    double value;
} Column;

enum { MOST_COLUMNS = 64 };

static size_t columns_of(const Measures *m, const Measures *reference, Column *c) {
    size_t n = 0;
    c[n++] = (Column){"length_s", m->length_s};
    c[n++] = (Column){"rate_hz", m->rate_hz};
    c[n++] = (Column){"channels", m->channels};
    c[n++] = (Column){"integrated_lufs", m->integrated_lufs};
    c[n++] = (Column){"range_lu", m->range_lu};
    c[n++] = (Column){"short_term_most_lufs", m->short_most_lufs};
    c[n++] = (Column){"momentary_most_lufs", m->momentary_most_lufs};
    c[n++] = (Column){"true_peak_dbtp", m->true_peak_db};
    c[n++] = (Column){"noise_dbfs", m->noise_db};
    c[n++] = (Column){"noise_slope_db_per_octave", m->noise_slope_db};
    c[n++] = (Column){"hum_hz", m->hum.found ? m->hum.mains_hz : (double)NAN};
    c[n++] = (Column){"hum_dbfs", m->hum.found ? 10.0 * log10(m->hum.total) : (double)NAN};
    c[n++] = (Column){"rumble_dbfs", m->rumble_db};
    c[n++] = (Column){"clipped_tops", (double)m->flat_tops};
    c[n++] = (Column){"t60_s", m->t60_s};
    c[n++] = (Column){"standing_peak_hz", m->n_peaks ? m->peak[0].hz : (double)NAN};
    c[n++] = (Column){"standing_peak_db", m->n_peaks ? m->peak[0].height_db : (double)NAN};
    c[n++] = (Column){"sung_s", m->sung_s};
    c[n++] = (Column){"phrases", (double)m->n_phrases};
    c[n++] = (Column){"phrase_spread_db", m->spread_db};
    c[n++] = (Column){"breaths", (double)m->n_breaths};
    c[n++] = (Column){"breath_under_voice_db", median_breath(m, false)};
    c[n++] = (Column){"sibilants_per_minute", per_minute(m, m->n_sibilants)};
    c[n++] = (Column){"sibilant_ratio_db", median_sibilant(m, false)};
    c[n++] = (Column){"clicks", (double)m->n_clicks};
    c[n++] = (Column){"clear_clicks", (double)measures_clear_clicks(m)};
    c[n++] = (Column){"thumps", (double)m->n_thumps};
    c[n++] = (Column){"clear_thumps", (double)measures_clear_thumps(m)};
    c[n++] = (Column){"air_db", m->air_db};
    c[n++] = (Column){"lowest_hz", m->low_hz};
    c[n++] = (Column){"highest_hz", m->high_hz};
    c[n++] = (Column){"key_confidence", m->key_known ? m->key.best.p : (double)NAN};
    c[n++] =
        (Column){"tuning_cents", m->intonation.known ? m->intonation.tuning_cents : (double)NAN};
    c[n++] = (Column){"off_pitch_cents", m->off_cents};
    c[n++] = (Column){"drift_cents", m->intonation.known ? m->intonation.drift_cents : (double)NAN};
    static const char *const level[] = {"bottom_dbfs", "body_dbfs", "presence_dbfs", "air_dbfs"};
    static const char *const spread[] = {"bottom_spread_db", "body_spread_db", "presence_spread_db",
                                         "air_spread_db"};
    static const char *const more[] = {"bottom_over_reference_db", "body_over_reference_db",
                                       "presence_over_reference_db", "air_over_reference_db"};
    static const char *const more_spread[] = {
        "bottom_spread_over_reference_db", "body_spread_over_reference_db",
        "presence_spread_over_reference_db", "air_spread_over_reference_db"};
    for (size_t i = 0; i < BAND_CREST_BANDS; i++) {
        c[n++] = (Column){level[i], m->band[i].level_db};
        c[n++] = (Column){spread[i], m->band[i].spread_db};
        if (reference) {
            c[n++] = (Column){more[i], print_more_level_db(m, reference, i).value};
            c[n++] = (Column){more_spread[i], print_more_spread_db(m, reference, i).value};
        }
    }
    return n;
}

void print_csv_head(bool reference) {
    static const Measures none = {0};
    Column column[MOST_COLUMNS];
    size_t n = columns_of(&none, reference ? &none : NULL, column);
    fputs("take,key", stdout);
    for (size_t i = 0; i < n; i++)
        printf(",%s", column[i].name);
    putchar('\n');
}

void print_csv(const Measures *m, const Measures *reference) {
    Column column[MOST_COLUMNS];
    char key[64];
    size_t n = columns_of(m, reference, column);
    text_csv(stdout, m->path);
    printf(",%s", m->key_known ? measures_key_text(key, m) : "");
    for (size_t i = 0; i < n; i++) {
        putchar(',');
        if (isfinite(column[i].value))
            printf("%.6g", column[i].value);
    }
    putchar('\n');
}
