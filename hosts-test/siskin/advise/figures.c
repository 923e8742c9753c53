/* SPDX-License-Identifier: ISC */
#include "siskin/advise/figures.h"

#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

/* NAN stays NAN. */
static double db_of(double power) {
    return power <= 0.0 ? -INFINITY : 10.0 * log10(power);
}

/* Loudness adds up the channels, spectra take their mean. */
static double voice_db(const Measures *m) {
    return m->integrated_lufs - db_of((double)m->channels);
}

static double hum_power(const Measures *m, double from_hz, double to_hz) {
    double power = 0.0;
    for (size_t k = 0; m->hum_known && m->hum.found && k < HUM_HARMONICS; k++) {
        double hz = m->hum.mains_hz * (double)(k + 1);
        power += hz >= from_hz && hz < to_hz ? m->hum.power[k] : 0.0;
    }
    return power;
}

/* With its hum, since what a filter leaves of hum is no longer known as such. */
double figure_rumble_under_db(const Measures *m) {
    double hum = isnan(m->rumble_below_hz) ? 0.0 : hum_power(m, 0.0, m->rumble_below_hz);
    return voice_db(m) - db_of(pow(10.0, 0.1 * m->rumble_db) + hum);
}

static double hum_under_db(const Measures *m, double from_hz, double to_hz) {
    return m->hum_known ? voice_db(m) - db_of(hum_power(m, from_hz, to_hz)) : (double)NAN;
}

double figure_low_hum_under_db(const Measures *m) {
    return hum_under_db(m, 0.0, m->rumble_below_hz);
}

double figure_high_hum_under_db(const Measures *m) {
    return hum_under_db(m, m->rumble_below_hz, INFINITY);
}

double figure_dc_db(const Measures *m) {
    double most = fabs(m->dc[0]);
    if (m->channels > 1)
        most = fmax(most, fabs(m->dc[1]));
    return text_db(most);
}

/* Of a short take as if it were half a minute, so that one click makes no rate. */
static double a_minute(const Measures *m, size_t count) {
    const double shortest_s = 30.0;
    return count ? 60.0 * (double)count / fmax(m->length_s, shortest_s) : -INFINITY;
}

double figure_clicks_a_minute(const Measures *m) {
    return a_minute(m, measures_clear_clicks(m));
}

double figure_thumps_a_minute(const Measures *m) {
    return a_minute(m, measures_clear_thumps(m));
}

bool figure_needs_riding(const Measures *m) {
    return m->spread_db > ADVICE_SPREAD_MOST_DB;
}

/* How much closer riding brings a breath to the phrase after it: it keeps the gain of the one
 * before. */
static double breath_lift_db(const Measures *m, const MeasureBreath *breath) {
    const MeasurePhrase *before = NULL, *after = NULL;
    for (size_t i = 0; i < m->n_phrases; i++) {
        if (m->phrases[i].start_s < breath->start_s)
            before = &m->phrases[i];
        else if (!after)
            after = &m->phrases[i];
    }
    return before && after ? fmax(0.0, after->lufs - before->lufs) : 0.0;
}

double figure_breath_under_db(const Measures *m) {
    const size_t fewest = 3; /* one or two may be none */
    double *values = text_take(m->n_breaths, sizeof *values);
    for (size_t i = 0; i < m->n_breaths; i++)
        values[i] = m->breaths[i].under_db -
                    (figure_needs_riding(m) ? breath_lift_db(m, &m->breaths[i]) : 0.0);
    double quantile = statistics_quantile(values, m->n_breaths, ADVICE_BREATH_SHARE);
    free(values);
    return m->n_breaths >= fewest ? quantile : INFINITY;
}

double figure_sibilant_quantile_db(const Measures *m, double p) {
    double *values = text_take(m->n_sibilants, sizeof *values);
    for (size_t i = 0; i < m->n_sibilants; i++)
        values[i] = m->sibilants[i].ratio_db;
    double quantile = statistics_quantile(values, m->n_sibilants, p);
    free(values);
    return quantile;
}

/* The gain may move between a sibilant and the vowels that it is held against. */
double figure_sibilant_db(const Measures *m) {
    const size_t fewest = 3;
    double lift_db = figure_needs_riding(m) ? 0.5 * m->spread_db : 0.0;
    return m->n_sibilants >= fewest
               ? figure_sibilant_quantile_db(m, ADVICE_SIBILANT_SHARE) + lift_db
               : -INFINITY;
}

static double softest_phrase_db(const Measures *m) {
    double least = INFINITY;
    for (size_t i = 0; i < m->n_phrases; i++)
        least = fmin(least, m->phrases[i].lufs);
    return m->n_phrases ? least - db_of((double)m->channels) : (double)NAN;
}

/* Under the softest phrase, which is brought up most, and the noise with it. */
double figure_noise_under_db(const Measures *m) {
    return softest_phrase_db(m) - m->gap_db;
}

double figure_spread_db(const Measures *m) {
    return m->n_phrases == 1 ? -INFINITY : m->spread_db;
}

double figure_clipped_tops(const Measures *m) {
    return m->flat_tops ? (double)m->flat_tops : -INFINITY;
}

/* One phrase end alone may be a consonant's. */
double figure_t60_s(const Measures *m) {
    const size_t fewest = 2;
    return m->n_decays >= fewest ? m->t60_s : (double)NAN;
}

double figure_standing_peak_db(const Measures *m) {
    if (!m->peak[0].known)
        return (double)NAN;
    double most_db = -(double)INFINITY;
    for (size_t i = 0; i < m->n_peaks; i++)
        most_db = fmax(most_db, m->peak[i].height_db);
    return most_db;
}

static bool has_steps(const Measures *m) {
    const Intonation *in = &m->intonation;
    return (in->fits || measures_key_sure(m)) && fabs(in->drift_cents) <= ADVICE_MOST_DRIFT_CENTS;
}

double figure_far_off_percent(const Measures *m) {
    const Intonation *in = &m->intonation;
    return in->known && has_steps(m) ? 100.0 * in->far_off : (double)NAN;
}

double figure_no_scale_cents(const Measures *m) {
    if (!m->intonation.known)
        return (double)NAN;
    return has_steps(m) ? -(double)INFINITY : m->off_cents;
}
