/* SPDX-License-Identifier: ISC */
/* tonality.h: the tuning and the key of a melody, from how long each pitch was sung.
 *
 * Tuning: with h(c) the time at c cents over A 440 (folded into an octave), the angle of
 *     Z = sum h(c) exp(2 pi i c / 100) / sum h(c)
 * is where the sung semitones lie within a semitone (the circular mean of directional statistics:
 * Mardia and Jupp, Directional Statistics, 2000, section 2.2), |Z| how sharply they do.
 * Key: Krumhansl and Kessler, Psych. Review 89(4), 334-368, 1982. Times of the twelve semitones
 * around that tuning are correlated (Pearson) with the profile of each of the 24 major and minor
 * keys; the best one is the key. Its relative key shares its notes and the parallel one its tonic,
 * so these are what it is mistaken for. Confidence is 0..1:
 *     r_best < 0: 0, else r_best min(1, (r_best - r_next) / 0.2)
 * 0.2 being half the distance from 1 to the correlation of a key's profile with that of its
 * nearest neighbour, about 0.6.
 * Pure functions, in double. Cost: 24 correlations. */
#ifndef SISKIN_MEASURE_TONALITY_H
#define SISKIN_MEASURE_TONALITY_H

#include <stdbool.h>
#include <stddef.h>

enum { TONALITY_CENTS = 1200, TONALITY_KEYS = 24 };

typedef struct {
    double tuning_cents;    /* of the take's semitones over those of A 440, -50..50 */
    double tuning_strength; /* 0 anything, 1 all at one place in the semitone */
    unsigned tonic;         /* of the best key: 0 C, 1 C sharp, ... 11 B */
    bool minor;
    double r;          /* its correlation, -1..1 */
    double confidence; /* 0..1 */
    unsigned next_tonic;
    bool next_minor; /* the second best */
    double next_r;
    unsigned relative_tonic; /* of the other mode */
    double relative_r;
    double parallel_r; /* same tonic, the other mode */
} Tonality;

/* time[c]: how long c cents over A, folded into an octave, was sung; any unit, >= 0. false: nothing
 * was sung, or all twelve semitones for the same time. */
bool tonality_find(const double time[TONALITY_CENTS], Tonality *tonality);
/* The Pearson correlations with the key profiles: r[tonic] major, r[12 + tonic] minor. time[0] is
 * C. */
void tonality_correlate(const double time[12], double r[TONALITY_KEYS]);
/* How far `cents` over A 440 is from the nearest note of the key at that tuning, -100..100. In a
 * minor key the raised seventh is a note too. */
double tonality_error_cents(const Tonality *tonality, double cents);

#endif
