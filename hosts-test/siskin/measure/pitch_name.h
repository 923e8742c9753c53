/* SPDX-License-Identifier: ISC */
/* pitch_name.h: keys and notes by name. */
#ifndef SISKIN_MEASURE_PITCH_NAME_H
#define SISKIN_MEASURE_PITCH_NAME_H

#include "measure/tonality.h"

#include <stdbool.h>

/* "Bb minor", "D dorian". */
const char *pitch_name_key(char buffer[24], const TonalityKey *key);
/* "F#4", "E4-12": the nearest note of A 440 to a MIDI number, 60 being C4, and the cents it is off,
 * if any. */
const char *pitch_name_midi(char buffer[24], double midi);
/* Reads "F#4", "Gb4", "E4-12" and plain MIDI numbers, "63.88". Notes of 1 to 127. */
bool pitch_name_read(const char *word, double *midi);
/* "A3 +12": the nearest note of A 440 and what it is off, in cents; "-" for NAN. */
const char *pitch_name_note(char buffer[24], double hz);

#endif
