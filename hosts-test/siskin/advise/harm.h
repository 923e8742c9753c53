/* SPDX-License-Identifier: ISC */
/* harm.h: what a chain does to a take besides what it was asked for.
 *
 * The gain of every 5 ms, from 500 Hz to 3 kHz, between the take and its render, over the vowels of
 * each phrase (where a pitch was heard, and no sibilant): nothing that is advised has business
 * there but a ride, which moves a phrase as a whole. A word is bitten where the gain falls 6 dB
 * under the median of its phrase's vowels for 30 ms and more, in a vowel or in what joins one:
 * consonants within 15 dB of the vowels, with no softer moment between. Breaths are softer or stand
 * apart (common practice). The gain wanders by the distance between the 5th and the 95th percentile
 * within a phrase's vowels; told is the median phrase's, and that of one phrase in twenty. Peaks
 * are true peaks.
 *
 * A processor that moves the waves themselves, as one does that corrects pitch, takes a pulse of
 * the voice out of one 5 ms and puts it into the next. Where the chain has one, levels are those of
 * HARM_LONG_S around each hop, three periods of 70 Hz; a bite must then last twice as long to be
 * found. */
#ifndef SISKIN_ADVISE_HARM_H
#define SISKIN_ADVISE_HARM_H

#include "siskin/edit/envelope.h"
#include "siskin/measure/take.h"

typedef struct {
    size_t bitten;         /* places */
    double bitten_s;       /* where the first is */
    double wander_db;      /* median phrase; NAN without phrases */
    double wander_most_db; /* one in twenty is over it */
    double peak_db;        /* of the render over that of the take; > 0: higher */
} Harm;

#define HARM_LONG_S 0.045

/* `measures` tells the phrases and the pitch of the take; `moved`: the chain moves the waves. */
Harm harm_of(const Measures *measures, const Envelope *take, const Envelope *render, bool moved);

/* 0 when there is none worth a word; else how much, to compare. */
double harm_size(const Harm *harm);

/* "words lose over 6 dB at 3 places, first at 0:12.3; peaks are 1.2 dB higher". The caller frees
 * it. */
char *harm_text(const Harm *harm);

#endif
