/* SPDX-License-Identifier: ISC */
#include "siskin/measure/take.h"

#include "measure/decay_time.h"
#include "siskin/measure/analysis.h"
#include "siskin/measure/first_pass.h"
#include "siskin/measure/singing.h"
#include "siskin/measure/statistics.h"
#include "siskin/render/audio.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double power_db(double power) {
    return power > 0.0 ? 10.0 * log10(power) : power == 0.0 ? -INFINITY : (double)NAN;
}

/* ---- what needs the spectra ---- */

/* Third octaves of density, dB/Hz, and the least-squares slope over octaves. */
static double slope_of(const MeanSpectrum *spectrum, unsigned kind) {
    const double low_hz = 100.0;
    const int thirds = 20; /* to 10 kHz */
    double n = 0.0, x_sum = 0.0, y_sum = 0.0, xx = 0.0, xy = 0.0;
    for (int i = 0; i < thirds; i++) {
        double x = i / 3.0;
        double from = low_hz * exp2(x), to = low_hz * exp2(x + 1.0 / 3.0);
        double power = mean_spectrum_band(spectrum, kind, from, to);
        if (to > 0.45 * spectrum->rate_hz || !(power > 0.0))
            continue;
        double y = 10.0 * log10(power / (to - from));
        n += 1.0;
        x_sum += x;
        y_sum += y;
        xx += x * x;
        xy += x * y;
    }
    return n >= 6.0 ? (n * xy - x_sum * y_sum) / (n * xx - x_sum * x_sum) : (double)NAN;
}

/* What lies so little under the voice is no room, but a voice that was not heard as one. Power
 * under -150 dB is the rounding of the transform: digital silence. */
static void measure_noise(const Analysis *analysis, Measures *m) {
    const double lowest_hz = 20.0, highest_hz = 20000.0, under_voice = 0.0631, least = 1e-15;
    double noise = mean_spectrum_band(&analysis->spectrum, SPECTRUM_QUIET, lowest_hz, highest_hz);
    double voice = mean_spectrum_band(&analysis->spectrum, SPECTRUM_SUNG, lowest_hz, highest_hz);
    bool known = !(noise > under_voice * voice);
    m->noise_db = power_db(!known ? (double)NAN : noise < least ? 0.0 : noise);
    m->noise_slope_db =
        known && noise >= least ? slope_of(&analysis->spectrum, SPECTRUM_QUIET) : (double)NAN;
    m->hum_known = hum_reading(&analysis->hum, &m->hum);
}

/* Below 0.6 of the lowest notes, where a Hann window's leak from them is 31 dB down. */
static void measure_rumble(const Analysis *analysis, Measures *m) {
    const double unknown_voice_hz = 60.0, share = 0.6, from_hz = 8.0;
    m->rumble_below_hz = isnan(m->low_hz) ? unknown_voice_hz : share * m->low_hz;
    double power =
        mean_spectrum_band(&analysis->spectrum, SPECTRUM_ALL, from_hz, m->rumble_below_hz);
    for (size_t k = 0; m->hum_known && k < HUM_HARMONICS; k++)
        if (m->hum.mains_hz * (double)(k + 1) < m->rumble_below_hz)
            power -= m->hum.power[k];
    m->rumble_db = power_db(fmax(power, 0.0) + (isnan(power) ? (double)NAN : 0.0));
}

/* Of the channels: powers are averaged, and so are what is in dB. */
static MeasureBand band_of(const Analysis *analysis, size_t band) {
    MeasureBand mean = {0.0, 0.0, 0.0, 0.0, 0.0};
    double power = 0.0, share = 1.0 / analysis->channels;
    for (unsigned c = 0; c < analysis->channels; c++) {
        const BandCrest *profile = &analysis->profile[c];
        power += share * pow(10.0, 0.1 * band_crest_level_db(profile, band));
        mean.level_error_db += share * band_crest_level_error_db(profile, band);
        mean.spread_db += share * band_crest_spread_db(profile, band);
        mean.spread_error_db += share * band_crest_spread_error_db(profile, band);
        mean.crest_db += share * band_crest_crest_db(profile, band);
    }
    mean.level_db = power_db(power);
    return mean;
}

/* A channel's share of the loudness while sung, wherever the gating blocks of the standard fall. */
static double sung_lufs(const Analysis *analysis) {
    double power = 0.0, n = 0.0;
    for (size_t i = 0; i < analysis->n_hops; i++)
        if (analysis->hops[i].sung) {
            power += (double)analysis->hops[i].k_power;
            n += 1.0;
        }
    return n > 0.0 ? loudness_from_power(power / n / analysis->channels) : (double)NAN;
}

static void measure_colour(const Analysis *analysis, Measures *m) {
    double air = mean_spectrum_band(&analysis->spectrum, SPECTRUM_VOWEL, 8000.0, 16000.0);
    double body = mean_spectrum_band(&analysis->spectrum, SPECTRUM_VOWEL, 200.0, 2000.0);
    m->air_db = analysis->rate_hz >= 32000.0 && body > 0.0 ? power_db(air / body) : (double)NAN;
    m->sung_lufs = sung_lufs(analysis);
    for (size_t i = 0; i < BAND_CREST_BANDS; i++)
        m->band[i] = band_of(analysis, i);
}

/* ---- what needs the hops ---- */

static size_t hop_at(const Analysis *analysis, double s) {
    double hop_s = analysis_hop_s(analysis, 1) - analysis_hop_s(analysis, 0);
    double at = (s - analysis_hop_s(analysis, 0)) / hop_s;
    return at <= 0.0 ? 0 : at >= (double)analysis->n_hops ? analysis->n_hops : (size_t)lround(at);
}

/* Mean power of hops within the times, of all kinds or of sung ones alone; 0 when there are none.
 */
static double hop_power(const Analysis *analysis, double from_s, double to_s, bool sung) {
    double sum = 0.0, n = 0.0;
    size_t end = hop_at(analysis, to_s);
    for (size_t i = hop_at(analysis, from_s); i < end; i++) {
        if (sung && !analysis->hops[i].sung)
            continue;
        sum += (double)analysis->hops[i].power;
        n += 1.0;
    }
    return n > 0.0 ? sum / n : 0.0;
}

static const MeasurePhrase *nearest_phrase(const Measures *m, double s) {
    const MeasurePhrase *nearest = NULL;
    double least = INFINITY;
    for (size_t i = 0; i < m->n_phrases; i++) {
        double away = fmax(m->phrases[i].start_s - s, s - m->phrases[i].end_s);
        if (away < least) {
            least = away;
            nearest = &m->phrases[i];
        }
    }
    return nearest;
}

static void measure_breaths(const Analysis *analysis, Measures *m) {
    for (size_t i = 0; i < m->n_breaths; i++) {
        MeasureBreath *breath = &m->breaths[i];
        const MeasurePhrase *phrase = nearest_phrase(m, breath->end_s);
        double own = hop_power(analysis, breath->start_s, breath->end_s, false);
        double voice = phrase ? hop_power(analysis, phrase->start_s, phrase->end_s, true) : 0.0;
        breath->under_db = own > 0.0 && voice > 0.0 ? power_db(voice / own) : (double)NAN;
    }
}

static void measure_spread(Measures *m) {
    double mean = 0.0, square = 0.0, n = (double)m->n_phrases;
    for (size_t i = 0; i < m->n_phrases; i++)
        mean += m->phrases[i].lufs / n;
    for (size_t i = 0; i < m->n_phrases; i++)
        square += (m->phrases[i].lufs - mean) * (m->phrases[i].lufs - mean);
    m->spread_db = m->n_phrases > 1 ? sqrt(square / (n - 1.0)) : (double)NAN;
}

size_t measures_clear_clicks(const Measures *m) {
    size_t clear = 0;
    for (size_t i = 0; i < m->n_clicks; i++)
        clear += m->clicks[i].height_db >= MEASURE_CLEAR_CLICK_DB;
    return clear;
}

size_t measures_clear_thumps(const Measures *m) {
    size_t clear = 0;
    for (size_t i = 0; i < m->n_thumps; i++)
        clear += m->thumps[i].over_db >= MEASURE_CLEAR_THUMP_DB;
    return clear;
}

double measures_phrase_reach(const Measures *m) {
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < m->n_phrases; i++) {
        least = fmin(least, m->phrases[i].lufs);
        most = fmax(most, m->phrases[i].lufs);
    }
    return m->n_phrases ? most - least : (double)NAN;
}

/* Mean power of quiet moments, in the band of the hops. */
static double floor_of(const Analysis *analysis) {
    double sum = 0.0, n = 0.0;
    for (size_t i = VOICE_SENSE_SMOOTHED; i < analysis->n_hops; i++)
        if (analysis->hops[i].quiet &&
            analysis_hop_s(analysis, i) * analysis->rate_hz < (double)analysis->frames) {
            sum += (double)analysis->hops[i].power;
            n += 1.0;
        }
    return n > 0.0 ? sum / n : 0.0;
}

static bool in_breath(const Measures *m, double s) {
    for (size_t i = 0; i < m->n_breaths; i++)
        if (s >= m->breaths[i].start_s && s <= m->breaths[i].end_s)
            return true;
    return false;
}

/* The end of the run of quiet hops outside breaths that begins at `first`; `first` when there is
 * none.
 */
static size_t end_of_quiet(const Analysis *analysis, const Measures *m, size_t first) {
    size_t end = first;
    while (end < analysis->n_hops && analysis->hops[end].quiet &&
           analysis_hop_s(analysis, end) < m->length_s &&
           !in_breath(m, analysis_hop_s(analysis, end)))
        end++;
    return end;
}

/* Half of the gaps' time is quieter. Shorter stretches are closures within words, or lie around a
 * breath: nobody cuts there, and gap-trimmer does not by default. Unknown by less than 0.3 s of
 * gaps, or when they lie so little under the voice that they are none. Digital silence still rings
 * in the filters. */
static void measure_gaps(const Analysis *analysis, Measures *m) {
    const double shortest_s = 0.25, fewest_s = 0.3, under_voice = 0.0631, silent_db = -150.0;
    double hop_s = analysis_hop_s(analysis, 1) - analysis_hop_s(analysis, 0);
    double *level_db = text_take(analysis->n_hops, sizeof *level_db);
    double voice = hop_power(analysis, 0.0, m->length_s, true);
    size_t n = 0, end;
    for (size_t i = VOICE_SENSE_SMOOTHED; i < analysis->n_hops; i = end + 1) {
        end = end_of_quiet(analysis, m, i);
        for (size_t k = i; k < end && (double)(end - i) * hop_s >= shortest_s; k++)
            level_db[n++] = fmax(power_db((double)analysis->hops[k].power), silent_db);
    }
    double median_db = statistics_quantile(level_db, n, 0.5);
    bool known = (double)n * hop_s >= fewest_s && median_db < power_db(under_voice * voice);
    m->gap_db = !known ? (double)NAN : median_db > silent_db ? median_db : -INFINITY;
    free(level_db);
}

/* A phrase end is looked at from 400 ms before it until the next phrase, or 3 s at most. */
static bool fit_end(const Analysis *analysis, const Measures *m, size_t i, double floor,
                    double *t60_s) {
    const double before_s = 0.4, after_s = 3.0;
    float power[DECAY_TIME_MOST];
    double hop_s = analysis_hop_s(analysis, 1) - analysis_hop_s(analysis, 0);
    double end_s = m->phrases[i].end_s;
    double until_s = fmin(m->length_s, end_s + after_s);
    if (i + 1 < m->n_phrases)
        until_s = fmin(until_s, m->phrases[i + 1].start_s);
    size_t first = hop_at(analysis, end_s - before_s), last = hop_at(analysis, until_s), n = 0;
    for (size_t k = first; k < last && n < DECAY_TIME_MOST; k++)
        power[n++] = analysis->hops[k].power;
    size_t voiced = hop_at(analysis, end_s) - first;
    return decay_time_fit(power, n, voiced, hop_s, floor, t60_s);
}

static void measure_room(const Analysis *analysis, Measures *m) {
    double floor = floor_of(analysis);
    double *t60_s = text_take(m->n_phrases, sizeof *t60_s);
    for (size_t i = 0; i < m->n_phrases; i++)
        m->n_decays += fit_end(analysis, m, i, floor, &t60_s[m->n_decays]);
    m->t60_s = m->n_decays ? decay_time_of_room(t60_s, m->n_decays) : (double)NAN;
    free(t60_s);
}

static double sung_time(const Analysis *analysis) {
    size_t n = 0;
    for (size_t i = 0; i < analysis->n_hops; i++)
        n += analysis->hops[i].sung;
    return (double)n * (analysis_hop_s(analysis, 1) - analysis_hop_s(analysis, 0));
}

/* ---- the take ---- */

static bool conclude(Analysis *analysis, Measures *m) {
    m->integrated_lufs = loudness_integrated(&analysis->loudness);
    m->short_most_lufs = loudness_short_term_most(&analysis->loudness);
    m->momentary_most_lufs = loudness_momentary_most(&analysis->loudness);
    m->range_lu = loudness_range(&analysis->loudness);
    m->true_peak_db = text_db((double)true_peak_true(&analysis->peak));
    m->sample_peak_db = text_db((double)true_peak_sample(&analysis->peak));
    for (unsigned c = 0; c < analysis->channels; c++)
        m->dc[c] = clipping_dc(&analysis->tops, c);
    m->full_scale = analysis->tops.state.full_scale;
    const ClippingReading clipped = clipping_reading(&analysis->tops);
    m->flat_tops = clipped.tops;
    m->longest_top_ms = 1e3 * (double)clipped.longest / analysis->rate_hz;
    m->sung_s = sung_time(analysis);
    measure_noise(analysis, m);
    bool fine = singing_measure(analysis, m);
    measure_rumble(analysis, m);
    measure_colour(analysis, m);
    measure_breaths(analysis, m);
    measure_gaps(analysis, m);
    measure_spread(m);
    measure_room(analysis, m);
    m->n_peaks = resonances_find_all(&analysis->standing, m->peak);
    return fine;
}

static bool listen(AudioReader *reader, Analysis *analysis, MeasureProgress *progress, void *user,
                   HostError *error) {
    static float audio[2][ANALYSIS_BLOCK];
    float *const out[] = {audio[0], audio[1]};
    const float *const in[] = {audio[0], audio[1]};
    while (reader->at < reader->frames) {
        uint64_t left = reader->frames - reader->at;
        size_t n = left < ANALYSIS_BLOCK ? (size_t)left : ANALYSIS_BLOCK;
        if (!audio_read(reader, out, n, error))
            return false;
        analysis_hear(analysis, in, n);
        if (progress)
            progress(user, (double)reader->at / (double)reader->frames);
    }
    analysis_finish(analysis);
    return true;
}

static bool measure_open(AudioReader *reader, Measures *m, MeasureProgress *progress, void *user,
                         HostError *error) {
    if (reader->rate_hz < 8000.0 || reader->rate_hz > 192000.0)
        return host_fail(error, "%s has a rate of %g Hz; 8000 to 192000 are allowed", reader->path,
                         reader->rate_hz);
    Analysis *analysis = text_take(1, sizeof *analysis);
    bool fine = analysis_open(analysis, reader->rate_hz, reader->channels, m);
    if (!fine)
        host_fail(error, "%s: out of memory", reader->path);
    FirstPass first;
    fine = fine && first_pass(reader->path, &analysis->scene_params, &first, error);
    if (fine) {
        scene_begin_with(&analysis->scene, &first.known);
        analysis->dc = (float)first.dc;
    }
    fine = fine && listen(reader, analysis, progress, user, error);
    m->rate_hz = reader->rate_hz;
    m->channels = reader->channels;
    m->length_s = (double)reader->frames / reader->rate_hz;
    m->cleaned = reader->cleaned;
    text_add(m->notes, sizeof m->notes, "%s", audio_notes(reader));
    if (fine && !conclude(analysis, m))
        fine = host_fail(error, "%s: out of memory", reader->path);
    analysis_close(analysis);
    free(analysis);
    return fine;
}

bool measure_take(const char *path, Measures *measures, MeasureProgress *progress, void *user,
                  HostError *error) {
    AudioReader reader;
    *measures = (Measures){.path = text_copy(path)};
    bool fine = audio_open(&reader, path, error);
    if (fine)
        fine = measure_open(&reader, measures, progress, user, error);
    audio_close(&reader);
    if (!fine)
        measures_free(measures);
    return fine;
}

void measures_free(Measures *m) {
    free(m->path);
    free(m->phrases);
    free(m->breaths);
    free(m->sibilants);
    free(m->clicks);
    free(m->thumps);
    free(m->pitch_hz);
    free(m->sung);
    *m = (Measures){0};
}
