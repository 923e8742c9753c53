/* SPDX-License-Identifier: ISC */
#include "detect/click_finder.h"

#include "basic/maths.h"
#include "basic/one_pole.h"
#include "basic/simd_math.h"
#include "detect/click_gap.h"
#include "detect/click_judge.h"

#include <math.h>
#include <string.h>

enum { MASK = CLICK_HISTORY - 1, ROW = BAND_LEVELS_ROW, WAITING_MASK = CLICK_FINDER_WAITING - 1 };

/* Below this nothing counts: a band of the noise of 16 bits has about as much. */
static const float FLOOR_POWER = 1.6e-11f;
static const float FLOOR_DB = -107.96f;
static const float EDGE_SHARE = 0.21875f, PEAK_SHARE = 0.5f;
/* The voice's level rises in 25 ms and is forgotten by 2 dB a second. */
static const double SMOOTH_MS = 5.0, VOICE_RISE_MS = 25.0, VOICE_FALL_DB = 2.0;
/* No voice in the band has more power than a full-scale sine has: what is louder is a fault, and
 * must not be remembered for a minute. */
static const float VOICE_LEAST_DB = -60.0f, VOICE_AT_FIRST_DB = -45.0f, VOICE_MOST_DB = -3.0f;
/* Over the voice that is assumed at first: somebody sings. A click is too short to get there. */
static const float SUNG_DB = 6.0f;
/* Added to the evidence when a click stands alone. On clean voices three events do that were not
 * taken for clicks anyhow, two of them plosives, with less evidence than -1.5; the bar is at
 * 0.5. */
static const float ALONE = 1.5f;
static const float FADES_DB = 2.0f; /* that the fades of a cut take from the room at its edges */
static const float BREATH_LOW_DB = -10.0f; /* of a breath, at most, re the voice below 1200 Hz */
static const float NOTHING_DB = -200.0f;
/* Beside a click: digital silence, of which nothing is to be kept. */
static const float SILENT_DB = -104.0f;
enum { RINGS_ON = 24 }; /* hops a click may last longer in a gap */

void click_finder_prepare(ClickFinder *finder, double hop_seconds) {
    finder->smooth = (float)one_pole_coefficient(SMOOTH_MS, 1.0 / hop_seconds);
    finder->voice_rise = (float)one_pole_coefficient(VOICE_RISE_MS, 1.0 / hop_seconds);
    finder->voice_fall_db = (float)(VOICE_FALL_DB * hop_seconds);
    click_finder_reset(finder);
}

static void fill(float *values, size_t n, float value) {
    for (size_t i = 0; i < n; i++)
        values[i] = value;
}

void click_finder_reset(ClickFinder *finder) {
    ClickHistory *h = &finder->history;
    h->known = 0;
    h->rated = 0;
    fill(h->level[0], (size_t)CLICK_HISTORY * ROW, FLOOR_DB);
    fill(h->excess[0], (size_t)CLICK_HISTORY * ROW, 0.0f);
    fill(h->height, CLICK_HISTORY, 0.0f);
    fill(h->mean, CLICK_HISTORY, FLOOR_DB);
    fill(h->total, CLICK_HISTORY, FLOOR_DB);
    fill(h->smooth, CLICK_HISTORY, FLOOR_DB);
    fill(h->voice, CLICK_HISTORY, VOICE_AT_FIRST_DB);
    fill(h->voice_low, CLICK_HISTORY, VOICE_AT_FIRST_DB);
    fill(finder->cut_db[0], (size_t)CLICK_HISTORY * ROW, 0.0f);
    level_morphology_reset(&finder->opening, FLOOR_DB);
    memset(&finder->state, 0, sizeof finder->state);
    finder->state.voice_db = VOICE_AT_FIRST_DB;
    finder->state.voice_low_db = VOICE_AT_FIRST_DB;
}

/* The opening's latency is about to change: hops would be rated twice or never. */
static void forget_events(ClickFinder *finder) {
    ClickHistory *h = &finder->history;
    fill(h->excess[0], (size_t)CLICK_HISTORY * ROW, 0.0f);
    fill(h->height, CLICK_HISTORY, 0.0f);
    level_morphology_reset(&finder->opening, FLOOR_DB);
    h->rated = h->known; /* none from before the change is rated after it */
    finder->state.inside = false;
    finder->state.judged = finder->state.found;
}

void click_finder_set(ClickFinder *finder, const ClickFinderParams *params) {
    finder->threshold_db = params->threshold_db;
    finder->depth_db = params->depth_db;
    finder->low_db = EDGE_SHARE * params->threshold_db;
    finder->high_db = PEAK_SHARE * params->threshold_db;
    finder->history.bands = params->bands;
    finder->max_length = params->max_length;
    if (level_morphology_set(&finder->opening, CLICK_FINDER_CLOSE, params->max_length))
        forget_events(finder);
}

/* Power over about a millisecond, as long as a click: that of the last hop, with half of both its
 * neighbours. So everything that follows is a hop late. */
static void smooth_hops(ClickFinder *finder, const float power[ROW], float smoothed[ROW]) {
    float(*past)[ROW] = finder->state.past;
    for (size_t b = 0; b < ROW; b++) {
        smoothed[b] = 0.25f * power[b] + 0.5f * past[0][b] + 0.25f * past[1][b];
        past[1][b] = past[0][b];
        past[0][b] = power[b];
    }
}

static void follow_voice(const ClickFinder *finder, float *voice_db, float level_db) {
    float forgotten = maths_larger(*voice_db - finder->voice_fall_db, VOICE_LEAST_DB);
    float heard = maths_smaller(level_db, VOICE_MOST_DB);
    *voice_db = heard > *voice_db ? one_pole_step(*voice_db, heard, finder->voice_rise) : forgotten;
}

/* Levels of the hop, and what is followed from hop to hop. */
static void take_levels(ClickFinder *finder, const float now[ROW]) {
    ClickHistory *h = &finder->history;
    size_t at = h->known & MASK;
    float total = 0.0f, mean = 0.0f, power[ROW];
    smooth_hops(finder, now, power);
    for (size_t b = 0; b < ROW; b += SIMD_WIDTH) {
        Simd level = 3.01029996f * simd_fast_log2(simd_load(power + b) + FLOOR_POWER);
        memcpy(&h->level[at][b], &level, sizeof level);
    }
    for (size_t b = 0; b < h->bands; b++) {
        total += power[b] + FLOOR_POWER;
        mean += h->level[at][b];
    }
    h->mean[at] = mean / (float)h->bands;
    finder->state.smooth_power = one_pole_step(finder->state.smooth_power, total, finder->smooth);
    Simd both = {total, finder->state.smooth_power + FLOOR_POWER, 1.0f, 1.0f};
    both = 3.01029996f * simd_fast_log2(both);
    h->total[at] = both[0];
    float smooth = both[1];
    follow_voice(finder, &finder->state.voice_db, smooth);
    follow_voice(finder, &finder->state.voice_low_db, h->level[at][BAND_LEVELS_LOW]);
    if (finder->state.voice_low_db > VOICE_AT_FIRST_DB + SUNG_DB)
        finder->state.sung = true;
    h->smooth[at] = smooth;
    h->voice[at] = finder->state.voice_db;
    h->voice_low[at] = finder->state.voice_low_db;
    memset(finder->cut_db[at], 0, sizeof finder->cut_db[at]);
    h->known++;
}

/* Excess of the hop that the opening has reached. */
static void rate(ClickFinder *finder) {
    ClickHistory *h = &finder->history;
    float open[ROW];
    level_morphology_step(&finder->opening, h->level[(h->known - 1) & MASK], open);
    size_t latency = level_morphology_latency(&finder->opening);
    if (h->known <= latency || h->known - latency <= h->rated)
        return;
    size_t t = h->known - 1 - latency, at = t & MASK;
    float first = 0.0f, second = 0.0f;
    for (size_t b = 0; b < h->bands; b++) {
        float excess = maths_larger(h->level[at][b] - open[b], 0.0f);
        h->excess[at][b] = excess;
        second = maths_larger(second, maths_smaller(first, excess));
        first = maths_larger(first, excess);
    }
    h->height[at] = 0.5f * (first + (h->bands > 1 ? second : first));
    h->rated = t + 1;
}

/* Begins, follows and ends events. */
static void follow(ClickFinder *finder) {
    if (finder->history.rated == 0)
        return;
    size_t t = finder->history.rated - 1;
    float height = finder->history.height[t & MASK];
    bool inside = height > finder->low_db;
    if (inside && !finder->state.inside) {
        finder->state.start = t;
        finder->state.height_db = 0.0f;
    }
    if (inside)
        finder->state.height_db = maths_larger(finder->state.height_db, height);
    if (!inside && finder->state.inside && finder->state.height_db >= finder->high_db &&
        t - finder->state.start <= click_finder_longest(finder->max_length)) {
        ClickEvent event = {finder->state.start, t};
        finder->state.waiting[finder->state.found++ & WAITING_MASK] = event;
    }
    finder->state.inside = inside;
}

/* What stands out of the surroundings: in digital silence all of it. */
static float over_sides(float level_db, float around_db) {
    return around_db < SILENT_DB ? level_db - NOTHING_DB : level_db - around_db - FADES_DB;
}

/* Cuts hops start..end down to between `sides`, or by the excess when that is NULL; of two clicks
 * in one hop the larger cut holds. In a gap nothing hides what is left of a click, and nothing is
 * there to be bitten: more may be taken, and from all bands together. */
static void mark(ClickFinder *finder, const ClickEvent *event, bool gap, const ClickGap *sides) {
    float most_db = gap ? CLICK_FINDER_GAP_SHARE * finder->depth_db : finder->depth_db;
    const ClickHistory *h = &finder->history;
    for (size_t t = event->start; t != event->end; t++) {
        float *cut = finder->cut_db[t & MASK], around[ROW];
        if (sides)
            click_gap_around(sides, t, around);
        for (size_t b = 0; b < h->bands; b++) {
            float excess =
                sides ? over_sides(h->level[t & MASK][b], around[b]) : h->excess[t & MASK][b];
            cut[b] = maths_larger(cut[b], maths_smaller(excess, most_db));
        }
        cut[BAND_LEVELS_LOW] = maths_larger(cut[BAND_LEVELS_LOW], gap ? most_db : 0.0f);
    }
    if (event->end > finder->state.cut_end)
        finder->state.cut_end = event->end;
    finder->state.clicks++;
}

/* In a gap, before anything was sung, or where a high click stands and below 1200 Hz there is no
 * more than a breath, it is taken down to its surroundings as far as these are known; else by its
 * excess. */
static void mark_click(ClickFinder *finder, const ClickEvent *event, const ClickGap *sides,
                       const float feature[CLICK_FEATURES]) {
    bool quiet = feature[CLICK_LOW_SIDES] < BREATH_LOW_DB || !finder->state.sung;
    bool gap = click_judge_gap(feature) || (quiet && sides && click_gap_stands(sides));
    ClickEvent whole = *event;
    if (gap && sides)
        whole = (ClickEvent){sides->start, sides->end};
    mark(finder, &whole, gap, gap ? sides : NULL);
}

/* Hops after its start at which a click in a gap may end: it is high, and rings on. */
static size_t gap_longest(const ClickFinder *finder) {
    size_t twice = 2 * finder->max_length;
    size_t most = click_finder_longest(finder->max_length) + RINGS_ON;
    return twice < most ? twice : most;
}

/* The first event waiting, when enough is known of what follows it. */
static void judge(ClickFinder *finder) {
    if (finder->state.judged == finder->state.found)
        return;
    const ClickEvent *event = &finder->state.waiting[finder->state.judged & WAITING_MASK];
    if (finder->history.known < event->start + click_finder_wait(finder->max_length))
        return;
    float feature[CLICK_FEATURES];
    ClickGap gap;
    click_features(&finder->history, event, feature);
    const ClickGap *sides =
        click_gap_measure(&finder->history, event, gap_longest(finder), &gap) ? &gap : NULL;
    float alone = sides ? click_gap_alone(sides) : 0.0f;
    float evidence = click_judge(feature) + ALONE * alone;
    bool known = event->start >= CLICK_HOPS_BEFORE;
    if (known && evidence > click_judge_bar(finder->threshold_db))
        mark_click(finder, event, sides, feature);
    finder->state.judged++;
}

void click_finder_step(ClickFinder *finder, const float power[ROW]) {
    take_levels(finder, power);
    rate(finder);
    follow(finder);
    judge(finder);
}

float click_finder_over_silence(const ClickFinder *finder, size_t t, size_t b) {
    return finder->history.level[t & MASK][b] - FLOOR_DB;
}
