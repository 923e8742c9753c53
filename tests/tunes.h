/* SPDX-License-Identifier: ISC */
/* tunes.h: folk tunes and carols in the public domain, from memory, for suites about notes and
 * keys.
 *
 * A word is a note: semitones over the tonic, and after ':' how many beats it lasts, 1 when not
 * said. Tunes of the first list were at hand when the weights of tonality.c were chosen, those of
 * the second were not. */
#ifndef SISKIN_TESTS_TUNES_H
#define SISKIN_TESTS_TUNES_H

#include "measure/tonality.h"
#include "signals.h"

#include <stdlib.h>

typedef struct {
    const char *name;
    TonalityMode mode;
    const char *notes;
} Tune;

static const Tune tunes_known[] = {
    {"twinkle", TONALITY_MAJOR,
     "0 0 7 7 9 9 7:2 5 5 4 4 2 2 0:2 7 7 5 5 4 4 2:2 7 7 5 5 4 4 2:2 0 0 7 7 9 9 7:2 "
     "5 5 4 4 2 2 0:2"},
    {"brother-john", TONALITY_MAJOR,
     "0 2 4 0 0 2 4 0 4 5 7:2 4 5 7:2 7:.75 9:.25 7:.5 5:.5 4 0 7:.75 9:.25 7:.5 5:.5 "
     "4 0 0 -5 0:2 0 -5 0:2"},
    {"lamb", TONALITY_MAJOR, "4 2 0 2 4 4 4:2 2 2 2:2 4 7 7:2 4 2 0 2 4 4 4 4 2 2 4 2 0:4"},
    {"london-bridge", TONALITY_MAJOR,
     "7:1.5 9:.5 7 5 4 5 7:2 2 4 5:2 4 5 7:2 7:1.5 9:.5 7 5 4 5 7:2 2:2 7:2 4 0:3"},
    {"joy", TONALITY_MAJOR,
     "4 4 5 7 7 5 4 2 0 0 2 4 4:1.5 2:.5 2:2 4 4 5 7 7 5 4 2 0 0 2 4 2:1.5 0:.5 0:2"},
    {"auld", TONALITY_MAJOR,
     "-5 0:1.5 0:.5 0 4 2:1.5 0:.5 2 4 0:1.5 0:.5 4 7 9:3 9 7:1.5 4:.5 4 0 2:1.5 0:.5 "
     "2 4 0:1.5 -3:.5 -3 -5 0:3"},
    {"grace", TONALITY_MAJOR,
     "-5 0:2 4:.5 0:.5 4:2 2 0:2 -3 -5:2 -5 0:2 4:.5 0:.5 4:2 2 7:5 4 7:2 4:.5 0:.5 "
     "4:2 2 0:2 -3 -5:2 -5 0:2 4:.5 0:.5 4:2 2 0:5"},
    {"yankee", TONALITY_MAJOR,
     "0 0 2 4 0 4 2:2 0 0 2 4 0:2 -1:2 0 0 2 4 5 4 2 0 -1 -5 -3 -1 0:2 0:2"},
    {"row", TONALITY_MAJOR,
     "0:1.5 0:1.5 0 2:.5 4:1.5 4 2:.5 4 5:.5 7:3 12:.5 12:.5 12:.5 7:.5 7:.5 7:.5 4:.5 "
     "4:.5 4:.5 0:.5 0:.5 0:.5 7 5:.5 4 2:.5 0:3"},
    {"susanna", TONALITY_MAJOR,
     "0:.5 2:.5 4 7 7:1.5 9:.5 7 4 0:1.5 2:.5 4 4 2 0 2:3 0:.5 2:.5 4 7 7:1.5 9:.5 7 4 "
     "0:1.5 2:.5 4 4 2 2 0:3"},
    {"shenandoah", TONALITY_MAJOR,
     "-5 0 0 0:.5 2:.5 4:.5 5:.5 9 7:2 12:.5 11:.5 9:2 7:.5 9:.5 7:.5 4:.5 7:2 7:.5 "
     "9:2 9:.5 9:.5 4 7:.5 4:.5 2:.5 0:2 2 4:2 0:.5 4:.5 9 7:2 0:.5 2:.5 4 0 2:2 0:3"},
    {"londonderry", TONALITY_MAJOR,
     "-1:.5 0:.5 2:.5 4:1.5 2:.5 4 9 7:.5 4:.5 2:.5 0:.5 -3:2 0:.5 4:.5 5:.5 7:1.5 "
     "9:.5 7:.5 4:.5 0:.5 4:.5 2:3 -1:.5 0:.5 2:.5 4:1.5 2:.5 4 9 7:.5 4:.5 2:.5 0:.5 "
     "-3:2 -1:.5 0:.5 2:.5 4:1.5 5:.5 4:.5 2:.5 0:.5 2:.5 0:3"},
    {"rest-ye", TONALITY_MINOR,
     "0 0 7 7 5 3 2 0 -2 0 2 3 5 7:3 0 0 7 7 5 3 2 0 -2 0 2 3 5 7:3 7 8 5 7 8 10 12 7 "
     "5 3 0 2 3 5:2 3 5 7:2 8 7 7 5 3 2 0:2 3:.5 2:.5 0 5:2 3 5 7 8 10 12 7 5 3 2 0:3"},
    {"pedlar", TONALITY_MINOR,
     "7:2 2 3 5:2 3 2 0:2 0 3 7:2 5 3 2:3 3 5:2 7:2 3:2 0:2 0:3 5:3 8 12:2 10 8 7:3 3 "
     "7:2 5 3 2:2 2 3 5:2 7:2 3:2 0:2 0:2"},
    {"rising-sun", TONALITY_MINOR,
     "0 0 2 3:2 7 5 0:3 12 12 10 7:2 5 7:4 12 12 12:2 10 7:2 3 0:3 0 0 2 3:2 2 0:2 -2 "
     "0:4"},
    {"stranger", TONALITY_MINOR,
     "0 3 5 7:2 5 3 0:2 -2 0:3 0 3 5 7:2 8 7 5 7:3 7 10 12:2 10 7 5:2 3 5 7:3 0 3 5 "
     "7:2 5 3 0:2 -2 0:4"},
    {"johnny", TONALITY_MINOR,
     "-5:.5 0 0:.5 0 2:.5 3 2:.5 3 -2:.5 -2:2 -5:.5 0 0:.5 0 2:.5 3 5:.5 7 3:.5 7:2 "
     "3:.5 5:.5 7 7:.5 7 5:.5 3 3:.5 3 2:.5 0 0:.5 0 -2:.5 -5:1 0 3:.5 2 0:.5 -2 -2:.5 "
     "0:3"},
    {"moses", TONALITY_MINOR, "-5 3 3 2 2 3 3 0:3 -5 -5 -1 0:4 -5 3 3 2 2 3 3 0:3 7 7 5 5 3 2 0:4"},
    {"sailor", TONALITY_DORIAN,
     "7 7:.5 7:.5 7 7:.5 7:.5 7 0 3 7 5 5:.5 5:.5 5 5:.5 5:.5 5 -2 2 5 7 7:.5 7:.5 7 "
     "7:.5 7:.5 7 9 10 12 10 7 5 2 0:2 0:2"},
    {"fair", TONALITY_DORIAN,
     "0:2 0 7:2 7 2:1.5 3:.5 2 0:4 7 10 12:2 10 7 9 5 7:5 12 12:2 12 10:2 7 7 5 3 2 "
     "-2:4 0:2 7 5:2 3 2 0 -2 0:5"},
    {"sleeves", TONALITY_DORIAN,
     "0 3:2 5 7:1.5 9:.5 7 5:2 2 -2:1.5 0:.5 2 3:2 0 0:1.5 -1:.5 0 2:2 -1 -5:2 0 3:2 5 "
     "7:1.5 9:.5 7 5:2 2 -2:1.5 0:.5 2 3:1.5 2:.5 0 -1:1.5 -3:.5 -1 0:5"},
    {"noel", TONALITY_DORIAN,
     "0 7 7 5 7:2 3 5 7 5 3 2 0:2 0 7 7 5 7:2 3 5 7 5 3 2 0:2 7 9 10 9 7:2 5 3 5 7 5 3 "
     "5 2:2 0 7 7 5 7:2 3 5 7 5 3 2 0:2"},
};

static const Tune tunes_new[] = {
    {"clair", TONALITY_MAJOR,
     "0 0 0 2 4:2 2:2 0 4 2 2 0:4 0 0 0 2 4:2 2:2 0 4 2 2 0:4 2 2 2 2 -3:2 -3:2 2 0 -1 "
     "-3 -5:4 0 0 0 2 4:2 2:2 0 4 2 2 0:4"},
    {"silent-night", TONALITY_MAJOR,
     "7:1.5 9:.5 7 4:3 7:1.5 9:.5 7 4:3 14:2 14 11:3 12:2 12 7:3 9:2 9 12:1.5 11:.5 9 "
     "7:1.5 9:.5 7 4:3 9:2 9 12:1.5 11:.5 9 7:1.5 9:.5 7 4:3 14:2 14 17:1.5 14:.5 11 "
     "12:3 16:3 12 7 4 7:1.5 5:.5 2 0:5"},
    {"wenceslas", TONALITY_MAJOR,
     "0 0 0 2 0 0 -5:2 -3 -5 -3 -1 0:2 0:2 0 0 0 2 0 0 -5:2 -3 -5 -3 -1 0:2 0:2 7 5 4 "
     "2 4 2 0:2 -3 -5 -3 -1 0:2 0:2 -5 -5 -3 -1 0 0 2:2 7 5 4 2 0:2 5:2 0:4"},
    {"halls", TONALITY_MAJOR,
     "7:1.5 5:.5 4 2 0 2 4 0 2:.5 4:.5 5:.5 2:.5 4:1.5 2:.5 0 -1 0:2 7:1.5 5:.5 4 2 0 "
     "2 4 0 2:.5 4:.5 5:.5 2:.5 4:1.5 2:.5 0 -1 0:2 2:1.5 4:.5 5 2 4:1.5 5:.5 7 2 4:.5 "
     "6:.5 7 9:.5 11:.5 12 11 9 7:2 7:1.5 5:.5 4 2 0 2 4 0 9:.5 9:.5 9:.5 9:.5 7:1.5 "
     "5:.5 4 2 0:2"},
    {"clementine", TONALITY_MAJOR,
     "0:.5 0:.5 0 -5 4:.5 4:.5 4 0 0:.5 4:.5 7:1.5 7:.5 5:.5 4:.5 2:2 2:.5 4:.5 5 5 "
     "4:.5 2:.5 4 0 0:.5 4:.5 2:1.5 -5:.5 -1:.5 2:.5 0:2"},
    {"bonnie", TONALITY_MAJOR,
     "-5 4:1.5 2:.5 0 2 0 -3 -5 -8:3 -5 4:1.5 2:.5 0 0 -1 0 2:4 -5 4:1.5 2:.5 0 2 0 -3 "
     "-5 -8:3 -5 -3 2 0 -1 -3 -1 0:4"},
    {"kings", TONALITY_MINOR,
     "7:2 5 3:2 0 2 3 2 0:3 7:2 5 3:2 0 2 3 2 0:3 3:2 3 5:2 5 7:2 7 10 8 7 5 7 5 3:2 2 "
     "0:3"},
    {"coventry", TONALITY_MINOR,
     "0 0 -1 0:2 3 2:2 0 -1:3 0 2 3 5 2 3 0:3 7 5 3:2 2 3 0:2 -1 0:3 0 2 3:2 5 2:2 0 "
     "-1:2 0:3"},
    {"scarlet-town", TONALITY_DORIAN,
     "0 0 3 5 7:2 7 9 7 5 3 5 3 0:2 0 3 5 7 7 10 9 7:3 7 10 12 10 9 7 7 5 3 5 7 5 3 0 "
     "-2 0:3"},
};

enum {
    TUNES_KNOWN = sizeof tunes_known / sizeof *tunes_known,
    TUNES_NEW = sizeof tunes_new / sizeof *tunes_new,
    TUNE_MOST = 128
};

/* How a tune is sung. */
typedef struct {
    unsigned tonic;      /* 0 C ... 11 B */
    double tuning_cents; /* over A 440 */
    double loose_cents;  /* standard deviation of each note, normal */
    double beat_s;
    double until_s; /* later notes are left out; 0: none */
} TuneSung;

/* The notes as sung around C4, at most TUNE_MOST; their count. */
static inline size_t tune_sing(const Tune *tune, const TuneSung *how, Random *random,
                               SungNote *out) {
    size_t n = 0;
    double at_s = 0.0;
    for (const char *text = tune->notes; *text && n < TUNE_MOST;) {
        char *end;
        double semitones = strtod(text, &end), beats = 1.0;
        if (*end == ':')
            beats = strtod(end + 1, &end);
        double error = how->tuning_cents + how->loose_cents * random_normal(random);
        out[n++] = (SungNote){.start_s = at_s,
                              .end_s = at_s + beats * how->beat_s,
                              .midi = 60.0 + how->tonic + semitones + 0.01 * error,
                              .confidence = 1.0};
        at_s += beats * how->beat_s;
        if (how->until_s > 0.0 && at_s >= how->until_s)
            break;
        for (text = end; *text == ' ';)
            text++;
    }
    return n;
}

#endif
