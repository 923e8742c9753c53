/* SPDX-License-Identifier: ISC */
/* pitch_floor.h: the lowest note sung lately, from readings of pitch.h.
 *
 * What may be cut under a voice is set by its lowest note, not by the one sung at the moment: a
 * filter that followed every note and every swing of a vibrato would be heard. So:
 *
 * - A reading counts by as much as it is a voice, 0..1: as it is periodic (wholly at an
 *   aperiodicity of 0.05, not at all at 0.15; YIN's usual threshold is 0.1), as it is no more than
 *   27 to 33 dB under the loudest periodic sound of late (so that hum and room tone between phrases
 *   are not taken for a voice, whatever the gain before), and as it lies within 4.5 to 7.5 % of the
 *   reading before: a semitone is 6 %. What counts is the least of the last PITCH_FLOOR_ROW: 25 ms
 *   of steady voice.
 * - Those of the last 3.5 s of voice are kept. That is the mean length of a breath group
 *   (Rochet-Capellan and Fuchs, Interspeech 2013). Unvoiced time does not count: through consonants
 *   and rests the floor stands still.
 * - The lowest of them may be a creak at the end of a phrase, or a reading an octave low. So a note
 *   must be confirmed: the floor is the lower of
 *       sure:  what PITCH_FLOOR_DEEP_S of the 3.5 s lie at or under,
 *       soon:  what PITCH_FLOOR_SHALLOW_S lie at or under, not counting those deep under the median,
 *              by 8 to 10 semitones and more: creak lies an octave down, and tunes seldom leap so
 *              far.
 *   Both are means of the readings around that rank, by a quarter and by half of it. As long
 *   as little is known, what is not counts as 60 Hz, so that the floor comes up with the first
 *   words.
 * - The floor reported stays behind what moves: it gives way where that is 2 % under it or 0.5 %
 *   over it, as far as it must and no farther, so that no vibrato moves a filter.
 *
 * Nothing of this is a step, so that the same take a few frames later has the same floor, though
 * other readings are made of it: a filter of 24 dB an octave at 0.6 of the floor passes 1 dB more
 * of a rumble when the floor differs by 3 %.
 *
 * Readings are shared between two bins, a quarter of a semitone apart. The loudest sound is
 * forgotten at 1 dB a second. Cost at most 1500 additions a reading, a third of that as a rule. */
#ifndef SISKIN_VOICE_PITCH_FLOOR_H
#define SISKIN_VOICE_PITCH_FLOOR_H

#include "basic/arena.h"
#include "voice/pitch.h"

#include <stdbool.h>
#include <stdint.h>

#define PITCH_FLOOR_MEMORY_S 3.5
#define PITCH_FLOOR_SHALLOW_S 0.15
#define PITCH_FLOOR_DEEP_S 0.5
#define PITCH_FLOOR_APERIODICITY 0.1f
#define PITCH_FLOOR_GATE 1e-3f /* -30 dB of power */

enum {
    PITCH_FLOOR_BINS = 288, /* 6 octaves up from 40 Hz */
    PITCH_FLOOR_ROW = 5,    /* readings in a row that must be near each other */
    PITCH_FLOOR_PARTS = 16, /* of a bin, and of what a reading counts */
};

/* A reading that is kept. */
typedef struct {
    uint16_t place;  /* in parts of a bin, from the middle of the lowest */
    uint16_t weight; /* how much it counts, in parts */
} PitchFloorKept;

typedef struct {
    float fade;           /* of the loudest power, a reading */
    int32_t most;         /* counts kept */
    size_t room;          /* of `kept`: some readings count for less than one */
    float shallow, deep;  /* readings that confirm */
    PitchFloorKept *kept; /* [room], the oldest at state.oldest */
    struct {
        float loudest;
        float last_hz;
        float row[PITCH_FLOOR_ROW]; /* how much each of the last was a voice, near the one before */
        float voiced_hz;            /* the last reading if there is voice, else 0 */
        bool voice;                 /* that was voice alone, by plain bounds */
        unsigned steady;            /* readings in a row that were voice by plain bounds */
        float floor_hz;
        size_t oldest, n_kept;
        int32_t known;                   /* all counts together */
        int32_t count[PITCH_FLOOR_BINS]; /* PITCH_FLOOR_PARTS squared for a whole reading */
        uint16_t lowest_bin;             /* none below it holds any */
        uint16_t end_bin;                /* none from it on has held any */
    } state;
} PitchFloor;

/* For readings every reading_ms. false: the arena is full. */
bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena);
void pitch_floor_reset(PitchFloor *floor);
/* Takes one reading, and gives the floor in Hz; 0 as long as no note is known. */
float pitch_floor_step(PitchFloor *floor, const PitchReading *reading);
/* The pitch as of the last reading, in Hz; 0 when that was no voice: aperiodicity under 0.1, at
 * most 30 dB under the loudest, and the last of PITCH_FLOOR_ROW in a row within a semitone of each
 * other. */
float pitch_floor_voiced_hz(const PitchFloor *floor);

#endif
