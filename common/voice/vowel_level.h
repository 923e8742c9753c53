/* SPDX-License-Identifier: ISC */
/* vowel_level.h: how loud a voice has lately been in its vowels, held through all that is not one.
 *
 * A step takes the levels of a low "voice" band and of a high "band" at one moment. It counts as
 * vowel when the high band lies under the voice band by more than the gate, and the voice stands
 * 12 dB above the quietest it has lately been: so neither friction nor breath nor room tone is
 * taken for the voice. Over such moments
 *     L += share (voice - L)      (dB)
 * with the share of the plain mean at first; later with a time constant of 75 ms upwards and 3 s
 * downwards, counted in vowel time alone: in consonants and gaps L stands still. It leans to the
 * louder vowels, since fricatives are measured against the vowel where it is loudest (Jongman,
 * Wayland and Wong, JASA 108(3), 2000). L is known once 50 ms of vowel were heard: even a breath
 * has some such moments.
 *
 * What is far from L is treated apart:
 *     over L + 12 dB     something else had been taken for the voice: L follows in 30 ms
 *     under L - 20 dB    fade-outs and breaths: once L is known, down by only 2 dB a second
 *     under L - 60 dB    the voice, perhaps, after a bang that was taken for it: what looks like a
 *                        vowel takes L down by 20 dB a second, the rest says nothing
 *     under L - 100 dB   silence, which says nothing
 * The quietest level follows downwards at once and upwards by 1 dB a second (in the spirit of the
 * minimum statistics of Martin, IEEE Trans. SAP 9(5), 2001, but much simpler).
 *
 * The two time constants were chosen on sung and on recorded voices among 10..1000 ms and
 * 0.3..8 s. Shorter ones follow the differences between vowels (some 10 dB in a singer), which the
 * next /s/ does not share. A gain before the unit is a gain after it. Latency 0. Cost: a few
 * comparisons a step. */
#ifndef SISKIN_VOICE_VOWEL_LEVEL_H
#define SISKIN_VOICE_VOWEL_LEVEL_H

#include <stdbool.h>

typedef struct {
    double rise, fall, jump; /* shares of the way to a vowel, a step */
    double creep_db;         /* of the quietest level, a step */
    double leak_db;          /* of the level under quiet vowels, a step */
    double lost_leak_db;     /* of the level under vowels that are lost to it, a step */
    double enough, sure;     /* steps of vowel until the level is known; until it is beyond doubt */
    float gate_db;
    struct {
        bool signal;  /* anything but silence was heard */
        double steps; /* of vowel heard */
        double quietest_db;
        double level_db; /* in float it would stop 0.03 dB short of its goal (one_pole.h) */
    } state;
} VowelLevel;

void vowel_level_prepare(VowelLevel *v, double steps_per_second);
void vowel_level_reset(VowelLevel *v);
/* The high band over the voice band below which a moment may be a vowel; kept within -20..-10 dB,
 * which divides vowels from the rest in recordings: nine in ten lie under -18 dB there, the
 * brightest near -12. */
void vowel_level_set(VowelLevel *v, float gate_db);
/* One moment; any levels in dB. */
void vowel_level_step(VowelLevel *v, float voice_db, float band_db);
/* False until 50 ms of vowel were heard since reset; then *level_db is left alone. */
bool vowel_level_get(const VowelLevel *v, float *level_db);
/* How little the level says of the singer's vowels to come: 1 before any was heard, for what is
 * heard first may be the end of one, and vowels of one singer lie some 10 dB apart; falls in a
 * straight line to 0 at 500 ms of vowel. */
float vowel_level_doubt(const VowelLevel *v);

#endif
