/* SPDX-License-Identifier: ISC */
/* click_features.h: what a short event looks like among what surrounds it, in numbers.
 *
 * An event is a run of hops in which some bands stand out of their opening (level_morphology.h).
 * Measured on the levels of all bands, in dB, is what tells a click from the pulses of a voice, the
 * burst of a plosive or the start of a word:
 * - how high it is, and how unevenly it is spread over the bands: a click is added to the voice,
 *   and leaves some bands alone;
 * - whether its sides are alike: a plosive parts silence from voice;
 * - whether the like of it happened before or, in a periodic voice, a period away (the idea of
 *   long-term prediction before detection: Vaseghi and Rayner, IEE Proc. I 137(1), 38-46, 1990,
 *   here on the envelopes of the whitened bands);
 * - what the voice does below 1200 Hz, and how loud the event is beside it.
 * Latency: an event can be measured CLICK_HOPS_AFTER hops after its end. Cost about 3000 vector
 * operations an event. */
#ifndef SISKIN_DETECT_CLICK_FEATURES_H
#define SISKIN_DETECT_CLICK_FEATURES_H

#include "filter/band_levels.h"

#include <stddef.h>

/* dB unless it says hops. "Peak" is the hop where the excess of all bands together is largest. */
typedef enum {
    CLICK_FIRST,      /* excess of the best band, its largest */
    CLICK_SECOND,     /* of the second best */
    CLICK_MIDDLE,     /* median over bands of the excess at the peak */
    CLICK_UPPER,      /* upper quartile of that */
    CLICK_TILT,       /* excess of the two highest bands less that of the two lowest, at the peak */
    CLICK_WIDTH,      /* hops within 6 dB of the event's height */
    CLICK_STEP,       /* mean level of 8 ms after less 8 ms before, mean over bands */
    CLICK_FAR_CHANGE, /* the size of that over 24 ms, mean over bands */
    CLICK_RISE,       /* peak over mean level of 8 ms before, mean over bands */
    CLICK_FALL,       /* peak over mean level of 8 ms after */
    CLICK_SHARP_FALL, /* fall of the best band within 3.5 ms */
    CLICK_OVER_BEFORE, /* peak over the largest in 30 ms before, mean of the best two bands */
    CLICK_OVER_AFTER,  /* peak over the largest in 30 ms after */
    CLICK_NEAR_BEFORE, /* peak over the largest in 6 ms before, mean over bands */
    CLICK_NEAR_AFTER,  /* peak over the largest in 6 ms after */
    CLICK_NEAR_MEAN,   /* peak over the largest in 12 ms on both sides, mean over bands */
    CLICK_NEAR_LEAST,  /* the same of the worst band */
    CLICK_PERIOD,   /* peak over what was or will be there a period away, best band; 0: no period */
    CLICK_LOW_PEAK, /* below 1200 Hz: largest in the event over both sides */
    CLICK_LOW_RISE, /* below 1200 Hz: rise within 4 ms */
    CLICK_LOW_CHANGE, /* below 1200 Hz: size of the change of 8 ms after from 8 ms before */
    CLICK_CLOSURE,    /* loudest of 100 ms before over the quietest of 30 ms before */
    CLICK_COMING,     /* loudest of 6 to 34 ms after, over the level at the peak */
    CLICK_OVER_VOICE, /* level at the peak over the voice's, as tracked until the event */
    CLICK_SIDES,      /* level of the louder side over the voice's */
    CLICK_LENGTH,     /* hops */
    CLICK_RIVAL,      /* highest height within 30 ms before, over the event's */
    CLICK_FITTED,     /* those above have curves (click_judge.h) */
    CLICK_LOW_SIDES = CLICK_FITTED, /* below 1200 Hz: the louder side over the voice's there */
    CLICK_FEATURES
} ClickFeature;

enum {
    CLICK_HISTORY = 512,     /* hops; a power of two */
    CLICK_HOPS_BEFORE = 200, /* of the past that is looked at */
    CLICK_HOPS_AFTER = 68,
    CLICK_LONGEST = 64, /* hops of an event */
};

/* Hops are counted from the start; hop t is at index t % CLICK_HISTORY. Levels in dB. */
typedef struct {
    size_t bands; /* 1..7 */
    size_t known; /* hops: levels are known up to here */
    size_t rated; /* hops: excess and height are known up to here */
    float level[CLICK_HISTORY][BAND_LEVELS_ROW];
    float excess[CLICK_HISTORY][BAND_LEVELS_ROW]; /* over the opening, >= 0 */
    float height[CLICK_HISTORY];                  /* mean excess of the two highest bands */
    float mean[CLICK_HISTORY];                    /* level, mean over bands */
    float total[CLICK_HISTORY];                   /* level of all bands together */
    float smooth[CLICK_HISTORY];                  /* the same, over some 5 ms */
    float voice[CLICK_HISTORY];                   /* the voice's level, tracked */
    float voice_low[CLICK_HISTORY];               /* the same below 1200 Hz */
} ClickHistory;

typedef struct {
    size_t start, end; /* hops; end is the first after */
} ClickEvent;

/* Measures an event of 1..CLICK_LONGEST hops; event->end <= rated, event->end + CLICK_HOPS_AFTER <=
 * known. Hops before the first count as the history holds them. */
void click_features(const ClickHistory *history, const ClickEvent *event,
                    float feature[CLICK_FEATURES]);

#endif
