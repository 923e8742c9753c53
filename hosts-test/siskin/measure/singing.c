/* SPDX-License-Identifier: ISC */
#include "siskin/measure/singing.h"

#include "measure/pitch_path.h"
#include "siskin/measure/pitch_name.h"
#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* ---- voice ---- */

/* A breath that whistles and noise that is all bass have a pitch of a kind, and are no voice: a
 * stretch counts when a third of it is sung, as the scene has it, or when it is as periodic as no
 * noise is, a tenth of its power apart. */
static const double LEAST_SUNG = 1.0 / 3.0, PERIODIC = 0.9;

static double strength_of(const PitchMoment *moment, float hz) {
    for (size_t i = 0; i < PITCH_CANDIDATES; i++)
        if (moment->hz[i] == hz)
            return (double)moment->strength[i];
    return 0.0;
}

static bool is_sung(const Analysis *analysis, double s) {
    double hop_s = analysis_hop_s(analysis, 1) - analysis_hop_s(analysis, 0);
    long hop = lround((s - analysis_hop_s(analysis, 0)) / hop_s);
    return hop >= 0 && hop < (long)analysis->n_hops && analysis->hops[hop].sung;
}

static void drop_what_is_not_sung(const Analysis *analysis, const NotesTrack *track, float *hz) {
    for (size_t i = 0, end; i < track->n; i = end + 1) {
        double sung = 0.0, strength = 0.0;
        for (end = i; end < track->n && hz[end] > 0.0f; end++) {
            sung += is_sung(analysis, track->start_s + (double)end * track->step_s);
            strength += strength_of(&analysis->moments[end], hz[end]);
        }
        double all = (double)(end - i);
        bool none = sung < LEAST_SUNG * all && strength < PERIODIC * all;
        for (size_t k = i; none && k < end; k++)
            hz[k] = 0.0f;
    }
}

/* ---- range and track ---- */

/* From a histogram in steps of 10 cents, of notes of 50..1200 Hz. */
enum { NOTE_BINS = 560 };
static const double NOTE_LOW_HZ = 50.0, NOTE_STEP_CENTS = 10.0;

static double note_percentile(const double *bins, double all, double p) {
    double below = 0.0;
    for (size_t i = 0; i < NOTE_BINS; i++) {
        below += bins[i];
        if (below >= p * all && below > 0.0)
            return NOTE_LOW_HZ * exp2(((double)i + 0.5) * NOTE_STEP_CENTS / 1200.0);
    }
    return (double)NAN;
}

static void measure_range(const NotesTrack *track, Measures *m) {
    double bins[NOTE_BINS] = {0.0}, all = 0.0;
    for (size_t i = 0; i < track->n; i++) {
        if (track->hz[i] <= 0.0f)
            continue;
        double bin = 1200.0 / NOTE_STEP_CENTS * log2((double)track->hz[i] / NOTE_LOW_HZ);
        bins[bin < 0.0 ? 0 : bin < NOTE_BINS ? (size_t)bin : NOTE_BINS - 1] += 1.0;
        all += 1.0;
    }
    m->voiced_s = all * track->step_s;
    m->low_hz = note_percentile(bins, all, 0.02);
    m->middle_hz = note_percentile(bins, all, 0.5);
    m->high_hz = note_percentile(bins, all, 0.98);
}

static void keep_pitch(const NotesTrack *track, Measures *m) {
    m->n_pitch = (size_t)(m->length_s / MEASURE_PITCH_STEP_S) + 1;
    m->pitch_hz = text_take(m->n_pitch, sizeof *m->pitch_hz);
    for (size_t i = 0; i < m->n_pitch; i++) {
        double at = ((double)i * MEASURE_PITCH_STEP_S - track->start_s) / track->step_s;
        long k = lround(at);
        m->pitch_hz[i] = k >= 0 && k < (long)track->n ? track->hz[k] : 0.0f;
    }
}

/* ---- notes ---- */

/* Their errors' mean, and the mean of the errors' size, over those that begin within the times. */
static void errors_between(const Measures *m, double from_s, double to_s, double *off,
                           double *lean) {
    double size = 0.0, sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < m->n_sung; i++) {
        const SungNote *note = &m->sung[i];
        double middle_s = 0.5 * (note->start_s + note->end_s);
        if (middle_s < from_s || middle_s >= to_s)
            continue;
        double length_s = note->end_s - note->start_s;
        double error = intonation_error_cents(&m->intonation, note);
        sum += length_s * error;
        size += length_s * fabs(error);
        weight += length_s;
    }
    *off = weight > 0.0 ? size / weight : (double)NAN;
    *lean = weight > 0.0 ? sum / weight : (double)NAN;
}

static void measure_errors(Measures *m) {
    double mean;
    m->off_cents = m->lean_cents = (double)NAN;
    for (size_t i = 0; i < m->n_phrases; i++)
        m->phrases[i].off_cents = m->phrases[i].lean_cents = (double)NAN;
    if (!m->intonation.known)
        return;
    errors_between(m, -INFINITY, INFINITY, &mean, &m->lean_cents);
    m->off_cents = m->intonation.off_cents;
    for (size_t i = 0; i < m->n_phrases; i++)
        errors_between(m, m->phrases[i].start_s, m->phrases[i].end_s, &m->phrases[i].off_cents,
                       &m->phrases[i].lean_cents);
}

/* The key of the notes as they would be without the drift. */
static void measure_key(Measures *m) {
    SungNote *still = text_take(m->n_sung, sizeof *still);
    for (size_t i = 0; i < m->n_sung; i++) {
        still[i] = m->sung[i];
        still[i].midi -= 0.01 * (intonation_error_cents(&m->intonation, &m->sung[i]) -
                                 intonation_apart_cents(&m->intonation, &m->sung[i]));
    }
    m->key_known = m->intonation.sung && tonality_find(still, m->n_sung, &m->key);
    free(still);
}

static bool find_notes(const NotesTrack *track, Measures *m) {
    m->sung = notes_find(track, &m->n_sung);
    bool fine = m->n_sung != SIZE_MAX;
    m->n_sung = fine ? m->n_sung : 0;
    return fine;
}

bool singing_measure(const Analysis *analysis, Measures *m) {
    size_t n = analysis->n_moments;
    float *hz = text_take(n, sizeof *hz);
    const NotesTrack track = {hz, n, pitch_candidates_s(&analysis->candidates, 0),
                              PITCH_CANDIDATES_HOP_S};
    bool fine = pitch_path(analysis->moments, n, PITCH_CANDIDATES_HOP_S, hz);
    drop_what_is_not_sung(analysis, &track, hz);
    measure_range(&track, m);
    keep_pitch(&track, m);
    fine = fine && find_notes(&track, m);
    intonation_find(m->sung, m->n_sung, m->voiced_s, &m->intonation);
    measure_key(m);
    measure_errors(m);
    free(hz);
    return fine;
}

/* ---- key in words ---- */

bool measures_key_sure(const Measures *m) {
    return m->key_known && tonality_sure(&m->key);
}

const char *measures_key_text(char buffer[64], const Measures *m) {
    char key[24], next[24];
    if (!m->key_known)
        return "unknown";
    pitch_name_key(key, &m->key.best);
    pitch_name_key(next, &m->key.next);
    if (measures_key_sure(m))
        snprintf(buffer, 64, "%s (%.2f)", key, m->key.best.p);
    else
        snprintf(buffer, 64, "unsure: %s or %s", key, next);
    return buffer;
}
