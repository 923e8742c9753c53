/* SPDX-License-Identifier: ISC */
#include "detect/breath_span.h"

#include <math.h>
#include <string.h>

/* In hops: what a step is smoothed over; the shortest rise that is looked at; how many voiced ones
 * are more than a click. */
enum { MASK = BREATH_SPAN_RING - 1, SMOOTHED = 2, SHORTEST_RISE = 4, SURELY = 4 };

static const double REACH_S = 0.08, REST_S = 0.15, ENDING_S = 0.04, LONGEST_S = 2.0;
static const float SWELL_DB = 4.0f, HOLD_DB = 3.0f, RISEN_DB = 8.0f, REST_DB = 10.0f;
static const float AFTER_REST = 0.2f, AFTER_SWELL = 0.75f; /* share that sounds like a breath */
enum { MOST_ROOM = 6 };                                    /* one hop of room in so many */
static const float RISE_DB = 6.0f, REACH_PER_RISE = 2.42f; /* 1 / (10^(6/40) - 1) */

void breath_span_prepare(BreathSpan *span, double hops_per_second) {
    memset(span, 0, sizeof *span);
    span->reach = (size_t)lround(REACH_S * hops_per_second);
    span->rest = (size_t)lround(REST_S * hops_per_second);
    span->ending = (size_t)lround(ENDING_S * hops_per_second);
    span->longest = (size_t)lround(LONGEST_S * hops_per_second);
    breath_span_reset(span);
}

void breath_span_reset(BreathSpan *span) {
    memset(&span->state, 0, sizeof span->state);
    memset(span->state.sound, SCENE_ROOM, sizeof span->state.sound);
}

void breath_span_stand_apart(BreathSpan *span, bool apart) {
    span->apart = apart;
}

void breath_span_loud(BreathSpan *span, bool loud) {
    span->loud = loud;
}

void breath_span_set(BreathSpan *span, size_t least, size_t lag, size_t clear) {
    span->least = least;
    span->lag = lag;
    span->clear = clear;
}

size_t breath_span_delay(const BreathSpan *span, size_t clear) {
    return span->reach + clear;
}

static float level(const BreathSpan *span, size_t hop) {
    return span->state.level_db[hop & MASK];
}

static unsigned alone_of(const BreathSpan *span, size_t hop) {
    return span->state.alone[hop & MASK];
}

static unsigned sound_of(const BreathSpan *span, size_t hop) {
    return span->state.sound[hop & MASK];
}

/* How far a breath reaches before hop `edge`, its first (direction 1), or behind it, its last (-1).
 */
static size_t reach(const BreathSpan *span, size_t edge, int direction) {
    float goal = level(span, edge) + RISE_DB;
    size_t rise = 0;
    for (size_t k = span->reach; k > 0; k--)
        if (level(span, direction > 0 ? edge + k : edge - k) > goal)
            rise = k;
    if (rise <= SMOOTHED)
        return 1;
    size_t far = 1 + (size_t)lroundf((float)(rise - SMOOTHED) * REACH_PER_RISE);
    return far < span->reach ? far : span->reach;
}

static bool rested_before(const BreathSpan *span, size_t t) {
    size_t rest = 0;
    while (rest < span->rest && sound_of(span, t - 1 - rest) == SCENE_ROOM)
        rest++;
    return rest == span->rest;
}

/* Hops of the sound before hop t if it is but the lips that part, else 0. */
static size_t lips_before(const BreathSpan *span, size_t t) {
    size_t lips = 0;
    while (lips <= span->reach && sound_of(span, t - 1 - lips) == SCENE_VOICELESS)
        lips++;
    return lips <= span->reach && rested_before(span, t - lips) ? lips : 0;
}

/* Lowest level from hop t - span->reach up to hop t. */
static float lowest_before(const BreathSpan *span, size_t t) {
    float lowest = level(span, t);
    for (size_t k = 1; k <= span->reach; k++)
        lowest = level(span, t - k) < lowest ? level(span, t - k) : lowest;
    return lowest;
}

/* Whether the level, from hop t on and as far as can be seen, does not just fall: it goes up by
 * SWELL_DB, or stays within HOLD_DB; and is, or comes, RISEN_DB over its lowest so far. */
static bool lives(const BreathSpan *span, size_t t) {
    float here = level(span, t), lowest = here, highest = here;
    for (size_t k = 1; k <= span->lag; k++) {
        float now = level(span, t + k);
        lowest = now < lowest ? now : lowest;
        highest = now > highest ? now : highest;
    }
    bool falls = highest <= here + SWELL_DB && lowest <= here - HOLD_DB;
    return !falls && highest > span->state.lowest_db + RISEN_DB;
}

/* Hops from t to the first SURELY in a row that sound voiced; the lag if none are seen. */
static size_t hops_to_voice(const BreathSpan *span, size_t t) {
    size_t voiced = 0;
    for (size_t k = 1; k <= span->lag; k++) {
        voiced = alone_of(span, t + k) == SCENE_VOICED ? voiced + 1 : 0;
        if (voiced == SURELY)
            return k + 1 - SURELY;
    }
    return span->lag;
}

/* The largest fall of the level within `hops` hops from t on. */
static float fall_within(const BreathSpan *span, size_t t, size_t hops) {
    float highest = level(span, t), fall = 0.0f;
    for (size_t k = 1; k < hops; k++) {
        float now = level(span, t + k);
        highest = now > highest ? now : highest;
        fall = highest - now > fall ? highest - now : fall;
    }
    return fall;
}

/* Whether what begins at hop t, as far as can be seen, is an /h/ or a soft onset. It ends in voice:
 * when hop t is the beginning of the sound, without the rest that lies between a breath and a word;
 * else by rising throughout. */
static bool leads_into_voice(const BreathSpan *span, size_t t, bool beginning) {
    size_t hops = hops_to_voice(span, t);
    if (hops < SHORTEST_RISE || hops == span->lag)
        return false;
    float fall = fall_within(span, t, hops);
    if (beginning)
        return fall < REST_DB;
    float middle = level(span, t + hops / 2);
    return fall < SWELL_DB && middle > level(span, t) + SWELL_DB &&
           level(span, t + hops - 1) > middle + SWELL_DB;
}

/* Whether the breath that hop t is in joins the voice that follows it, all of it being still in
 * hand. */
static bool joins_voice(const BreathSpan *span, size_t t) {
    size_t before = span->state.run - 1, hops = hops_to_voice(span, t);
    return hops < span->lag && before <= span->reach + span->clear &&
           fall_within(span, t - before, before + hops) < REST_DB;
}

/* Whether not too many of the first `least` hops from t on are room. */
static bool is_whole(const BreathSpan *span, size_t t) {
    size_t room = 0;
    for (size_t k = 0; k < span->least; k++)
        room += alone_of(span, t + k) == SCENE_ROOM;
    return 3 * room <= span->least;
}

/* Hop t sounds like a breath: is it one? */
static bool is_breath(BreathSpan *span, size_t t) {
    if (span->state.run++ == 0) {
        span->state.whole = is_whole(span, t);
        span->state.lives = sound_of(span, t - 1) == SCENE_ROOM || lips_before(span, t) > 0;
        span->state.onset = false;
        span->state.apart = span->apart;
        span->state.lowest_db = lowest_before(span, t);
    }
    bool apart = span->state.apart;
    if (level(span, t) < span->state.lowest_db)
        span->state.lowest_db = level(span, t);
    span->state.lives = span->state.lives || (!apart && lives(span, t));
    span->state.onset =
        span->state.onset || leads_into_voice(span, t, apart || span->state.run == 1);
    return span->state.whole && span->state.lives && !span->state.onset &&
           span->state.run <= span->longest;
}

/* Takes in what lies before the first hop of a breath and belongs to it. */
static void begin(BreathSpan *span, size_t t) {
    size_t lips = lips_before(span, t);
    size_t before = lips > 0 ? lips : reach(span, t, 1);
    for (size_t k = 1; k <= before; k++) {
        if (lips > 0)
            span->state.sound[(t - k) & MASK] = SCENE_BREATH;
        span->state.inside[(t - k) & MASK] |= sound_of(span, t - k) <= SCENE_ROOM;
    }
}

/* Gives back all that was not let out yet of what ends at hop t. */
static void give_back_whole(BreathSpan *span, size_t t) {
    for (size_t k = 1; k <= span->reach + span->clear; k++) {
        if (sound_of(span, t - k) == SCENE_BREATH)
            span->state.sound[(t - k) & MASK] = SCENE_VOICELESS;
        span->state.inside[(t - k) & MASK] = 0;
    }
}

/* Whether what ends at hop t does not die away first. Its last hops are too weak to be told, and
 * may have gone down as another sound: the fall is looked for a little beyond t. */
static bool breaks_off(const BreathSpan *span, size_t t) {
    size_t most = span->reach + span->clear;
    size_t beyond = span->ending < span->lag ? span->ending : span->lag;
    return fall_within(span, t - most, most + beyond) < REST_DB;
}

/* Gives back what rises into the sound at hop t. */
static void give_back(BreathSpan *span, size_t t) {
    size_t dip = 1;
    for (size_t k = 2; k <= span->reach && sound_of(span, t - k) == SCENE_BREATH; k++)
        dip = level(span, t - k) < level(span, t - dip) ? k : dip;
    if (level(span, t - 1) < level(span, t - dip) + SWELL_DB)
        return;
    for (size_t k = 1; k <= dip; k++) {
        span->state.sound[(t - k) & MASK] = SCENE_VOICELESS;
        span->state.inside[(t - k) & MASK] = 0;
    }
}

/* Hops that can still be changed. */
static size_t in_hand(const BreathSpan *span) {
    return span->reach + span->clear;
}

/* The highest level of hops first..first + hops - 1. */
static float highest_of(const BreathSpan *span, size_t first, size_t hops) {
    float highest = level(span, first);
    for (size_t k = 1; k < hops; k++)
        highest = level(span, first + k) > highest ? level(span, first + k) : highest;
    return highest;
}

/* Whether a sound whose first hops in hand end with t came up out of a dip, and does not die away
 * as far as can be seen, as the breath that ends a word does. */
static bool swells(const BreathSpan *span, size_t t) {
    size_t first = t + 1 - in_hand(span);
    float highest = highest_of(span, first, in_hand(span) + span->lag);
    return highest > lowest_before(span, first) + RISEN_DB &&
           level(span, t + span->lag) > highest - REST_DB;
}

/* Whether the level rises, from hop t on and as far as can be seen, far over `peak_db`. */
static bool outgrows(const BreathSpan *span, size_t t, float peak_db) {
    return highest_of(span, t + 1, span->lag) > peak_db + REST_DB;
}

/* Whether the hops in hand, of which t is the last, and all that can be seen behind them are a
 * sound without voice, none of it as loud as the voice, and `share` of it like a breath. */
static bool has_no_voice(const BreathSpan *span, size_t t, float share) {
    size_t hops = in_hand(span) + span->lag, first = t + 1 - in_hand(span);
    size_t breath = 0, room = 0, voiced = 0;
    for (size_t k = first; k < first + hops; k++) {
        unsigned alone = alone_of(span, k);
        voiced = alone == SCENE_VOICED ? voiced + 1 : 0;
        if (voiced == SURELY || span->state.loud[k & MASK])
            return false;
        breath += alone == SCENE_BREATH;
        room += alone == SCENE_ROOM;
    }
    return MOST_ROOM * room <= hops && (float)breath >= share * (float)hops;
}

/* Whether what sounds at hop t, and has for just as long as is in hand, is a breath by its
 * place. */
static bool stands_alone(const BreathSpan *span, size_t t, SceneKind sound) {
    size_t n = in_hand(span), first = t + 1 - n;
    if (outgrows(span, t, highest_of(span, first, n)))
        return false;
    if (span->state.sounding == n && rested_before(span, first))
        return has_no_voice(span, t, AFTER_REST);
    return sound == SCENE_BREATH && span->state.run + 1 == n && swells(span, t) &&
           has_no_voice(span, t, AFTER_SWELL);
}

/* The hops from `first` up to hop t are a breath, and so is what belongs to it before them. */
static void take_in(BreathSpan *span, size_t first, size_t t) {
    begin(span, first);
    for (size_t k = first; k < t; k++) {
        span->state.sound[k & MASK] = SCENE_BREATH;
        span->state.inside[k & MASK] = 1;
    }
    span->state.run = t - first;
    span->state.whole = span->state.lives = span->state.apart = span->state.breath = true;
    span->state.onset = false;
    span->state.lowest_db = level(span, t);
}

/* What hop t is by its place, where breaths stand apart; `sound` is what it is by its kind. */
static SceneKind by_its_place(BreathSpan *span, size_t t, SceneKind sound) {
    if (!span->apart || sound == SCENE_ROOM || sound == SCENE_VOICED) {
        span->state.sounding = 0;
        span->state.placed = false;
        return sound;
    }
    span->state.sounding++;
    if (stands_alone(span, t, sound)) {
        take_in(span, t + 1 - in_hand(span), t);
        span->state.placed = true;
        span->state.peak_db = highest_of(span, t + 1 - in_hand(span), in_hand(span));
    }
    if (hops_to_voice(span, t) < span->lag || outgrows(span, t, span->state.peak_db))
        span->state.placed = false;
    return span->state.placed ? SCENE_BREATH : sound;
}

/* Takes in the kind of sound of hop t. */
static void decide(BreathSpan *span, size_t t, SceneKind sound) {
    sound = by_its_place(span, t, sound);
    bool before = span->state.breath;
    span->state.breath = sound == SCENE_BREATH && is_breath(span, t);
    if (span->state.breath && joins_voice(span, t)) {
        give_back_whole(span, t);
        span->state.onset = true;
        span->state.breath = before = false;
    }
    span->state.run = sound == SCENE_BREATH ? span->state.run : 0;
    if (sound == SCENE_BREATH && !span->state.breath)
        sound = SCENE_VOICELESS;
    if (span->state.breath && !before)
        begin(span, t);
    if (before && sound > SCENE_ROOM)
        give_back(span, t);
    if (before && sound > SCENE_ROOM && span->state.apart && breaks_off(span, t))
        give_back_whole(span, t);
    if (sound != SCENE_ROOM)
        span->state.tail = 0;
    else if (before)
        span->state.tail = reach(span, t - 1, -1);
    span->state.sound[t & MASK] = (unsigned char)sound;
    span->state.inside[t & MASK] = span->state.breath || span->state.tail > 0;
    span->state.tail -= span->state.tail > 0;
}

static bool wanted(const BreathSpan *span, size_t t) {
    bool clear = sound_of(span, t) <= SCENE_ROOM;
    for (size_t k = 1; k <= span->clear; k++)
        clear = clear && sound_of(span, t + k) <= SCENE_ROOM;
    return clear && span->state.inside[t & MASK];
}

bool breath_span_step(BreathSpan *span, float level_db, SceneKind alone, SceneKind decided) {
    size_t now = span->state.hop + BREATH_SPAN_RING, then = now - span->lag;
    span->state.level_db[now & MASK] = level_db;
    span->state.alone[now & MASK] = (unsigned char)alone;
    span->state.loud[now & MASK] = span->loud;
    span->state.hop++;
    decide(span, then, decided);
    return wanted(span, then - breath_span_delay(span, span->clear));
}
