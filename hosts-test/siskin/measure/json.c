/* SPDX-License-Identifier: ISC */
/* Measures as JSON. Names end in their unit; null is what cannot be measured. */
#include "siskin/measure/pitch_name.h"
#include "siskin/measure/print.h"

#include "siskin/text.h"

#include <math.h>

static void json_level(Json *j, const Measures *m) {
    json_open(j, "loudness", '{', false);
    json_number(j, "integrated_lufs", m->integrated_lufs, 2);
    json_number(j, "range_lu", m->range_lu, 2);
    json_number(j, "short_term_most_lufs", m->short_most_lufs, 2);
    json_number(j, "momentary_most_lufs", m->momentary_most_lufs, 2);
    json_number(j, "true_peak_dbtp", m->true_peak_db, 2);
    json_number(j, "sample_peak_dbfs", m->sample_peak_db, 2);
    json_close(j, '}');
}

static double db_of(double power) {
    return power > 0.0 ? 10.0 * log10(power) : (double)NAN;
}

static void json_hum(Json *j, const Measures *m) {
    json_truth(j, "hum_known", m->hum_known);
    if (!m->hum_known || !m->hum.found) {
        json_text(j, "hum", NULL);
        return;
    }
    json_open(j, "hum", '{', true);
    json_number(j, "mains_hz", m->hum.mains_hz, 0);
    json_number(j, "level_dbfs", db_of(m->hum.total), 2);
    json_open(j, "harmonics_dbfs", '[', true);
    for (size_t k = 0; k < HUM_HARMONICS; k++)
        json_number(j, NULL, db_of(m->hum.power[k]), 2);
    json_close(j, ']');
    json_close(j, '}');
}

static void json_peak(Json *j, const char *name, const StandingPeak *peak) {
    json_open(j, name, '{', true);
    json_number(j, "centre_hz", peak->hz, 0);
    json_number(j, "from_hz", peak->low_hz, 0);
    json_number(j, "to_hz", peak->high_hz, 0);
    json_number(j, "height_db", peak->height_db, 1);
    json_truth(j, "in_noise_too", peak->by_noise);
    json_number(j, "evidence", peak->voice, 2);
    json_close(j, '}');
}

/* The surest by itself, then those beside it. */
static void json_peaks(Json *j, const Measures *m) {
    json_truth(j, "standing_peak_known", m->peak[0].known);
    if (m->n_peaks == 0)
        json_text(j, "standing_peak", NULL);
    else
        json_peak(j, "standing_peak", &m->peak[0]);
    json_open(j, "more_standing_peaks", '[', true);
    for (size_t i = 1; i < m->n_peaks; i++)
        json_peak(j, NULL, &m->peak[i]);
    json_close(j, ']');
}

static void json_recording(Json *j, const Measures *m) {
    json_open(j, "recording", '{', false);
    json_number(j, "noise_floor_dbfs", m->noise_db, 2);
    json_number(j, "noise_slope_db_per_octave", m->noise_slope_db, 2);
    json_hum(j, m);
    json_number(j, "rumble_dbfs", m->rumble_db, 2);
    json_number(j, "rumble_below_hz", m->rumble_below_hz, 1);
    json_open(j, "dc", '[', true);
    for (unsigned c = 0; c < m->channels; c++)
        json_number(j, NULL, m->dc[c], 8);
    json_close(j, ']');
    json_whole(j, "clipped_tops", m->flat_tops);
    json_number(j, "longest_top_ms", m->longest_top_ms, 3);
    json_whole(j, "full_scale_frames", m->full_scale);
    json_whole(j, "not_finite_samples", m->cleaned);
    json_number(j, "t60_s", m->t60_s, 3);
    json_whole(j, "phrase_ends_used", m->n_decays);
    json_peaks(j, m);
    json_close(j, '}');
}

static void json_phrases(Json *j, const Measures *m) {
    json_number(j, "sung_s", m->sung_s, 2);
    json_number(j, "phrase_spread_db", m->spread_db, 2);
    json_open(j, "phrases", '[', false);
    for (size_t i = 0; i < m->n_phrases; i++) {
        const MeasurePhrase *p = &m->phrases[i];
        json_open(j, NULL, '{', true);
        json_number(j, "start_s", p->start_s, 3);
        json_number(j, "end_s", p->end_s, 3);
        json_number(j, "loudness_lufs", p->lufs, 2);
        json_number(j, "off_pitch_cents", p->off_cents, 1);
        json_number(j, "leaning_cents", p->lean_cents, 1);
        json_close(j, '}');
    }
    json_close(j, ']');
}

static void json_events(Json *j, const Measures *m) {
    json_open(j, "breaths", '[', false);
    for (size_t i = 0; i < m->n_breaths; i++) {
        json_open(j, NULL, '{', true);
        json_number(j, "start_s", m->breaths[i].start_s, 3);
        json_number(j, "end_s", m->breaths[i].end_s, 3);
        json_number(j, "under_voice_db", m->breaths[i].under_db, 2);
        json_close(j, '}');
    }
    json_close(j, ']');
    json_open(j, "sibilants", '[', false);
    for (size_t i = 0; i < m->n_sibilants; i++) {
        json_open(j, NULL, '{', true);
        json_number(j, "start_s", m->sibilants[i].start_s, 3);
        json_number(j, "end_s", m->sibilants[i].end_s, 3);
        json_number(j, "ratio_db", m->sibilants[i].ratio_db, 2);
        json_number(j, "centre_hz", m->sibilants[i].centre_hz, 0);
        json_close(j, '}');
    }
    json_close(j, ']');
    json_open(j, "clicks", '[', false);
    for (size_t i = 0; i < m->n_clicks; i++) {
        json_open(j, NULL, '{', true);
        json_number(j, "at_s", m->clicks[i].at_s, 4);
        json_number(j, "low_hz", m->clicks[i].low_hz, 0);
        json_number(j, "high_hz", m->clicks[i].high_hz, 0);
        json_number(j, "height_db", m->clicks[i].height_db, 2);
        json_close(j, '}');
    }
    json_close(j, ']');
    json_open(j, "thumps", '[', false);
    for (size_t i = 0; i < m->n_thumps; i++) {
        json_open(j, NULL, '{', true);
        json_number(j, "start_s", m->thumps[i].start_s, 3);
        json_number(j, "end_s", m->thumps[i].end_s, 3);
        json_number(j, "over_voice_db", m->thumps[i].over_db, 2);
        json_close(j, '}');
    }
    json_close(j, ']');
}

static void json_colour(Json *j, const Measures *m, const Measures *reference) {
    json_number(j, "air_over_body_db", m->air_db, 2);
    json_open(j, "bands", '[', false);
    for (size_t i = 0; i < BAND_CREST_BANDS; i++) {
        json_open(j, NULL, '{', true);
        json_text(j, "name", print_band_name[i]);
        json_number(j, "from_hz", i ? band_crest_edge_hz[i - 1] : 0.0, 0);
        json_number(j, "to_hz", i + 1 < BAND_CREST_BANDS ? band_crest_edge_hz[i] : 0.5 * m->rate_hz,
                    0);
        const MeasureBand *band = &m->band[i];
        json_number(j, "level_dbfs", band->level_db, 2);
        json_number(j, "level_error_db", band->level_error_db, 2);
        json_number(j, "spread_db", band->spread_db, 2);
        json_number(j, "spread_error_db", band->spread_error_db, 2);
        json_number(j, "crest_db", band->crest_db, 2);
        if (reference) {
            PrintMore level = print_more_level_db(m, reference, i);
            PrintMore spread = print_more_spread_db(m, reference, i);
            json_number(j, "level_over_reference_db", level.value, 2);
            json_number(j, "level_over_reference_error_db", level.error, 2);
            json_number(j, "spread_over_reference_db", spread.value, 2);
            json_number(j, "spread_over_reference_error_db", spread.error, 2);
        }
        json_close(j, '}');
    }
    json_close(j, ']');
}

static void json_key(Json *j, const Measures *m) {
    char name[24];
    const Tonality *k = &m->key;
    if (!m->key_known) {
        json_text(j, "key", NULL);
        return;
    }
    json_open(j, "key", '{', false);
    json_text(j, "name", pitch_name_key(name, &k->best));
    json_truth(j, "sure", measures_key_sure(m));
    json_number(j, "confidence", k->best.p, 3);
    json_text(j, "next", pitch_name_key(name, &k->next));
    json_number(j, "next_confidence", k->next.p, 3);
    json_number(j, "tuning_cents", k->tuning_cents, 1);
    json_number(j, "tuning_strength", k->tuning_strength, 3);
    json_close(j, '}');
}

static void json_intonation(Json *j, const Measures *m) {
    const Intonation *in = &m->intonation;
    json_truth(j, "sung", in->sung);
    json_number(j, "off_pitch_cents", m->off_cents, 1);
    json_truth(j, "off_pitch_or_more", in->at_least);
    json_number(j, "off_pitch_error_cents", in->known ? in->give_cents : (double)NAN, 1);
    json_number(j, "off_pitch_confidence", in->known ? in->confidence : (double)NAN, 2);
    json_number(j, "leaning_cents", m->lean_cents, 1);
    json_number(j, "drift_cents", in->known ? in->drift_cents : (double)NAN, 0);
}

static void json_notes(Json *j, const Measures *m) {
    json_open(j, "notes", '[', false);
    for (size_t i = 0; i < m->n_sung; i++) {
        const SungNote *note = &m->sung[i];
        json_open(j, NULL, '{', true);
        json_number(j, "start_s", note->start_s, 3);
        json_number(j, "end_s", note->end_s, 3);
        json_number(j, "midi", note->midi, 2);
        json_number(j, "drift_cents", note->drift_cents, 0);
        json_number(j, "vibrato_hz", note->vibrato_hz, 1);
        json_number(j, "vibrato_cents", note->vibrato_cents, 0);
        json_number(j, "confidence", note->confidence, 2);
        json_close(j, '}');
    }
    json_close(j, ']');
}

static void json_pitch(Json *j, const Measures *m) {
    json_open(j, "pitch", '{', false);
    json_number(j, "voiced_s", m->voiced_s, 2);
    json_number(j, "lowest_hz", m->low_hz, 2);
    json_number(j, "middle_hz", m->middle_hz, 2);
    json_number(j, "highest_hz", m->high_hz, 2);
    json_key(j, m);
    json_intonation(j, m);
    json_notes(j, m);
    json_number(j, "track_step_s", MEASURE_PITCH_STEP_S, 3);
    json_open(j, "track_hz", '[', true);
    for (size_t i = 0; i < m->n_pitch; i++)
        json_number(j, NULL, m->pitch_hz[i] > 0.0f ? (double)m->pitch_hz[i] : (double)NAN, 2);
    json_close(j, ']');
    json_close(j, '}');
}

void print_json(Json *j, const Measures *m, const Measures *reference) {
    json_open(j, NULL, '{', false);
    json_text(j, "take", m->path);
    json_number(j, "length_s", m->length_s, 4);
    json_number(j, "rate_hz", m->rate_hz, 0);
    json_whole(j, "channels", m->channels);
    json_level(j, m);
    json_recording(j, m);
    json_phrases(j, m);
    json_events(j, m);
    json_colour(j, m, reference);
    json_pitch(j, m);
    json_close(j, '}');
}
