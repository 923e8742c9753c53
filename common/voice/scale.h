/* SPDX-License-Identifier: ISC */
/* scale.h: notes of a key, as MIDI numbers them: 60 is middle C, a semitone each.
 *
 * Scales are those of any textbook of harmony; the melodic minor is the one that goes up. */
#ifndef SISKIN_VOICE_SCALE_H
#define SISKIN_VOICE_SCALE_H

#include <stdbool.h>

typedef enum {
    SCALE_CHROMATIC,
    SCALE_MAJOR,
    SCALE_NATURAL_MINOR,
    SCALE_HARMONIC_MINOR,
    SCALE_MELODIC_MINOR,
    SCALE_MAJOR_PENTATONIC,
    SCALE_MINOR_PENTATONIC,
    SCALE_DORIAN,
    SCALE_MIXOLYDIAN,
    SCALES
} ScaleKind;

typedef struct {
    int key; /* 0 C .. 11 B */
    ScaleKind kind;
} Scale;

/* Whether a note is of the scale. */
bool scale_has(const Scale *scale, int note);
/* The note of the scale nearest to a pitch between notes; of two as near the lower one. */
int scale_nearest(const Scale *scale, float note);
/* The note `steps` degrees over (under, if < 0) a note; a note outside of the scale counts as the
 * nearest in it. */
int scale_step(const Scale *scale, int note, int steps);

#endif
