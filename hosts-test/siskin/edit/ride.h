/* SPDX-License-Identifier: ISC */
/* ride.h: one gain for each phrase of a take that is there as a whole.
 *
 * As a hand on the fader would write it before any compressor: the gain of a phrase is
 *     g_i = clamp(strength (T - L_i), -range, range)        L_i loudness of the phrase, LUFS
 * T being the mean of all L, weighted by sung time, unless one is asked for. L_i is gated as in
 * ITU-R BS.1770-4, 10 LU under the phrase's own mean: a pause within it is no part of how loud it
 * is. A phrase never peaks over the take: g_i is at most the take's true peak less that of all that
 * g_i acts on. Where that holds phrases back, T goes down with them by up to 3 dB, so that they
 * still come to one level.
 * Gains are whole tenths of a dB, rounded down.
 * Within a phrase the gain stands. Between two it moves, straight in dB, over the softest stretch
 * there is: from the softest 30 ms outwards while the level stays within 6 dB of it, 1 s at most;
 * not in the first 0.12 s after what is sung nor in the last 0.25 s before it, where consonants
 * are, as far as the gap has room for that.
 * A phrase of over 3 s may be several that touch: it is parted at a dip of 10 dB and more, its
 * halves lasting 1.5 s at least and lying 8 dB apart or more. */
#ifndef SISKIN_EDIT_RIDE_H
#define SISKIN_EDIT_RIDE_H

#include "siskin/edit/envelope.h"
#include "siskin/edit/lane.h"

#define RIDE_RANGE_DB 12.0 /* the default */

typedef struct {
    double start_s, end_s; /* sung */
    double lufs;
    double from_s, to_s; /* where the gain stands */
    double peak_db;      /* true peak of all that its gain acts on */
    double gain_db;
    bool held; /* by its peak or by the range: it stays apart from the others */
} RidePhrase;

typedef struct {
    double range_db;    /* either way, >= 0 */
    double strength;    /* 0..1 */
    double target_lufs; /* NAN: the take's own */
} RideParams;

typedef struct {
    RidePhrase *phrases;
    size_t n;
    double target_lufs;             /* T */
    double spread_db, left_db;      /* deviation of L_i, and of L_i + g_i */
    double peak_db, result_peak_db; /* of the take, and the highest that a phrase comes to */
} Ride;

/* Of `phrases` start_s, end_s and lufs are read; lufs NAN: it is measured here, else it is believed
 * (as of the take without its rumble). They stand in the order of their times, apart from each
 * other. No phrases: an empty ride. */
void ride_plan(Ride *ride, const Envelope *envelope, const RidePhrase *phrases, size_t n,
               const RideParams *params);
void ride_free(Ride *ride);

/* The lane of a fader: a stretch for each phrase. The caller frees it. */
void ride_lane(const Ride *ride, Lane *lane);

#endif
