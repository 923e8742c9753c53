/* SPDX-License-Identifier: ISC */
/* tonality.h: the tuning and the key of a melody, from its notes.
 *
 * Tuning: with w_i the length of note i and c_i its place in cents, the angle of
 *     Z = sum w_i exp(2 pi i c_i / 100) / sum w_i
 * is where the sung semitones lie within a semitone (the circular mean of directional statistics:
 * Mardia and Jupp, Directional Statistics, 2000, section 2.2), |Z| how sharply they do. Were the
 * errors normal, |Z| = exp(-(2 pi s / 100)^2 / 2) gives their deviation s (ibid., section 3.5.7).
 *
 * Key: that of 36 (twelve tonics; major, minor, dorian) with the largest posterior
 *     log P(key | notes) = log P(mode) + L0(first note) + L1(last note)
 *                        + 0.8 sum sqrt(w_i / mean w) log sum_d share(d) N(c_i - tuning - 100 d; s)
 * summed over tunings of +-50 cents, which are N(0, 20 cents) before anything is heard: a Bayesian
 * model of the kind of Temperley (Music and Probability, MIT Press, 2007, chapter 4: notes drawn
 * from a profile of the key), with notes that are off by a normal error. 0.8 and the root, since
 * notes of a tune are not independent and long ones tell more, but not in proportion. share(d) is
 * how often degree d comes in tunes of the mode: figures in the .c, from memory of counts of
 * European folk tunes such as Temperley's, the dorian one derived from minor. L1: melodies end on
 * the tonic as a rule, on a note that is held: it counts in full from twice the mean length on,
 * so that a take that breaks off says little. L0: they begin on tonic, fifth or third more often
 * than not (common practice; weights in the .c).
 *
 * The posterior says what it may: of named keys (at least TONALITY_SURE) one in twenty may be
 * wrong, as the suite asks of tunes in twelve keys. Pure function, in double; takes no memory.
 * Cost: 8000 logarithms a note. */
#ifndef SISKIN_MEASURE_TONALITY_H
#define SISKIN_MEASURE_TONALITY_H

#include "measure/notes.h"

#include <stdbool.h>
#include <stddef.h>

#define TONALITY_SURE 0.65 /* from here on a key is named */

typedef enum { TONALITY_MAJOR, TONALITY_MINOR, TONALITY_DORIAN, TONALITY_MODES } TonalityMode;
enum { TONALITY_KEYS = 12 * TONALITY_MODES };

typedef struct {
    unsigned tonic; /* 0 C, 1 C sharp, ... 11 B */
    TonalityMode mode;
    double p; /* posterior, 0..1 */
} TonalityKey;

typedef struct {
    double tuning_cents;    /* of the take's semitones over those of A 440, -50..50 */
    double tuning_strength; /* |Z|: 0 anything, 1 all at one place in the semitone */
    double spread_cents;    /* s, bounded to TONALITY_LEAST_SPREAD..TONALITY_MOST_SPREAD */
    TonalityKey best, next;
} Tonality;

#define TONALITY_LEAST_SPREAD 10.0
#define TONALITY_MOST_SPREAD 35.0

/* Of n notes in the order of time. false: there are fewer than TONALITY_FEWEST. */
enum { TONALITY_FEWEST = 4 };
bool tonality_find(const SungNote *notes, size_t n, Tonality *tonality);
/* Whether the best key is named, and not just the better one of two. */
bool tonality_sure(const Tonality *tonality);

#endif
