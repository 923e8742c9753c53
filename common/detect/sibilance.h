/* SPDX-License-Identifier: ISC */
/* sibilance.h: how far a sibilant stands over the singer's own vowels, in dB.
 *
 *     ratio = band - max(vowels lately, voice now)
 * The two bands at one moment do not tell a hot /s/ from an ordinary one: with no voicing under it,
 * their ratio is anywhere above +10 dB. What is published, and what an ear judges by, is the level
 * of the fricative over the vowels around it. So the level of the vowels is remembered through the
 * sibilant (vowel_level.h). A voice louder than that memory counts as it is; otherwise the first
 * vowel after a rest would look sibilant.
 *
 * Three conditions keep what is no sibilant out of the ratio that is reported:
 * - The band must hold SIBILANCE_SHARE of all the power there is. The burst and the breath of a /k/
 *   before a vowel last longer than 20 ms, but lie at 1.5 to 3 kHz (Blumstein and Stevens, JASA 66,
 *   1979, from memory) and only reach into the band: one resonance there of Q 2 to 4 leaves 0.08
 *   to 0.24 of its power in 4.5..12 kHz, one at 3.5 kHz, as of /sh/, 0.35 or more.
 * - The band must hold more power than the voice just now. By the same rule sibilants are found in
 *   read speech: more energy above 3 kHz than below 1.5 kHz (an unreviewed measurement on the CMU
 *   ARCTIC corpus). The voice band reaches down to 100 Hz, so a /z/ counts only where its friction
 *   outweighs its voicing. In vowels the value is SIBILANCE_VOWEL_DB.
 * - It must last (minimum_duration.h). /sh/ and /z/ are recognised from 30 ms of friction on, /s/
 *   from 50 ms (Jongman, JASA 85, 1989); bursts of plosives take 5..20 ms (from memory), most mouth
 *   clicks less. What is over within 20 ms is none; the detector's window adds some 4 ms to that.
 *
 * A gain before the unit changes nothing. Latency: sibilance_latency() steps. Cost: two logarithms
 * and a minimum_duration a step. */
#ifndef SISKIN_DETECT_SIBILANCE_H
#define SISKIN_DETECT_SIBILANCE_H

#include "basic/minimum_duration.h"
#include "voice/vowel_level.h"

#define SIBILANCE_NONE_DB                                                                          \
    (-100.0f)                        /* the lowest ratio, and what is told while no voice is known \
                                      */
#define SIBILANCE_SHARE 0.25f        /* of the whole power, at the least in the band */
#define SIBILANCE_VOWEL_DB (-200.0f) /* in a vowel */

typedef struct {
    VowelLevel vowel;
    MinimumDuration lasting;
    float missing_db;
} Sibilance;

typedef struct {
    float ratio_db;   /* now, vowels too */
    float lasting_db; /* late; sibilants only */
    float doubt;      /* 1..0: how little the vowels heard so far may say (vowel_level.h) */
} SibilanceNow;

/* false: the arena is full. Call reset and set before the first step. */
bool sibilance_prepare(Sibilance *s, double steps_per_second, Arena *arena);
void sibilance_reset(Sibilance *s);
/* gate_db: vowel_level_set. missing_db is added to the band: what of it is known to be out of
 * sight. */
void sibilance_set(Sibilance *s, float gate_db, float missing_db);
/* Powers of the band, of the voice and of the whole, >= 0: band_ratio.h. */
SibilanceNow sibilance_step(Sibilance *s, float band, float voice, float whole);
size_t sibilance_latency(const Sibilance *s);
/* Whether a value of lasting_db means a vowel. */
static inline bool sibilance_in_vowel(float lasting_db) {
    return lasting_db < 0.5f * (SIBILANCE_NONE_DB + SIBILANCE_VOWEL_DB);
}

#endif
