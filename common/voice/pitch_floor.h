/* SPDX-License-Identifier: ISC */
/* pitch_floor.h: the lowest note sung lately, from readings of pitch.h.
 *
 * What may be cut under a voice is set by its lowest note, not by the one sung at the moment: a
 * filter that followed every note and every swing of a vibrato would be heard. So:
 *
 * - A reading counts when it is periodic (aperiodicity under 0.1, YIN's usual threshold),
 *   no more than 30 dB under the loudest periodic sound of late (so that hum and room tone between
 *   phrases are not taken for a voice, whatever the gain before), and the last of 5 in a row that
 *   lie within a semitone of their neighbours: 20 ms of steady voice.
 * - Those of the last 3.5 s of voice are kept. That is the mean length of a breath group
 *   (Rochet-Capellan and Fuchs, Interspeech 2013). Unvoiced time does not count: through consonants
 *   and rests the floor stands still.
 * - The lowest of them may be a creak at the end of a phrase, or a reading an octave low. So a note
 *   must be confirmed: the floor is the lower of
 *       sure:  what PITCH_FLOOR_DEEP_S of the 3.5 s lie at or under,
 *       soon:  what PITCH_FLOOR_SHALLOW_S lie at or under, not counting those deep under the median,
 *              by 8 to 10 semitones and more: creak lies an octave down, and tunes seldom leap so
 *              far.
 *   Both are means of the readings around that rank, by a quarter and by half of it, so that they
 *   move little by one reading more or less. As long as little is known, what is not counts as
 *   40 Hz, so that the floor comes up with the first words.
 * - The floor reported stays behind what moves: it gives way where that is 2 % under it or 4 % over
 *   it, as far as it must and no farther. Within that it is constant to the bit, so that neither
 *   vibrato, whose low turning points differ by less, nor the noise of readings moves a filter.
 *
 * Readings are counted in bins of a quarter of a semitone, so the floor is right within 1.5 %.
 * The loudest sound is forgotten at 1 dB a second. Cost at most 1500 additions a reading, a third of that as a rule. */
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

enum { PITCH_FLOOR_BINS = 288 }; /* 6 octaves up from 40 Hz */

typedef struct {
    float fade;          /* of the loudest power, a reading */
    size_t memory;       /* readings kept */
    float shallow, deep; /* readings that confirm */
    uint16_t *kept;      /* [memory] bins, the oldest at state.oldest */
    struct {
        float loudest;
        float last_hz;
        unsigned steady; /* readings in a row that were close to the one before */
        float voiced_hz; /* the last reading if it counted, else 0 */
        float floor_hz;
        size_t oldest, known;
        uint16_t count[PITCH_FLOOR_BINS];
        uint16_t lowest_bin; /* none below it holds any */
        uint16_t end_bin;    /* none from it on has held any */
    } state;
} PitchFloor;

/* For readings every reading_ms. false: the arena is full. */
bool pitch_floor_prepare(PitchFloor *floor, double reading_ms, Arena *arena);
void pitch_floor_reset(PitchFloor *floor);
/* Takes one reading, and gives the floor in Hz; 0 as long as no note is known. */
float pitch_floor_step(PitchFloor *floor, const PitchReading *reading);
/* The pitch as of the last reading, in Hz; 0 when that did not count as voice. */
float pitch_floor_voiced_hz(const PitchFloor *floor);

#endif
