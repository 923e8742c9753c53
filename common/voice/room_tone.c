/* SPDX-License-Identifier: ISC */
#include "voice/room_tone.h"

#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double ENOUGH_S = 0.25, VISIT_S = 0.04, VOICE_S = 0.04;
static const double MEAN_MS = 60.0, TRUST_S = 0.5, MOVE_MS = 100.0;
static const double LOWEST_HZ = 359.0;
/* Differences in level and in spectrum: none up to the first, and more than none from the
 * second. */
static const float SAME_DB = 1.5f, OTHER_DB = 3.0f;
static const float QUIETER_DB = 4.5f; /* less than the room by so much is wholly so */
enum { FEWEST = 4 };                  /* octaves that tell a spectrum */
static const float ADDED = 2.0f;      /* to what is taken away, 1 */
static const float OCCASIONS = 2.0f, DOUBTED_OCCASIONS = 4.0f, MOST_OCCASIONS = 8.0f;
static const float PLAIN = 0.3f, DOUBTED = 2.0f; /* occasions whose votes make a candidate known */
static const float ALMOST = 0.95f;               /* of an occasion, and it counts as one */
static const float NOTHING = 1e-6f;
static const float FORGOTTEN =
    0.5f; /* of the votes that made a candidate known: fewer, and it is not */
static const float OVERTAKEN = 1.1f; /* times the votes of the room */

void room_tone_prepare(RoomTone *memory, double rate_hz, double hops_per_second) {
    int whole = 0;
    while (whole < ROOM_TONE_BANDS && LOWEST_HZ * (double)(2 << whole) <= 0.5 * rate_hz)
        whole++;
    memory->bands = whole >= FEWEST ? whole : 0;
    memory->enough = (float)(ENOUGH_S * hops_per_second) * ADDED;
    memory->visit = (float)(1.0 / (VISIT_S * hops_per_second));
    memory->longest = MOST_OCCASIONS * (float)(ENOUGH_S * hops_per_second);
    memory->voice = (size_t)lround(VOICE_S * hops_per_second);
    memory->mean = (float)(1.0 - one_pole_coefficient(MEAN_MS, hops_per_second));
    memory->trust = (float)(1.0 / (TRUST_S * hops_per_second));
    memory->move = (float)(1.0 - one_pole_coefficient(MOVE_MS, hops_per_second));
    room_tone_reset(memory);
}

void room_tone_reset(RoomTone *memory) {
    memset(&memory->state, 0, sizeof memory->state);
}

void room_tone_begin_with(RoomTone *memory, const RoomLevels *levels) {
    if (memory->bands == 0)
        return;
    memory->state.candidate[0] = (RoomCandidate){.levels = *levels,
                                                 .votes = MOST_OCCASIONS * memory->enough,
                                                 .heard = memory->longest,
                                                 .visits = MOST_OCCASIONS,
                                                 .known = true};
    memory->state.room = *levels;
    memory->state.share = 1.0f;
}

/* How far a difference is none: 1, or, from OTHER_DB up, 0. */
static float likeness(float difference_db) {
    return maths_ramp(difference_db, OTHER_DB, SAME_DB);
}

/* How far two spectra are the same but for a gain, by the octaves from 359 Hz up. */
static float alike_spectra(const RoomLevels *a, const RoomLevels *b, int bands) {
    float sum = 0.0f, squares = 0.0f;
    for (int k = 1; k <= bands; k++)
        sum += a->band_db[k] - b->band_db[k];
    for (int k = 1; k <= bands; k++) {
        float stray = a->band_db[k] - b->band_db[k] - sum / (float)bands;
        squares += stray * stray;
    }
    return likeness(sqrtf(squares / (float)bands));
}

static float alike(const RoomLevels *a, const RoomLevels *b, int bands) {
    return likeness(fabsf(a->all_db - b->all_db)) * alike_spectra(a, b, bands);
}

/* Takes a share of the way from *mean to *one. */
static void approach(RoomLevels *mean, const RoomLevels *one, float share) {
    mean->all_db += share * (one->all_db - mean->all_db);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        mean->band_db[b] += share * (one->band_db[b] - mean->band_db[b]);
}

/* How far this hop ends a steady stretch: as far as the least like of its hops was like what came
 * before. */
static float steadiness(RoomTone *memory, const RoomLevels *hop) {
    size_t n = memory->state.hops++;
    memory->state.like[n % ROOM_TONE_RUN] =
        n == 0 ? 1.0f : alike(hop, &memory->state.now, memory->bands);
    approach(&memory->state.now, hop, maths_larger(1.0f / (float)(n + 1), memory->mean));
    if (n + 1 < ROOM_TONE_RUN)
        return 0.0f;
    float least = 1.0f;
    for (int k = 0; k < ROOM_TONE_RUN; k++)
        least = maths_smaller(least, memory->state.like[k]);
    return least;
}

static void vote_for(const RoomTone *memory, RoomCandidate *c, float vote, bool plain) {
    float visit = maths_smaller(vote * memory->visit, 1.0f - c->here);
    c->here += visit;
    c->visits = maths_smaller(c->visits + visit, MOST_OCCASIONS);
    float most = maths_larger(c->votes, c->visits * memory->enough);
    c->votes = maths_smaller(c->votes + ADDED * vote, most);
    if (plain)
        c->plain = maths_smaller(c->plain + ADDED * vote, memory->enough);
    c->heard = maths_smaller(c->heard + vote, memory->longest);
    approach(&c->levels, &memory->state.now, vote / (c->heard + NOTHING));
}

static void vote_against(RoomCandidate *c, float vote) {
    c->votes = maths_larger(c->votes - vote, 0.0f);
}

static RoomCandidate *fewest_votes(RoomTone *memory) {
    RoomCandidate *fewest = &memory->state.candidate[0];
    for (int k = 1; k < ROOM_TONE_CANDIDATES; k++)
        if (memory->state.candidate[k].votes < fewest->votes)
            fewest = &memory->state.candidate[k];
    return fewest;
}

/* Which candidate the steady stretch is most like, and how far: *like, 0 if none. */
static RoomCandidate *find(RoomTone *memory, float *like) {
    RoomCandidate *found = NULL;
    *like = 0.0f;
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        RoomCandidate *c = &memory->state.candidate[k];
        float this = c->votes > 0.0f ? alike(&memory->state.now, &c->levels, memory->bands) : 0.0f;
        if (this > *like) {
            *like = this;
            found = c;
        }
    }
    return found;
}

/* Makes the stretch a candidate if there is a place; else it speaks against the one with fewest
 * votes, as far as it is like none. */
static RoomCandidate *find_place(RoomTone *memory, float vote) {
    RoomCandidate *fewest = fewest_votes(memory);
    if (fewest->votes > 0.0f) {
        vote_against(fewest, vote);
        return NULL;
    }
    *fewest = (RoomCandidate){.levels = memory->state.now};
    return fewest;
}

/* How far a hop speaks against a candidate: it is quieter, and known to come back, or it is the
 * same sound turned up or down. */
static float against(const RoomTone *memory, const RoomCandidate *c, const RoomLevels *hop,
                     const RoomCandidate *found) {
    float quieter = maths_ramp(c->levels.all_db - hop->all_db, SAME_DB, QUIETER_DB);
    float back = found ? maths_ramp(found->visits, OCCASIONS - 1.0f, OCCASIONS) : 0.0f;
    return maths_larger(quieter * back, alike_spectra(hop, &c->levels, memory->bands));
}

/* A hop has its say, as far as it is steady. */
static void vote(RoomTone *memory, const RoomLevels *hop, float steady, bool plain) {
    float like;
    RoomCandidate *found = find(memory, &like);
    if (!found) {
        found = find_place(memory, steady);
        like = 1.0f;
    }
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        RoomCandidate *c = &memory->state.candidate[k];
        if (c == found)
            vote_for(memory, c, steady * like, plain);
        else
            vote_against(c, steady * against(memory, c, hop, found));
    }
}

static void leave(RoomTone *memory) {
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++)
        memory->state.candidate[k].here = 0.0f;
}

static bool is_known(const RoomTone *memory, const RoomCandidate *c) {
    float enough = memory->enough * (c->known ? FORGOTTEN : 1.0f);
    if (c->plain >= PLAIN * memory->enough && c->votes >= PLAIN * enough)
        return true;
    return c->votes >= DOUBTED * enough && c->visits >= ALMOST * DOUBTED_OCCASIONS;
}

/* The known one with the most votes; the one that is the room gives way to far more only. */
static const RoomCandidate *choose(RoomTone *memory) {
    RoomCandidate *c = memory->state.candidate;
    const RoomCandidate *most = NULL;
    float most_votes = 0.0f;
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        c[k].known = is_known(memory, &c[k]);
        float votes =
            c[k].known ? c[k].votes * (k == memory->state.chosen ? OVERTAKEN : 1.0f) : 0.0f;
        if (votes > most_votes) {
            most = &c[k];
            most_votes = votes;
        }
    }
    if (most)
        memory->state.chosen = (int)(most - c);
    return most;
}

static void move_room(RoomTone *memory) {
    const RoomCandidate *most = choose(memory);
    float share = memory->state.share;
    if (most)
        approach(&memory->state.room, &most->levels, share == 0.0f ? 1.0f : memory->move);
    memory->state.share = most ? maths_smaller(share + memory->trust, 1.0f)
                               : maths_larger(share - memory->trust, 0.0f);
}

void room_tone_step(RoomTone *memory, const VoiceFrame *frame, float level_db, bool sung,
                    bool plain) {
    memory->state.sung = sung ? memory->state.sung + 1 : 0;
    if (memory->state.sung == memory->voice)
        leave(memory);
    if (memory->bands == 0 || sung || !frame->whole) {
        memory->state.hops = 0;
        return;
    }
    RoomLevels hop = {.all_db = level_db};
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        hop.band_db[b] = decibel_from_power(frame->power[b]);
    float steady = steadiness(memory, &hop);
    if (steady > 0.0f)
        vote(memory, &hop, steady, plain);
    move_room(memory);
}

float room_tone_get(const RoomTone *memory, RoomLevels *levels) {
    if (memory->state.share > 0.0f)
        *levels = memory->state.room;
    return memory->state.share;
}
