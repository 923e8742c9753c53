/* SPDX-License-Identifier: ISC */
#include "siskin/edit/ride_take.h"

#include "siskin/text.h"

#include <stdlib.h>

bool ride_take(Ride *ride, const Measures *measures, const RideParams *params, HostError *error) {
    Envelope envelope;
    if (!envelope_read(&envelope, measures->path, error))
        return false;
    RidePhrase *phrases = text_take(measures->n_phrases + 1, sizeof *phrases);
    for (size_t i = 0; i < measures->n_phrases; i++)
        phrases[i] = (RidePhrase){.start_s = measures->phrases[i].start_s,
                                  .end_s = measures->phrases[i].end_s,
                                  .lufs = measures->phrases[i].lufs};
    ride_plan(ride, &envelope, phrases, measures->n_phrases, params);
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
