/* SPDX-License-Identifier: ISC */
/* gain_slew.h: takes a gain to where it is wished, no faster than a hand moves a fader.
 *
 * Every step of T seconds,
 *     e     = wish - gain                                          (dB)
 *     gain += clamp(e (1 - exp(-8 T / pace)), -S T, S T)
 *     S     = 12 dB/s * 300 ms / pace
 * This is a first-order approach with a time constant of pace / 8, whose speed is bounded by S: a
 * large move is a straight line in dB, rounded at its end. When the gain may not move it stands
 * still to the bit. Steps are hops. Latency 0. Cost: a few operations a step. */
#ifndef SISKIN_GAIN_GAIN_SLEW_H
#define SISKIN_GAIN_GAIN_SLEW_H

#include <stdbool.h>

typedef struct {
    float steps_per_second;
    float share;   /* of what is left, a step */
    float most_db; /* a step */
    struct {
        float gain_db;
    } state;
} GainSlew;

void gain_slew_prepare(GainSlew *slew, double steps_per_second);
/* Gain := 0 dB. */
void gain_slew_reset(GainSlew *slew);
/* pace_ms > 0. */
void gain_slew_set(GainSlew *slew, double pace_ms);
/* One step; returns the gain, dB. */
float gain_slew_step(GainSlew *slew, float wish_db, bool may_move);

#endif
