/* SPDX-License-Identifier: ISC */
#include "siskin/measure/pitch_name.h"

#include <math.h>
#include <stdio.h>

static const char *const notes[12] = {"C",  "C#", "D",  "Eb", "E",  "F",
                                      "F#", "G",  "Ab", "A",  "Bb", "B"};

static const char *const modes[TONALITY_MODES] = {"major", "minor", "dorian"};

const char *pitch_name_key(char buffer[24], const TonalityKey *key) {
    snprintf(buffer, 24, "%s %s", notes[key->tonic % 12], modes[key->mode % TONALITY_MODES]);
    return buffer;
}

const char *pitch_name_note(char buffer[24], double hz) {
    if (isnan(hz)) {
        snprintf(buffer, 24, "-");
        return buffer;
    }
    double semitones = 69.0 + 12.0 * log2(hz / 440.0); /* 69 is the A of 440 Hz, 60 is C4 */
    int nearest = (int)lround(semitones);
    snprintf(buffer, 24, "%s%d %+.0f", notes[nearest % 12], nearest / 12 - 1,
             round(100.0 * (semitones - nearest)) + 0.0);
    return buffer;
}
