/* SPDX-License-Identifier: ISC */
/* intonation.h: how far off the singing is, from the notes of a take.
 *
 * Each note is held against the nearest step of the semitones that fit the take best, whatever its
 * key and whatever A is. A take may drift: with w_i the length of note i, c_i its cents and t_i its
 * time, tuning and drift d are those with the largest
 *     Z(d) = sum w_i exp(2 pi i (c_i - d t_i) / 100) / sum w_i
 * (the circular mean of tonality.h over a slope; least squares on a circle: Fisher, Statistical
 * Analysis of Circular Data, 1993, chapter 6). d is 0 unless n |Z|^2 gains INTONATION_GAIN by it:
 * for notes that keep to nothing it exceeds x with probability exp(-x) at each slope (Rayleigh's
 * test, ibid., section 4.3), of which some 20 are independent. Errors are to the steps that go
 * along with the drift, plus what the take has drifted since its first note: a drift of a semitone
 * is 50 cents off in the mean.
 *     off = max(mean |error|, 0.798 s),   s = 100 / 2 pi sqrt(-log R^2),   R^2 = (n |Z|^2 - 1) / (n - 1)
 * The nearest step is never farther than 50 cents, so that wild singing would read 25 at most. s is
 * the deviation of normal errors that leave |Z|, its bias taken off, and 0.798 s their mean size.
 * Where |Z| could be chance (n |Z|^2 < 3: one in 20), all that is known is that notes lie anywhere:
 * 25 cents or more. Yet they may lie about the semitones of A 440 and no others, as those of a song
 * that was sung to music: with V the part of Z in that direction, n V^2 >= 1.35 is one in 20
 * (Rayleigh's test of a mean direction that is given, ibid.: V sqrt(2 n) is a standard normal).
 *
 * Speech has no notes, but its vowels may be held, as by one who reads letters out. With v the
 * voiced time, l a note's length, q its confidence, s = |drift| / l its slope:
 *     steady = sum l / v over notes of 0.2 s and more with s < 200 cents a second;  clear = the same of l q
 *     still  = sum l q / (1 + (s / 60 cents a second)^2) / v over notes of 0.15 s and more
 * A take is sung when steady >= 0.7, or still >= 0.5, or clear >= 0.3 while its notes agree on one
 * set of semitones, n |Z|^2 >= 5 (by chance one in 150). Of 128 readings in 22 languages (letters,
 * syllables, prompts, prose) none reaches one of these: steady 0.66 at most, still 0.44, and where
 * clear is over 0.3 n |Z|^2 is 1.8 at most. Singing as fast as two syllables to 0.2 s is not told
 * from speech, and of short fast takes that are 25 cents loose one in eight. The three bounds were
 * chosen on these readings. Pure functions, in double. */
#ifndef SISKIN_MEASURE_INTONATION_H
#define SISKIN_MEASURE_INTONATION_H

#include "measure/notes.h"

#include <stdbool.h>
#include <stddef.h>

#define INTONATION_STEADY 0.7
#define INTONATION_STILL 0.5
#define INTONATION_CLEAR 0.3
#define INTONATION_AGREES 5.0
#define INTONATION_GAIN 8.0
/* Half a quarter tone: what listeners hear as off in a melody (Larrouy-Maestri, Music & Science 1,
 * 2018). */
#define INTONATION_FAR_CENTS 25.0
enum { INTONATION_FEWEST = 5 }; /* notes of 0.1 s and more */

typedef struct {
    bool sung;           /* else all but the next three is 0 */
    double steady;       /* share of the voiced time, 0..1 */
    double clear, still; /* likewise */
    bool known;          /* sung, and enough notes to tell how far off */
    double tuning_cents; /* over A 440 when the first note begins, -50..50 */
    double drift_cents;  /* from the first note to the last, > 0 rising; 0 when there is none */
    double off_cents;    /* as above */
    double far_off;      /* share of the notes' time that is over INTONATION_FAR_CENTS off, 0..1 */
    bool at_least;       /* it may be more */
    bool fits; /* it is known which semitones: tuning_cents, or where at_least those of A 440 */
    double give_cents; /* standard error of off_cents */
    double confidence; /* 0..1: how clear the notes are, and how many */
    double from_s;     /* start of the first note */
    double cents_a_second;
} Intonation;

/* Of n notes in the order of time, from a take voiced for so long. */
void intonation_find(const SungNote *notes, size_t n, double voiced_s, Intonation *intonation);
/* How far the note is from its step, drift and all; > 0 sharp. */
double intonation_error_cents(const Intonation *intonation, const SungNote *note);
/* What is left of it without the drift, -50..50. */
double intonation_apart_cents(const Intonation *intonation, const SungNote *note);

#endif
