/* SPDX-License-Identifier: ISC */
#include "voice/scale.h"

#include <math.h>

enum { OCTAVE = 12 };

/* Bit k: the note k semitones over the key. */
static const unsigned NOTES[SCALES] = {
    [SCALE_CHROMATIC] = 0xfff,        [SCALE_MAJOR] = 0xab5, /* 0 2 4 5 7 9 11 */
    [SCALE_NATURAL_MINOR] = 0x5ad,                           /* 0 2 3 5 7 8 10 */
    [SCALE_HARMONIC_MINOR] = 0x9ad,                          /* 0 2 3 5 7 8 11 */
    [SCALE_MELODIC_MINOR] = 0xaad,                           /* 0 2 3 5 7 9 11 */
    [SCALE_MAJOR_PENTATONIC] = 0x295,                        /* 0 2 4 7 9 */
    [SCALE_MINOR_PENTATONIC] = 0x4a9,                        /* 0 3 5 7 10 */
    [SCALE_DORIAN] = 0x6ad,                                  /* 0 2 3 5 7 9 10 */
    [SCALE_MIXOLYDIAN] = 0x6b5,                              /* 0 2 4 5 7 9 10 */
};

bool scale_has(const Scale *scale, int note) {
    int over = (note - scale->key) % OCTAVE;
    return NOTES[scale->kind] >> (over < 0 ? over + OCTAVE : over) & 1u;
}

int scale_nearest(const Scale *scale, float note) {
    int middle = (int)floorf(note + 0.5f), best = middle;
    float least = (float)OCTAVE;
    for (int k = middle - 3; k <= middle + 3; k++)
        if (scale_has(scale, k) && fabsf((float)k - note) < least) {
            least = fabsf((float)k - note);
            best = k;
        }
    return best;
}

int scale_step(const Scale *scale, int note, int steps) {
    int direction = steps < 0 ? -1 : 1;
    note = scale_nearest(scale, (float)note);
    for (int left = steps < 0 ? -steps : steps; left > 0; left--)
        do
            note += direction;
        while (!scale_has(scale, note));
    return note;
}
