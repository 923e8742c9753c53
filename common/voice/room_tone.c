/* SPDX-License-Identifier: ISC */
#include "voice/room_tone.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

static const double ENOUGH_S = 0.25;
static const double LOWEST_HZ = 359.0;
static const float SAME_DB = 2.0f;    /* differences in level and in spectrum that are none */
static const float QUIETER_DB = 3.0f; /* less than the room by so much is no longer it */
enum { FEWEST = 4 };                  /* octaves that tell a spectrum */
enum { LONGEST_MEAN = 16 };           /* hops: a sound that slowly swells is not steady */
enum { ADDED = 3 };                   /* to what is taken away, 1 */
enum { OCCASIONS = 2, DOUBTED_OCCASIONS = 4, MOST_OCCASIONS = 8 };

void room_tone_prepare(RoomTone *memory, double rate_hz, double hops_per_second) {
    int whole = 0;
    while (whole < ROOM_TONE_BANDS && LOWEST_HZ * (double)(2 << whole) <= 0.5 * rate_hz)
        whole++;
    memory->bands = whole >= FEWEST ? whole : 0;
    memory->enough = ADDED * (size_t)lround(ENOUGH_S * hops_per_second);
    room_tone_reset(memory);
}

void room_tone_reset(RoomTone *memory) {
    memset(&memory->state, 0, sizeof memory->state);
}

void room_tone_begin_with(RoomTone *memory, const RoomLevels *levels) {
    if (memory->bands > 0)
        memory->state.candidate[0] = (RoomCandidate){
            .levels = *levels, .votes = MOST_OCCASIONS * memory->enough, .visits = MOST_OCCASIONS};
}

/* Whether two spectra are the same but for a gain, by the octaves from 359 Hz up. */
static bool same_spectrum(const RoomLevels *a, const RoomLevels *b, int bands) {
    float sum = 0.0f, squares = 0.0f;
    for (int k = 1; k <= bands; k++)
        sum += a->band_db[k] - b->band_db[k];
    for (int k = 1; k <= bands; k++) {
        float stray = a->band_db[k] - b->band_db[k] - sum / (float)bands;
        squares += stray * stray;
    }
    return squares < SAME_DB * SAME_DB * (float)bands;
}

static bool same(const RoomLevels *a, const RoomLevels *b, int bands) {
    return fabsf(a->all_db - b->all_db) < SAME_DB && same_spectrum(a, b, bands);
}

/* Takes one more into a mean of `n`. */
static void average(RoomLevels *mean, const RoomLevels *one, size_t n) {
    float share = 1.0f / (float)(n + 1);
    mean->all_db += share * (one->all_db - mean->all_db);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        mean->band_db[b] += share * (one->band_db[b] - mean->band_db[b]);
}

/* Whether this hop belongs to a steady stretch, of which `now` is the mean. */
static bool is_steady(RoomTone *memory, const RoomLevels *hop) {
    if (!same(hop, &memory->state.now, memory->bands))
        memory->state.run = 0;
    size_t run = memory->state.run++;
    average(&memory->state.now, hop, run < LONGEST_MEAN ? run : LONGEST_MEAN);
    return run + 1 >= ROOM_TONE_RUN;
}

/* The first steady hop of a run speaks for those that made it so. */
static void vote_for(const RoomTone *memory, RoomCandidate *c, bool plain) {
    size_t added = memory->state.run == ROOM_TONE_RUN ? ADDED * ROOM_TONE_RUN : ADDED;
    c->visits += !c->here && c->visits < MOST_OCCASIONS;
    c->here = true;
    if (c->votes < c->visits * memory->enough)
        c->votes += added;
    if (plain && c->plain < memory->enough)
        c->plain += added;
    average(&c->levels, &memory->state.now, c->votes / ADDED);
}

static void vote_against(RoomCandidate *c) {
    if (c->votes > 0)
        c->votes--;
}

/* The candidate that the steady stretch is, or a free place made one; NULL if there is neither. */
static RoomCandidate *find(RoomTone *memory) {
    RoomCandidate *free = NULL;
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        RoomCandidate *c = &memory->state.candidate[k];
        if (c->votes == 0)
            free = c;
        else if (same(&memory->state.now, &c->levels, memory->bands))
            return c;
    }
    if (free)
        *free = (RoomCandidate){.levels = memory->state.now};
    return free;
}

static RoomCandidate *fewest_votes(RoomTone *memory) {
    RoomCandidate *fewest = &memory->state.candidate[0];
    for (int k = 1; k < ROOM_TONE_CANDIDATES; k++)
        if (memory->state.candidate[k].votes < fewest->votes)
            fewest = &memory->state.candidate[k];
    return fewest;
}

/* A steady hop has its say. */
static void vote(RoomTone *memory, const RoomLevels *hop, bool plain) {
    RoomCandidate *found = find(memory);
    if (found)
        vote_for(memory, found, plain);
    else
        vote_against(fewest_votes(memory));
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        RoomCandidate *c = &memory->state.candidate[k];
        bool quieter =
            found && found->visits >= OCCASIONS && hop->all_db < c->levels.all_db - QUIETER_DB;
        if (c != found && (quieter || same_spectrum(hop, &c->levels, memory->bands)))
            vote_against(c);
    }
}

static void leave(RoomTone *memory) {
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++)
        memory->state.candidate[k].here = false;
}

void room_tone_step(RoomTone *memory, const VoiceFrame *frame, float level_db, bool sung,
                    bool plain) {
    if (memory->bands == 0 || sung || !frame->whole) {
        memory->state.run = 0;
        if (sung)
            leave(memory);
        return;
    }
    RoomLevels hop = {.all_db = level_db};
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        hop.band_db[b] = decibel_from_power(frame->power[b]);
    if (is_steady(memory, &hop))
        vote(memory, &hop, plain);
}

static bool is_known(const RoomTone *memory, const RoomCandidate *c) {
    bool plain = 2 * c->plain >= memory->enough && 2 * c->votes >= memory->enough;
    return plain || (c->votes >= memory->enough && c->visits >= DOUBTED_OCCASIONS);
}

bool room_tone_get(const RoomTone *memory, RoomLevels *levels) {
    const RoomCandidate *most = NULL;
    for (int k = 0; k < ROOM_TONE_CANDIDATES; k++) {
        const RoomCandidate *c = &memory->state.candidate[k];
        if (is_known(memory, c) && (!most || c->votes > most->votes))
            most = c;
    }
    if (!most)
        return false;
    *levels = most->levels;
    return true;
}
