/* SPDX-License-Identifier: ISC */
#include "detect/gap_gate.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

/* Thresholds: below `open`, and least distances over the room. */
static const float KEEP_DB = 6.0f, KEEP_SUNG_DB = 16.0f, LOW_DB = 20.0f, SUNG_DB = 6.0f;
static const float WEAK_BREATH_DB = 12.0f;
static const float LOUD_DB = 3.0f;       /* nearer to the singer's level lies no breath */
static const float UNDER_LOUD_DB = 9.0f; /* further than this under that lie most breaths */
static const float REST_DB = 12.0f;      /* under its loudest a breath is over */
static const float OPEN_OVER_ROOM_DB = 6.0f, KEEP_OVER_ROOM_DB = 3.0f, FIRST_OVER_ROOM_DB = 10.0f;
static const float NOTHING_DB = -150.0f;
static const float PLAIN_BREATH =
    2.718f; /* times as probable as anything else: see scene_class.h */
static const float DULL = 0.5f, DULL_PLAIN = 1.0f; /* without treble no breath is as plain */
/* Bits of a whole sound that still speak for breath: two of some 20 hops' are chance, and no voice
 * was heard in it. */
static const float BREATH_BITS = -2.0f;
/* dB over a bar, summed over hops in a row, that make a sound, and the most that one hop adds. */
static const float ENOUGH_DB = 24.0f, MOST_OVER_DB = 8.0f;
static const float MOST_OVER_OPEN_DB = 3.0f; /* that of a hop that begins a phrase: it takes 8 */
static const float PAUSE_DB = 7.5f;  /* dB under `keep`, summed over hops, that are a pause */
static const float STEADY_DB = 6.0f; /* a level that stays within so much may be the room's */
static const double WAIT_S = 0.25, TAIL_S = 0.016, ENTRY_S = 0.27;
/* Hops: in a row to begin a phrase, also sung; to go on with one after a pause, also sung; below
 * `low` that end a breath; left for the fade-in, where they are seen. */
enum { BEGIN = 8, BEGIN_SUNG = 3, GO_ON = 4, GO_ON_SUNG = 2, PAUSE = 3, FADE_ROOM = 2 };
/* Hops of breath in a sound: without which it is none; after which it takes so many others in a row
 * to be more than that. */
enum { LITTLE_BREATH = 5, BREATHED = 8, AFTER_BREATH = 16 };
/* A breath that joins a phrase: hops and dB by which it swells at least, hops of doubt in it. */
enum { SWELL = 8, DOUBT = 4 };
static const float SWELL_DB = 6.0f;

/* What is known when a moment comes in. */
typedef struct {
    float open_db, keep_db, low_db, sung_db, weak_db, loud_db;
    size_t hop; /* that is told of */
    float level_db;
    bool periodic;
    bool breath;       /* breath rather than speech */
    bool breathy;      /* and rather than room */
    bool plain_breath; /* and that by far */
    bool room;         /* rather than any sound */
    float breath_bits; /* how much it speaks for breath against speech: logarithm of the odds */
} View;

void gap_gate_prepare(GapGate *gate, double hops_per_second, size_t behind) {
    gate->hops_per_second = hops_per_second;
    gate->wait = (size_t)lround(WAIT_S * hops_per_second);
    gate->entry = (size_t)lround(ENTRY_S * hops_per_second);
    phrase_marks_prepare(&gate->marks, behind, (size_t)lround(TAIL_S * hops_per_second));
    gap_gate_look(gate, behind);
    gap_gate_set(gate, &(GapGateParams){-45.0f, false, true, 250.0f});
    gap_gate_reset(gate);
}

void gap_gate_reset(GapGate *gate) {
    phrase_marks_reset(&gate->marks);
    /* As far back as it may ever look, so that it does not matter how far it does now. */
    phrase_marks_add(&gate->marks, phrase_marks_now(&gate->marks) - GAP_GATE_MOST,
                     phrase_marks_now(&gate->marks) - 1, PHRASE_MARK_SOUND);
    memset(&gate->state, 0, sizeof gate->state);
    gate->state.entering = true;
    sound_start_reset(&gate->start, 2.0f * NOTHING_DB);
}

/* A phrase must be told before its first hop is read. Seen from that are the hops in a row, and
 * those by which they come late or are left for the fade. */
void gap_gate_look(GapGate *gate, size_t behind) {
    size_t seen = behind - VOICE_SENSE_DELAY;
    phrase_marks_look(&gate->marks, behind);
    gate->fade_room = seen <= FADE_ROOM ? seen - 1 : FADE_ROOM;
    gate->begin = seen - gate->fade_room < BEGIN ? seen - gate->fade_room : BEGIN;
}

void gap_gate_set(GapGate *gate, const GapGateParams *params) {
    double shortest_s = (double)params->shortest_ms * 0.001;
    gate->threshold_db = params->threshold_db;
    gate->absolute = params->absolute;
    gate->keep_breaths = params->keep_breaths;
    phrase_marks_set(&gate->marks, (size_t)lround(shortest_s * gate->hops_per_second));
}

/* ---- what is heard ---- */

/* While the room is unknown, only a voice can be told from it, by its being periodic. */
static void find_thresholds(const GapGate *gate, const SceneKnown *now, View *view) {
    float least_db = 2.0f * NOTHING_DB;
    float room_db = now->room_known  ? now->room_all_db
                    : view->periodic ? NOTHING_DB
                                     : view->level_db;
    float voice_db = now->voice_db;
    bool known = now->voice_known;
    view->loud_db = known ? voice_db - LOUD_DB : -NOTHING_DB;
    if (gate->absolute) {
        view->open_db = gate->threshold_db;
    } else if (known) {
        view->open_db = maths_larger(voice_db + gate->threshold_db, room_db + OPEN_OVER_ROOM_DB);
        least_db = room_db + KEEP_OVER_ROOM_DB;
    } else {
        view->open_db = room_db + FIRST_OVER_ROOM_DB;
        least_db = room_db + KEEP_OVER_ROOM_DB;
    }
    view->keep_db = maths_larger(view->open_db - KEEP_DB, least_db);
    if (view->periodic)
        view->keep_db = maths_larger(view->open_db - KEEP_SUNG_DB, least_db);
    view->low_db = maths_larger(view->open_db - LOW_DB, room_db + KEEP_OVER_ROOM_DB);
    view->weak_db = maths_larger(view->open_db - WEAK_BREATH_DB, least_db);
    least_db += OPEN_OVER_ROOM_DB - KEEP_OVER_ROOM_DB;
    view->sung_db = maths_larger(view->open_db - SUNG_DB, least_db);
}

static View look(GapGate *gate, const SceneMoment *moment) {
    const float *p = moment->p;
    float others = maths_larger(p[SCENE_VOICED], p[SCENE_VOICELESS]);
    float most = maths_larger(others, p[SCENE_ROOM]);
    float plain = moment->features.dull > DULL ? DULL_PLAIN : PLAIN_BREATH;
    View view = {
        .hop = phrase_marks_now(&gate->marks) - VOICE_SENSE_DELAY,
        .level_db = moment->level_db,
        .periodic = moment->periodic,
        .breath = p[SCENE_BREATH] > others,
        .breathy = p[SCENE_BREATH] > most,
        .plain_breath = scene_class_odds(p[SCENE_BREATH], most) > plain,
    };
    view.room = p[SCENE_ROOM] > maths_larger(others, p[SCENE_BREATH]);
    view.breath_bits = decibel_fast_log2(scene_class_odds(p[SCENE_BREATH], others));
    sound_start_put(&gate->start, view.hop, view.level_db);
    find_thresholds(gate, &moment->known, &view);
    return view;
}

/* ---- inside and outside ---- */

/* The first hop that can still be taken back. */
static size_t earliest(const GapGate *gate) {
    return phrase_marks_oldest(&gate->marks) + gate->fade_room;
}

/* Marks from the start of the sound at `first` up to now. It may be a breath until a voice is heard
 * in it. */
static void mark(GapGate *gate, const View *view, size_t first, size_t limit) {
    limit = limit > earliest(gate) ? limit : earliest(gate);
    float late;
    first = sound_start_find(&gate->start, view->low_db, first, limit, &late);
    phrase_marks_add(&gate->marks, first, view->hop, PHRASE_MARK_SOUND);
    phrase_marks_late(&gate->marks, first, late);
    gate->state.doubtful = !gate->keep_breaths && !gate->state.entering;
    gate->state.voice = false;
    gate->state.first = first;
    gate->state.silent_before = gate->state.silent;
    gate->state.inside_before = gate->state.inside;
    gate->state.silent = 0;
}

/* As loud as hardly a breath is. */
static bool near_voice(const View *view) {
    return view->level_db >= view->loud_db - UNDER_LOUD_DB;
}

/* A sound that turns out to be a breath is taken back whole, at the last moment before its first
 * hop is let out. After that it stays whole. */
static void doubt(GapGate *gate, const View *view) {
    if (gate->state.sung_run >= GO_ON_SUNG || near_voice(view))
        gate->state.voice = true;
    gate->state.doubtful = gate->state.doubtful && !gate->state.voice;
    if (!gate->state.doubtful || gate->state.first > earliest(gate) + 1)
        return;
    gate->state.doubtful = false;
    if (gate->state.first < earliest(gate) || gate->state.bits <= BREATH_BITS ||
        gate->state.breathed < LITTLE_BREATH)
        return;
    phrase_marks_add(&gate->marks, gate->state.first, view->hop, PHRASE_MARK_BREAK);
    gate->state.sounding = false;
    gate->state.inside = gate->state.inside_before;
    gate->state.silent = gate->state.silent_before + view->hop + 1 - gate->state.first;
    gate->state.run = 0;
}

static size_t count(size_t run, bool goes_on) {
    return goes_on ? run + 1 : 0;
}

/* What a moment must be over to speak for a phrase. */
static float bar_db(const GapGate *gate, const View *view) {
    return gate->keep_breaths && view->plain_breath ? view->weak_db : view->open_db;
}

/* By how much in all hops in a row must be over their bar, beside being so many: the room's flutter
 * is by little. With little look-ahead there is no time to wait for it. */
static float needed_db(const GapGate *gate) {
    return ENOUGH_DB * (float)(gate->begin - 1) / (float)(BEGIN - 1);
}

/* Adds to such a sum what one hop is over its bar. */
static float add_over(float sum_db, float over_db) {
    return maths_larger(sum_db + (over_db < MOST_OVER_DB ? over_db : MOST_OVER_DB), 0.0f);
}

/* What speaks for a phrase to begin. Breaths trimmed: hops in a row, none of which may be breath.
 * Else a sum, so that a hop that just misses its bar takes away no more than it misses. */
static void follow_run(GapGate *gate, const View *view) {
    float over_db = view->level_db - bar_db(gate, view), sum_db = gate->state.run_db;
    if (!gate->keep_breaths) {
        bool speaks = over_db >= 0.0f && (view->periodic || !view->breath);
        gate->state.run = count(gate->state.run, speaks);
        gate->state.run_db = speaks ? add_over(sum_db, over_db) : 0.0f;
        return;
    }
    sum_db += maths_larger(maths_smaller(over_db, MOST_OVER_OPEN_DB), -MOST_OVER_DB);
    gate->state.run_db = maths_smaller(maths_larger(sum_db, 0.0f), ENOUGH_DB);
    gate->state.run = count(gate->state.run, gate->state.run_db > 0.0f);
}

/* Follows a stretch of breath, a few hops of doubt among it: its quietest level, and how many
 * hops ago it was last near that. */
static void follow_breath(GapGate *gate, const View *view) {
    bool gone = view->level_db < maths_larger(view->low_db, gate->state.breath_most_db - REST_DB);
    gate->state.low = gone ? gate->state.low + 1 : 0;
    /* Its last hops are too weak to be told, and speak for no phrase once it is over. */
    if (gate->state.low == PAUSE && !gate->keep_breaths && gate->state.breathed >= BREATHED) {
        gate->state.run = 0;
        gate->state.run_db = 0.0f;
    }
    gate->state.breathed = gate->state.low >= PAUSE ? 0 : gate->state.breathed + view->breathy;
    if (gate->state.breathed == 0)
        gate->state.breath_most_db = 2.0f * NOTHING_DB;
    if (view->breathy)
        gate->state.breath_most_db = maths_larger(gate->state.breath_most_db, view->level_db);
    gate->state.bits =
        view->room || gate->state.low >= PAUSE ? 0.0f : gate->state.bits + view->breath_bits;
    gate->state.doubt = view->breathy ? 0 : gate->state.doubt + 1;
    bool begins = gate->state.doubt > DOUBT;
    if (begins || view->level_db < gate->state.breath_least_db)
        gate->state.breath_least_db = view->level_db;
    bool quiet = view->level_db < gate->state.breath_least_db + SWELL_DB / 2.0f;
    gate->state.swelling = begins || quiet ? 0 : gate->state.swelling + 1;
}

/* Hops in a row that are not breath after which a sound is taken for speech, when `n` are
 * ordinarily: more when the sound has been breath so far, since a lip may click in it. */
static size_t hops_needed(const GapGate *gate, size_t n) {
    return !gate->keep_breaths && gate->state.breathed >= BREATHED ? AFTER_BREATH : n;
}

static void outside(GapGate *gate, const View *view) {
    size_t first;
    size_t sung = gate->begin < BEGIN_SUNG ? gate->begin : BEGIN_SUNG;
    size_t needed = hops_needed(gate, gate->begin);
    if (gate->state.run >= needed && gate->state.run_db >= needed_db(gate))
        first = view->hop - ((gate->keep_breaths ? gate->state.run : needed) - 1);
    else if (gate->state.loud_run >= gate->begin)
        first = view->hop - (gate->begin - 1);
    else if (gate->state.sung_run >= sung)
        first = view->hop - (sung - 1);
    else
        return;
    mark(gate, view, first, 0);
    gate->state.inside = gate->state.sounding = true;
    gate->state.under_db = 0.0f;
}

/* Breaths to be trimmed break the pause they lie in, so that it is closed however short it is. One
 * that begins before the phrase has died away is told by its swelling, and taken back as far as it
 * was marked; if its beginning was let out already, so is the rest. */
static void part_breath(GapGate *gate, const View *view) {
    if (!gate->state.sounding && view->breathy && gate->state.breathed >= BREATHED)
        phrase_marks_add(&gate->marks, view->hop, view->hop, PHRASE_MARK_BREAK);
    size_t swelling = gate->state.swelling, first = view->hop + 1 - swelling;
    /* A breath that was let in swells, too. */
    bool within = !gate->state.voice && first > gate->state.first + BREATHED;
    if (gate->state.sounding && (within || near_voice(view)))
        return;
    bool unread = first > earliest(gate);
    if (swelling < SWELL || !unread || view->level_db < gate->state.breath_least_db + SWELL_DB)
        return;
    if (gate->state.sounding) {
        gate->state.sounding = false;
        gate->state.silent = swelling - 1;
    }
    if (gate->state.silent + 1 >= swelling)
        phrase_marks_add(&gate->marks, first, view->hop, PHRASE_MARK_BREAK);
}

/* Whether a pause is over, when breaths are kept: what came since stands over its bar by enough. */
static bool goes_on(GapGate *gate, const View *view) {
    float bar = view->plain_breath ? maths_smaller(view->keep_db, view->weak_db) : view->keep_db;
    float so_far_db = gate->state.sounding ? 0.0f : gate->state.over_db;
    gate->state.over_db = add_over(so_far_db, view->level_db - bar);
    return view->level_db >= bar && gate->state.over_db >= needed_db(gate);
}

/* Sums what hops are under `keep`: at PAUSE_DB a sound is over. How far into this hop that is, if
 * it is now, else 0. */
static float die_away(GapGate *gate, const View *view) {
    float before_db = gate->state.under_db;
    float under_db = maths_smaller(view->keep_db - view->level_db, MOST_OVER_DB);
    gate->state.under_db = maths_larger(before_db + under_db, 0.0f);
    if (gate->state.under_db < PAUSE_DB)
        return 0.0f;
    bool over_now = gate->state.sounding;
    gate->state.sounding = false;
    return over_now ? (PAUSE_DB - before_db) / under_db : 0.0f;
}

static void inside(GapGate *gate, const View *view) {
    bool again = goes_on(gate, view);
    float end = die_away(gate, view);
    if (!gate->keep_breaths)
        part_breath(gate, view);
    bool sounds = gate->keep_breaths
                      ? again || gate->state.sounding
                      : gate->state.sounding || gate->state.run >= hops_needed(gate, GO_ON) ||
                            gate->state.loud_run >= BEGIN || gate->state.sung_run >= GO_ON_SUNG;
    if (sounds) {
        size_t last = view->hop - gate->state.silent - 1;
        if (gate->state.sounding)
            phrase_marks_add(&gate->marks, view->hop, view->hop, PHRASE_MARK_SOUND);
        else
            mark(gate, view, view->hop, last + 1);
        if (!gate->state.sounding && view->level_db >= view->keep_db) {
            gate->state.sounding = true;
            gate->state.under_db = 0.0f;
        }
        gate->state.silent = 0;
        return;
    }
    if (gate->state.silent == 0)
        phrase_marks_late(&gate->marks, view->hop, end);
    if (++gate->state.silent > gate->wait) {
        gate->state.inside = false;
        gate->state.run = gate->state.sung_run = gate->state.loud_run = 0;
    }
}

/* Hops at one level so far; what is louder for a few is a click. */
static size_t steady(GapGate *gate, float level_db) {
    float least_db = maths_smaller(gate->state.least_db, level_db);
    float most_db = maths_larger(gate->state.most_db, level_db);
    bool louder = level_db > gate->state.least_db + STEADY_DB;
    gate->state.louder = count(gate->state.louder, louder);
    if (louder && gate->state.louder < BEGIN && gate->state.steady > BEGIN)
        return gate->state.steady;
    if (louder || gate->state.steady == 0 || most_db - level_db > STEADY_DB) {
        gate->state.least_db = gate->state.most_db = level_db;
        return 1;
    }
    gate->state.least_db = least_db;
    gate->state.most_db = most_db;
    return gate->state.steady + 1;
}

/* Until a phrase was heard, or the level stayed where it is for long enough to be the room's, what
 * is heard may be the middle of a word. Then what was not let out yet is a gap. */
static void enter(GapGate *gate, const View *view) {
    gate->state.steady = steady(gate, view->level_db);
    gate->state.entering = !gate->state.inside && gate->state.steady < gate->entry;
    if (gate->state.entering)
        phrase_marks_add(&gate->marks, view->hop, view->hop, PHRASE_MARK_SOUND);
    else if (!gate->state.inside)
        phrase_marks_add(&gate->marks, phrase_marks_oldest(&gate->marks), view->hop,
                         PHRASE_MARK_BREAK);
}

PhraseMark gap_gate_step(GapGate *gate, const SceneMoment *moment) {
    View view = look(gate, moment);
    follow_run(gate, &view);
    gate->state.sung_run =
        count(gate->state.sung_run, view.periodic && view.level_db >= view.sung_db);
    gate->state.loud_run = count(gate->state.loud_run, view.level_db >= view.loud_db);
    follow_breath(gate, &view);
    if (gate->state.inside)
        inside(gate, &view);
    else
        outside(gate, &view);
    doubt(gate, &view);
    if (gate->state.entering)
        enter(gate, &view);
    return phrase_marks_step(&gate->marks);
}
