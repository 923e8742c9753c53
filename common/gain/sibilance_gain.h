/* SPDX-License-Identifier: ISC */
/* sibilance_gain.h: how much a sibilant is to be cut, from how far it stands over the vowels.
 *
 *     excess = ratio - threshold                                        (dB)
 *     cut = min(strength * excess, excess - (1 - strength) * 8)
 *     goal = cut, past 85 % of the range only a quarter of it; 0..range
 * One that is just over the threshold may be as sung, so that nothing is taken at first, then all
 * that comes on top until the share is reached, at 8 dB over it. The slope is never over 1: the
 * hotter of two ends no softer. Nearly all of the range is reached by an /s/ 11 dB over, the rest
 * is kept for what is hotter still. Against a share alone with the range as a hard limit, the
 * median /s/ as sung of the voices tuned on loses 1.0 dB sung and 1.1 dB recorded instead of 1.8
 * and 1.7; and those made 10 dB too hot end closer together, by a spread of 1.9 and 2.3 dB instead
 * of 2.2 and 2.5, if half a dB higher.
 *
 * The cut goes to its goal by one pole upwards (attack) and another downwards (release): smooth
 * branching behind the gain computer (Giannoulis, Massberg, Reiss, JAES 60(6), 2012, eq. 17), so
 * both are time constants of the cut in dB. `release` is for a sibilant that dies away. Once the
 * vowel is back the cut has nothing left to do: it lets go twelve times faster, and the vowel keeps
 * its highs. Below 0.01 dB with nothing to do the cut is exactly 0.
 *
 * As long as the level of the voice is in doubt, as where playback begins, the range is 4 dB over
 * the doubt (1..0) at most: an /s/ that seems hot beside the end of a vowel must not be cut by more
 * than an ear forgives.
 *
 * Steps are hops of the detector, so an attack shorter than one acts as one. The caller draws lines
 * between the steps, which rounds the corner of a sudden goal. Latency 0. Cost: a dozen operations
 * a step. */
#ifndef SISKIN_GAIN_SIBILANCE_GAIN_H
#define SISKIN_GAIN_SIBILANCE_GAIN_H

#include <stdbool.h>

typedef struct {
    float threshold_db;
    float strength; /* 0..1 */
    float range_db; /* >= 0 */
    float attack_ms, release_ms;
} SibilanceGainParams;

typedef struct {
    double steps_per_second;
    SibilanceGainParams params;
    float attack, release, vowel_release; /* poles */
    struct {
        float reduction_db;
    } state;
} SibilanceGain;

void sibilance_gain_prepare(SibilanceGain *s, double steps_per_second);
void sibilance_gain_reset(SibilanceGain *s);
void sibilance_gain_set(SibilanceGain *s, const SibilanceGainParams *params);
/* ratio_db: band over voice; in_vowel: the voice is louder than the band just now; doubt 0..1: how
 * little is known of the voice. Returns the reduction, dB >= 0. */
float sibilance_gain_step(SibilanceGain *s, float ratio_db, bool in_vowel, float doubt);

#endif
