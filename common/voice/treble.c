/* SPDX-License-Identifier: ISC */
#include "voice/treble.h"

#include "basic/decibel.h"

enum { FIRST_BAND = 5 };
static const float FALL_DB_PER_S = 1.0f, NOTHING_DB = -300.0f;
static const float BRIGHT_DB = 32.0f, DULL_DB = 40.0f; /* under the voice */

void treble_prepare(Treble *treble, double hops_per_second) {
    treble->fall_db = FALL_DB_PER_S / (float)hops_per_second;
    treble_reset(treble);
}

void treble_reset(Treble *treble) {
    treble->state.at = 0;
    treble->state.held_db = NOTHING_DB;
    for (int k = 0; k < TREBLE_HOPS; k++)
        treble->state.last_db[k] = NOTHING_DB;
}

void treble_begin_with(Treble *treble, float held_db) {
    treble->state.held_db = held_db;
}

void treble_step(Treble *treble, const VoiceFrame *frame, bool sung) {
    float power = 0.0f;
    for (int b = FIRST_BAND; b < OCTAVE_BANK_BANDS; b++)
        power += frame->power[b];
    treble->state.last_db[treble->state.at] = decibel_from_power(power);
    treble->state.at = (treble->state.at + 1) % TREBLE_HOPS;
    float least = treble->state.last_db[0];
    for (int k = 1; k < TREBLE_HOPS; k++)
        least = treble->state.last_db[k] < least ? treble->state.last_db[k] : least;
    if (sung)
        treble->state.held_db -= treble->fall_db;
    if (least > treble->state.held_db)
        treble->state.held_db = least;
}

float treble_dull(const Treble *treble, float voice) {
    float under = decibel_from_power(voice) - treble->state.held_db;
    float dull = (under - BRIGHT_DB) / (DULL_DB - BRIGHT_DB);
    dull = dull < 0.0f ? 0.0f : dull;
    return dull > 1.0f ? 1.0f : dull;
}
