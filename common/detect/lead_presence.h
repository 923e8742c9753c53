/* SPDX-License-Identifier: ISC */
/* lead_presence.h: in which bands a lead sounds now, each from 0 (not) to 1 (fully).
 *
 * The lead is made white first, by a lift of 6 dB an octave above LEAD_TILT_HZ, about what a voice
 * falls by (mean speech spectrum of Byrne et al., JASA 96, 1994, from memory), so that its formants
 * and consonants count alike wherever they are:
 *
 *     y = x + (x[t] - x[t-1]) rate / (2 pi LEAD_TILT_HZ)
 *
 * What is above the range is cut off by 24 dB an octave, since the bands' own skirts fall by 6, and
 * a sibilant above it would pass for sound within.
 * Then, of the bands of band_levels.h, each level e_b in dB, held for some LEAD_HOLD_MS, is set
 * against a reference R: the loudest band of the last while. It rises at once and falls towards
 * what sounds now, or LEAD_QUIET_DB if that is less, with a time constant of LEAD_FALL_MS:
 *
 *     presence_b = clamp((e_b - (R - w)) / (2 w / 3), 0, 1),  w = 36 dB .. 12 dB by sharpness
 *
 * So a band counts in full down to w/3 under the reference, and not at all from w under it on: the
 * room between words is further down. Levels follow the key alone; what it is laid over does not
 * matter. Latency: a hop of 0.5 ms. Cost: band_levels, and some operations a hop. */
#ifndef SISKIN_DETECT_LEAD_PRESENCE_H
#define SISKIN_DETECT_LEAD_PRESENCE_H

#include "filter/band_levels.h"
#include "filter/edge_filter.h"

#define LEAD_TILT_HZ 500.0
#define LEAD_HOLD_MS 15.0
#define LEAD_FALL_MS 6000.0
#define LEAD_QUIET_DB (-30.0f)

enum { LEAD_CHANNELS = 2, LEAD_MOST = 256 }; /* most frames at once */

typedef struct {
    unsigned channels;
    float lift; /* rate / (2 pi LEAD_TILT_HZ) */
    float keep; /* of a held power, a hop */
    float fall; /* share of the way left, a hop */
    float wide; /* w */
    EdgeFilter edge;
    BandLevels levels;
    struct {
        float last[LEAD_CHANNELS];
        float held[BAND_LEVELS_ROW]; /* powers */
        float reference_db;
    } state;
} LeadPresence;

void lead_presence_prepare(LeadPresence *presence, double rate_hz, unsigned channels);
void lead_presence_reset(LeadPresence *presence);
/* sharpness 0..1; high_hz: where the range of the bands ends. The bands themselves are set by
 * band_levels_set(&presence->levels, ...). */
void lead_presence_set(LeadPresence *presence, double sharpness, double high_hz);

/* Frames key[channel][at .. at + n), n <= band_levels_room and <= LEAD_MOST. true: a hop is full,
 * and share holds the presence of each band, 0 for those not in use. */
bool lead_presence_process(LeadPresence *presence, const float *const *key, size_t at, size_t n,
                           float share[BAND_LEVELS_ROW]);

#endif
