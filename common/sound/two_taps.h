/* SPDX-License-Identifier: ISC */
/* two_taps.h: sound at another pitch by reading it faster or slower, whatever it is; formants move
 * along.
 *
 * Two taps on the past, each under a window of 2 TWO_TAPS_HALF_MS, half of one apart, so that one
 * is at rest while the other jumps back to where it belongs (Lent, "An efficient method for pitch
 * shifting digitally sampled sounds", Computer Music J. 13(4), 1989, without its pitch tracker).
 * For chords, noise and tails, which have no period to go by: there the joints are hidden; on a
 * single voice they are heard as a flutter. The taps are grains (grains.h) on a grid of whole
 * halves, so that it does not matter when it began. Read over twice as fast they would have to look
 * ahead farther than the latency, and are put back as far. Cost: two grains at another speed. */
#ifndef SISKIN_SOUND_TWO_TAPS_H
#define SISKIN_SOUND_TWO_TAPS_H

#include "sound/psola.h"

#define TWO_TAPS_HALF_MS 28.0

typedef struct {
    double half; /* frames */
    Grains grains;
    struct {
        double next; /* the grid's next place, >= 0; < 0: to be found */
    } state;
} TwoTaps;

void two_taps_prepare(TwoTaps *taps, double rate_hz);
void two_taps_reset(TwoTaps *taps);
/* At the end of a tick: what begins within the next one, at `ratio` 0.25..PAST_SOUND_FASTEST. */
void two_taps_plan(TwoTaps *taps, const PsolaSource *source, double ratio);
/* n frames into out[channel] + at, which are overwritten. Call before psola_source_hear() of the
 * same n frames. */
void two_taps_process(TwoTaps *taps, const PsolaSource *source, float *const *out, size_t at,
                      size_t n);
/* Milliseconds that psola_source_prepare() must keep for it. */
#define TWO_TAPS_LATER_MS 200.0

#endif
