/* SPDX-License-Identifier: ISC */
/* click_finder.h: from the levels of bands, what is to be taken away from each, hop by hop.
 *
 * In each band the excess over the opening (level_morphology.h, closing 8 ms, opening max_length)
 * is what rises and falls back in time. An event is a run of hops in which the mean of the two
 * highest excesses of any bands is over a fifth of the threshold, and once over half of it. When
 * the 34 ms after it are known, too (38 at the longest max_length), it is measured
 * (click_features.h) and judged (click_judge.h). From a click the excess is cut, no more: so
 * nothing is cut below the level of its surroundings. In a voice that is at most `depth`; in a gap
 * (click_judge_gap) up to CLICK_FINDER_GAP_SHARE times that: 60 dB for 24, as high as a click
 * stands over a quiet room. There the excess is measured over what is on either side, and for as
 * long as the click rings (click_gap.h), up to twice max_length; beside digital silence nothing of
 * it is to be kept. Standing alone is evidence, too.
 * In the first 100 ms after a reset nothing is a click: what playback begins with may be the burst
 * of a plosive, whose closure was not heard.
 * Latency, from the hop that comes in to the one whose cut and the 8 hops after it are known:
 * max_length and 43.5 to 45.5 ms. Cost about 100 vector operations a hop and 2500 an event. */
#ifndef SISKIN_DETECT_CLICK_FINDER_H
#define SISKIN_DETECT_CLICK_FINDER_H

#include "detect/click_features.h"
#include "detect/level_morphology.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    CLICK_FINDER_CLOSE = 16,    /* hops: as long as the valleys between most pulses of a voice */
    CLICK_FINDER_WAITING = 128, /* events that may wait to be judged */
    CLICK_FINDER_RUN_UP = 8,    /* hops known before a cut begins: filters may settle */
    CLICK_FINDER_LONGEST = 60,  /* hops, of max_length */
};

#define CLICK_FINDER_GAP_SHARE 2.5f

typedef struct {
    float threshold_db;
    float depth_db;
    size_t max_length; /* hops, 1..CLICK_FINDER_LONGEST */
    size_t bands;      /* in use, 1..7 */
} ClickFinderParams;

typedef struct {
    float seconds; /* a hop */
    float smooth;  /* poles, a hop */
    float voice_rise;
    float voice_fall_db;
    float low_db, high_db; /* height of an event: edge and peak */
    float threshold_db, depth_db;
    size_t max_length;
    LevelMorphology opening;
    ClickHistory history;
    float cut_db[CLICK_HISTORY][BAND_LEVELS_ROW]; /* as the history: hop t at t % CLICK_HISTORY */
    struct {
        float past[2][BAND_LEVELS_ROW]; /* powers of the last two hops */
        float smooth_power;
        float voice_db, voice_low_db;
        bool sung;   /* so far */
        bool inside; /* an event */
        size_t start;
        float height_db; /* of it so far */
        ClickEvent waiting[CLICK_FINDER_WAITING];
        size_t judged, found; /* events */
        size_t clicks;        /* judged to be so, since reset */
        size_t cut_end;       /* hops from here on are not cut, as far as is known */
    } state;
} ClickFinder;

void click_finder_prepare(ClickFinder *finder, double hop_seconds);
void click_finder_reset(ClickFinder *finder);
void click_finder_set(ClickFinder *finder, const ClickFinderParams *params);

/* The longest run of hops that may be an event: its edges are lower than its peak. */
static inline size_t click_finder_longest(size_t max_length) {
    return max_length + 8 < CLICK_LONGEST ? max_length + 8 : CLICK_LONGEST;
}

/* Hops from the start of an event until it is judged: it has ended, the opening has passed it, and
 * what follows is known. */
static inline size_t click_finder_wait(size_t max_length) {
    size_t opening = CLICK_FINDER_CLOSE + max_length;
    return click_finder_longest(max_length) +
           (opening > CLICK_HOPS_AFTER ? opening : CLICK_HOPS_AFTER);
}

/* Hops from the one that comes in to the one whose cut is final, with those of the next
 * CLICK_FINDER_RUN_UP hops. */
static inline size_t click_finder_latency(size_t max_length) {
    return click_finder_wait(max_length) + CLICK_FINDER_RUN_UP + 3;
}

/* One hop: the mean power of each band. */
void click_finder_step(ClickFinder *finder, const float power[BAND_LEVELS_ROW]);

/* Whether there may be something to cut in hop t or later. */
static inline bool click_finder_cuts(const ClickFinder *finder, size_t t) {
    return t < finder->state.cut_end;
}

/* What to cut from each band in hop t, dB >= 0, and at BAND_LEVELS_LOW, as that band is never cut,
 * how much of it may be taken from all bands together; t within CLICK_HISTORY of the last. */
static inline const float *click_finder_cut(const ClickFinder *finder, size_t t) {
    return finder->cut_db[t % CLICK_HISTORY];
}

/* How far band b stands in hop t over what counts as silence, dB >= 0: no click is higher than
 * that, though beside digital silence more is cut. t as above. */
float click_finder_over_silence(const ClickFinder *finder, size_t t, size_t b);

#endif
