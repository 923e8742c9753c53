/* SPDX-License-Identifier: ISC */
#include "siskin/measure/pitch_name.h"

#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

const char *pitch_name_midi(char buffer[24], double midi) {
    int nearest = (int)lround(midi);
    int cents = (int)lround(100.0 * (midi - nearest));
    int length = snprintf(buffer, 24, "%s%d", notes[nearest % 12], nearest / 12 - 1);
    if (cents != 0)
        snprintf(buffer + length, 24 - (size_t)length, "%+d", cents);
    return buffer;
}

/* The letter of a note with its sharps or flats, in semitones over C; false: it is none. */
static bool read_letter(const char **word, int *semitones) {
    static const char letters[] = "CDEFGAB";
    static const int over_c[] = {0, 2, 4, 5, 7, 9, 11};
    const char *letter = **word ? strchr(letters, **word) : NULL;
    if (!letter)
        return false;
    *semitones = over_c[letter - letters];
    for (++*word; **word == '#' || **word == 'b'; ++*word)
        *semitones += **word == '#' ? 1 : -1;
    return true;
}

bool pitch_name_read(const char *word, double *midi) {
    int semitones = 0;
    double cents = 0.0;
    if (!read_letter(&word, &semitones))
        return text_number(word, midi) && *midi >= 1.0 && *midi <= 127.0;
    char *end = NULL;
    long octave = strtol(word, &end, 10);
    if (end == word || octave < -1 || octave > 9 || (*end && *end != '+' && *end != '-') ||
        (*end && !text_number(end, &cents)) || fabs(cents) > 100.0)
        return false;
    *midi = 12.0 * (double)(octave + 1) + semitones + cents / 100.0;
    return *midi >= 1.0 && *midi <= 127.0;
}
