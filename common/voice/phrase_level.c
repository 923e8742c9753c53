/* SPDX-License-Identifier: ISC */
#include "voice/phrase_level.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"

#include <string.h>

static const double GOES_ON_MS = 200.0, SPLIT_MS = 400.0, ENOUGH_S = 0.02, PRIOR_S = 0.1,
                    TRUSTED_S = 0.5, LONGEST_S = 30.0;
static const float NOT_THE_VOICE_DB = 15.0f;
static const float LUFS_OFFSET_DB = -0.691f; /* BS.1770: 997 Hz at 0 dBFS reads -3.01 */
static const float UNKNOWN_DB = -200.0f;

void phrase_level_prepare(PhraseLevel *level, double steps_per_second) {
    level->steps_per_second = (float)steps_per_second;
    level->enough = (float)(ENOUGH_S * steps_per_second);
    level->prior = (float)(PRIOR_S * steps_per_second);
    level->trusted = (float)(TRUSTED_S * steps_per_second);
    level->longest = (float)(LONGEST_S * steps_per_second);
    phrase_level_set(level, 5000.0);
    phrase_level_split(level, GOES_ON_MS, SPLIT_MS);
    phrase_level_reset(level);
}

void phrase_level_reset(PhraseLevel *level) {
    memset(&level->state, 0, sizeof level->state);
    level->state.silent = level->split;
    level->state.level_db = UNKNOWN_DB;
    level->state.average_db = UNKNOWN_DB;
}

void phrase_level_set(PhraseLevel *level, double memory_ms) {
    level->forget = (float)(1.0 - one_pole_coefficient(memory_ms, (double)level->steps_per_second));
}

void phrase_level_split(PhraseLevel *level, double goes_on_ms, double split_ms) {
    level->goes_on = (float)(1e-3 * goes_on_ms * (double)level->steps_per_second);
    level->split = (float)(1e-3 * split_ms * (double)level->steps_per_second);
}

static void begin_phrase(PhraseLevel *level) {
    level->state.beginning = true;
    level->state.n = 0.0f;
    level->state.power = 0.0f;
}

/* What the phrase was so far counts less, and the take more, the longer the pause was. */
static void resume_phrase(PhraseLevel *level) {
    if (level->state.silent <= level->goes_on)
        return;
    float kept = (level->split - level->state.silent) / (level->split - level->goes_on);
    float most = 1.0f / level->forget;
    level->state.n = kept * (level->state.n < most ? level->state.n : most);
    level->state.prior_db += (1.0f - kept) * (level->state.average_db - level->state.prior_db);
}

/* Enough of the new phrase is known to take it for one. */
static void accept_phrase(PhraseLevel *level) {
    level->state.beginning = false;
    level->state.prior_db = level->state.average_db;
    level->state.prior_n = level->prior;
}

static void add_to_mean(PhraseLevel *level, float power, float counts) {
    level->state.n += counts;
    float share = counts / level->state.n, least = counts * level->forget;
    share = share > least ? share : least;
    level->state.power += share * (power - level->state.power);
}

static void add_to_average(PhraseLevel *level, float level_db, float counts) {
    float n = level->state.average_n + counts;
    level->state.average_n = n < level->longest ? n : level->longest;
    level->state.average_db +=
        counts / level->state.average_n * (level_db - level->state.average_db);
}

void phrase_level_step(PhraseLevel *level, float power, float counts) {
    if (counts <= 0.0f) {
        level->state.silent += level->state.silent < level->split ? 1.0f : 0.0f;
        return;
    }
    if (level->state.silent >= level->split)
        begin_phrase(level);
    else
        resume_phrase(level);
    level->state.silent *= 1.0f - counts;
    add_to_mean(level, power, counts);
    if (level->state.beginning && level->state.n < level->enough)
        return;
    if (level->state.beginning)
        accept_phrase(level);
    float mean_db = LUFS_OFFSET_DB + decibel_from_power(level->state.power);
    if (!phrase_level_known(level) || mean_db > level->state.average_db + NOT_THE_VOICE_DB) {
        level->state.average_n = 0.0f; /* add_to_average begins anew with this level */
        level->state.average_db = mean_db;
        level->state.prior_n = 0.0f;
    }
    float prior = level->state.prior_n, n = level->state.n;
    level->state.level_db = (prior * level->state.prior_db + n * mean_db) / (prior + n);
    add_to_average(level, level->state.level_db, counts);
}
