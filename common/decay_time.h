/* SPDX-License-Identifier: ISC */
/* decay_time.h: the reverberation time of the room, from how a voice dies away in it.
 *
 * After a phrase the room is left to itself, and its energy falls exponentially: a straight line in
 * dB, of which the time for 60 dB is the reverberation time. As ISO 3382-1 does it from a switched
 * source, the line is fitted by least squares from 5 dB below where the fall begins, over 20 dB or
 * as much as lies 8 dB over the room's noise, at least 15 dB; there the noise adds under 0.7 dB.
 * It counts as a decay when the line explains 95 % of the variance (r^2).
 * A voice takes a while to stop, and no fall can be faster than the room's, so of many phrase ends
 * the faster ones tell of the room: the lower quartile of them is given (order statistics of
 * observed decays, as in Ratnam et al., JASA 114(5), 2003, section II.D, who take a percentile
 * too). A reading is an upper bound: a voice that stops in 60 dB / (0.1 s) cannot show a shorter
 * room. Pure functions. */
#ifndef SISKIN_DECAY_TIME_H
#define SISKIN_DECAY_TIME_H

#include <stdbool.h>
#include <stddef.h>

/* Level over time around the end of a phrase, steps of `step_s` seconds: from the last moments of
 * the voice to the next sound. Looks for the fall after the largest value within the first `voiced`
 * steps, the last one within 3 dB of it. false: no fall of 15 dB over floor_db, or no straight one.
 */
bool decay_time_fit(const float *level_db, size_t n, size_t voiced, double step_s, double floor_db,
                    double *t60_s);
/* The lower quartile of n >= 1 times; sorts them. */
double decay_time_of_room(double *t60_s, size_t n);

#endif
