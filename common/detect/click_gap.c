/* SPDX-License-Identifier: ISC */
#include "detect/click_gap.h"

#include "basic/maths.h"

enum { MASK = CLICK_HISTORY - 1, ROW = BAND_LEVELS_ROW };
/* Hops: a side; back in the surroundings; the past that counts, its mean; least known after; left
 * between the event and what is measured beside it. */
enum { SIDE = 16, BACK = 16, BEFORE = 300, MEAN_BEFORE = 100, AFTER = 40, EDGE = 3 };

static const float NOTHING = -200.0f; /* dB: quieter than any level */
/* Mean over bands, over the mean of the side before: where it ends. */
static const float RINGS_DB = 4.0f;
/* Over the surroundings: the least height, mean over bands; what may be beside it; else by how much
 * that must be under it. */
static const float LEAST_DB = 6.0f, HEIGHT_DB = 15.0f, BESIDE_DB = 6.0f, UNDER_BEFORE_DB = 16.0f,
                   UNDER_AFTER_DB = 20.0f;
/* What is chance when the place is louder after it, and what is not. */
static const float LESS_DB = 0.8f, MORE_DB = 1.4f;
/* Any band over its surroundings: where it begins. */
static const float BEGINS_DB = 8.0f;

static float loudest(const ClickHistory *h, size_t from, size_t to) {
    float most = NOTHING;
    for (size_t t = from; t != to; t++)
        most = maths_larger(most, h->mean[t & MASK]);
    return most;
}

static float average(const ClickHistory *h, size_t from, size_t to) {
    float sum = 0.0f;
    for (size_t t = from; t != to; t++)
        sum += h->mean[t & MASK];
    return sum / (float)(to - from);
}

/* The first hop from which on the level stays at `around_db` for BACK hops; beyond `last`: none. */
static size_t find_end(const ClickHistory *h, const ClickEvent *event, size_t last,
                       float around_db) {
    size_t end = event->end;
    for (size_t t = end; t != last + 1 && t != end + BACK; t++)
        if (h->mean[t & MASK] > around_db + RINGS_DB)
            end = t + 1;
    return end;
}

/* The first hop, little before the event, in which any band stands out. */
static size_t find_start(const ClickHistory *h, const ClickEvent *event, const float around[ROW]) {
    size_t start = event->start;
    for (size_t back = 1; back <= CLICK_GAP_RUN_UP; back++)
        for (size_t b = 0; b < h->bands; b++)
            if (h->level[(event->start - back) & MASK][b] > around[b] + BEGINS_DB)
                start = event->start - back;
    return start;
}

/* The most that each band reaches in a side that begins at hop `from`. */
static void find_side(const ClickHistory *h, size_t from, float side[ROW]) {
    for (size_t b = 0; b < ROW; b++)
        side[b] = NOTHING;
    for (size_t k = 0; k < SIDE; k++)
        for (size_t b = 0; b < ROW; b++)
            side[b] = maths_larger(side[b], h->level[(from + k) & MASK][b]);
}

/* Both sides and the larger of them, band by band; returns the mean of that. */
static float find_around(const ClickHistory *h, size_t before, size_t after, ClickGap *gap,
                         float around[ROW]) {
    float sum = 0.0f;
    find_side(h, before, gap->side_db[0]);
    find_side(h, after, gap->side_db[1]);
    for (size_t b = 0; b < ROW; b++)
        around[b] = maths_larger(gap->side_db[0][b], gap->side_db[1][b]);
    for (size_t b = 0; b < h->bands; b++)
        sum += around[b];
    return sum / (float)h->bands;
}

bool click_gap_measure(const ClickHistory *h, const ClickEvent *event, size_t longest,
                       ClickGap *gap) {
    size_t last = event->start + longest, before = event->start - CLICK_GAP_RUN_UP;
    size_t end = find_end(h, event, last, average(h, before - SIDE, before));
    if (end > last) /* the room may begin with it */
        end = find_end(h, event, last, average(h, h->known - SIDE, h->known));
    if (end > last || h->known < end + AFTER)
        return false;
    float around[ROW];
    float around_db = find_around(h, before - SIDE, end + EDGE, gap, around);
    gap->start = find_start(h, event, around);
    gap->end = end + 1;
    gap->height_db = loudest(h, event->start, end) - around_db;
    if (gap->height_db < LEAST_DB)
        return false;
    gap->before_db = loudest(h, before - BEFORE, before) - around_db;
    gap->after_db = loudest(h, end + EDGE, h->known) - around_db;
    gap->change_db = average(h, end + EDGE, h->known) - average(h, before - MEAN_BEFORE, before);
    return true;
}

bool click_gap_stands(const ClickGap *gap) {
    float before = maths_larger(BESIDE_DB, gap->height_db - UNDER_BEFORE_DB);
    float after = maths_larger(BESIDE_DB, gap->height_db - UNDER_AFTER_DB);
    return gap->height_db >= HEIGHT_DB && gap->before_db <= before && gap->after_db <= after;
}

float click_gap_alone(const ClickGap *gap) {
    bool first = gap->before_db <= BESIDE_DB;
    return click_gap_stands(gap) && first ? maths_ramp(gap->change_db, MORE_DB, LESS_DB) : 0.0f;
}

void click_gap_around(const ClickGap *gap, size_t t, float around[ROW]) {
    float share = (float)(t - gap->start + 1) / (float)(gap->end - gap->start + 1);
    for (size_t b = 0; b < ROW; b++)
        around[b] = gap->side_db[0][b] + share * (gap->side_db[1][b] - gap->side_db[0][b]);
}
