/* SPDX-License-Identifier: ISC */
/* pitch_name.h: keys and notes by name. */
#ifndef SISKIN_MEASURE_PITCH_NAME_H
#define SISKIN_MEASURE_PITCH_NAME_H

#include "measure/tonality.h"

/* "Bb minor", "D dorian". */
const char *pitch_name_key(char buffer[24], const TonalityKey *key);
/* "A3 +12": the nearest note of A 440 and what it is off, in cents; "-" for NAN. */
const char *pitch_name_note(char buffer[24], double hz);

#endif
