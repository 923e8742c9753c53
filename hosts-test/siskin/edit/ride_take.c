/* SPDX-License-Identifier: ISC */
#include "siskin/edit/ride_take.h"

#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static bool breathes_between(const Measures *m, double from_s, double to_s) {
    for (size_t i = 0; i < m->n_breaths; i++)
        if (m->breaths[i].end_s > from_s && m->breaths[i].start_s < to_s)
            return true;
    return false;
}

/* A short rest without a breath, at much the same level, is within a phrase: consonants, or a rest
 * that is sung as one. */
static bool goes_on(const Measures *m, const RidePhrase *before, const MeasurePhrase *after) {
    const double rest_s = 0.6, same_db = 4.5;
    return after->start_s - before->end_s < rest_s && fabs(after->lufs - before->lufs) < same_db &&
           !breathes_between(m, before->end_s, after->start_s);
}

static double power_of(double lufs, double seconds) {
    return seconds * pow(10.0, 0.1 * lufs);
}

static void join(RidePhrase *before, const MeasurePhrase *after) {
    double long_s = before->end_s - before->start_s, more_s = after->end_s - after->start_s;
    double power = power_of(before->lufs, long_s) + power_of(after->lufs, more_s);
    before->lufs = 10.0 * log10(power / (long_s + more_s));
    before->end_s = after->end_s;
}

static size_t find_phrases(const Measures *m, RidePhrase *phrases) {
    size_t n = 0;
    for (size_t i = 0; i < m->n_phrases; i++) {
        const MeasurePhrase *next = &m->phrases[i];
        if (n > 0 && goes_on(m, &phrases[n - 1], next))
            join(&phrases[n - 1], next);
        else
            phrases[n++] =
                (RidePhrase){.start_s = next->start_s, .end_s = next->end_s, .lufs = next->lufs};
    }
    return n;
}

bool ride_take(Ride *ride, const Measures *measures, const RideParams *params, HostError *error) {
    Envelope envelope;
    if (!envelope_read(&envelope, measures->path, error))
        return false;
    RidePhrase *phrases = text_take(measures->n_phrases + 1, sizeof *phrases);
    ride_plan(ride, &envelope, phrases, find_phrases(measures, phrases), params);
    free(phrases);
    envelope_free(&envelope);
    return true;
}

void ride_print_lane(FILE *file, const Ride *ride, double trim_db) {
    fputs("lane ride line\n", file);
    for (size_t i = 0; i < ride->n; i++) {
        const RidePhrase *phrase = &ride->phrases[i];
        fprintf(file, "  %8.3f %8.3f %+5.1f   # phrase %zu: %.1f LUFS, peak %.1f dBTP%s\n",
                phrase->from_s, phrase->to_s, phrase->gain_db - trim_db, i + 1, phrase->lufs,
                phrase->peak_db, phrase->held ? "; held" : "");
    }
}
