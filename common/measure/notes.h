/* SPDX-License-Identifier: ISC */
/* notes.h: the notes of a melody, from the pitch of a whole take.
 *
 * A note is a stretch of voice that keeps to one pitch. Vibrato is part of it, the glide into it
 * too, a consonant that stops the voice ends it. Three steps:
 *
 * 1. Where the voice stops for more than NOTES_BRIDGE_S, a note ends. Shorter stops are filled in
 *    by a line: a reading missed, or an /l/.
 * 2. Each stretch of voice is cut into notes by the sequence of constant pitches that costs least:
 *        cost = sum over time of min(max(|x - c| - 25, 0), 100) + 2.8 cents s for each note
 *    with x the pitch, strays of 25 ms taken off by a median, averaged over 120 ms, most of a
 *    period of vibrato, and c one of a grid of 20 cents. That is a piecewise constant fit by
 *    absolute deviation under a penalty for each jump (Potts' model; solved exactly by dynamic
 *    programming: Winkler and Liebscher, J. Nonparametric Statistics 14, 2002), the shape of note
 *    states with a cost of change (Mauch et al., "Computer-aided melody note transcription using
 *    the Tony software", TENOR 2015) without training. 25 cents are free, so that drift costs no
 *    note; the cap keeps a glide or a wrong octave from buying one: a semitone must last 40 ms.
 *    What is left of a glide, short, between its neighbours and nowhere at rest, goes to them.
 * 3. The pitch of a note is the median of its middle, or, of notes of 0.25 s and more, the mean of
 *    its smoothed middle: glides at its ends do not count, and vibrato averages itself away.
 *
 * Drift is the slope of a least-squares line over the note, vibrato the sine of 4 to 8 Hz that
 * fits best beside it, told when it explains half of what the line leaves.
 * Confidence is the share of the note that is voiced and within 50 cents of it, vibrato taken off.
 * Held to the rule of ISMIR 2014 (Molina et al., "Evaluation framework for automatic singing
 * transcription"): onset within 50 ms, pitch within 50 cents, offset within the larger of 50 ms
 * and a fifth of the note.
 * For whole takes, offline: takes memory. Cost about 1 ms for each second of voice. */
#ifndef SISKIN_MEASURE_NOTES_H
#define SISKIN_MEASURE_NOTES_H

#include <stddef.h>

#define NOTES_BRIDGE_S 0.03
#define NOTES_SHORTEST_S 0.06

typedef struct {
    double start_s, end_s;
    double midi;          /* 69 is A 440, a semitone 1; the fraction is how far off it is */
    double drift_cents;   /* from its start to its end, > 0 rising; 0 for notes under 0.2 s */
    double vibrato_hz;    /* 0: none, or too short a note to tell: under 0.35 s */
    double vibrato_cents; /* from the middle to either side */
    double confidence;    /* 0..1 */
} SungNote;

/* The pitch of a take: hz[i], 0 where there is no voice, at start_s + i step_s. */
typedef struct {
    const float *hz;
    size_t n;
    double start_s, step_s;
} NotesTrack;

/* All notes, in the order of time; their count goes to *count. NULL when there are none (*count 0)
 * or memory is out (*count SIZE_MAX). The caller frees it. */
SungNote *notes_find(const NotesTrack *track, size_t *count);

#endif
