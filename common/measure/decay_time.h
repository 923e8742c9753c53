/* SPDX-License-Identifier: ISC */
/* decay_time.h: the reverberation time of the room, from how a voice dies away in it.
 *
 * After a phrase the room is left to itself, and its energy falls exponentially. What is left of it
 * at a time t, the noise floor taken off, is the tail's energy from t on,
 *     E(t) = sum over s >= t of (p(s) - floor)
 * (backward integration: Schroeder, JASA 37, 1965), a far smoother curve than the level itself, and
 * a straight line in dB, of which the time for 60 dB is the reverberation time. It begins 50 ms
 * after the voice was last within 3 dB of its loudest, so that the direct sound is over, and the
 * sum ends where the level meets the floor within 3 dB, or the next sound begins. The line is
 * fitted by least squares over the first 20 dB (ISO 3382-1's T20), or down to 10 dB over the last
 * level, so that what the sum lacks is under a tenth (0.5 dB); over 10 dB at least. It counts when
 * it explains 97 % of the variance (r^2).
 *
 * A voice takes a while to stop, and no fall can be faster than the room's, so
 * of many phrase ends the faster ones tell of the room: the lower quartile of them is given (order
 * statistics of observed decays, as in Ratnam et al., JASA 114(5), 2003, from memory). A dry voice
 * that takes 0.2 s to fall by 60 dB reads as a room of 0.2 s; and where the room is 10 dB under the
 * voice and short, the voice's own end is in the line, and the reading is up to a quarter short.
 * Pure functions. */
#ifndef SISKIN_MEASURE_DECAY_TIME_H
#define SISKIN_MEASURE_DECAY_TIME_H

#include <stdbool.h>
#include <stddef.h>

enum { DECAY_TIME_MOST = 1024 }; /* steps */

/* Power over time around the end of a phrase, n <= DECAY_TIME_MOST steps of step_s seconds: from
 * the last moments of the voice to the next sound. Looks for the fall after the largest value
 * within the first `voiced` steps. `floor` is the noise's power. false: no fall, or no straight
 * one. */
bool decay_time_fit(const float *power, size_t n, size_t voiced, double step_s, double floor,
                    double *t60_s);
/* The lower quartile of n >= 1 times; sorts them. */
double decay_time_of_room(double *t60_s, size_t n);

#endif
