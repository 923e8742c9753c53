/* SPDX-License-Identifier: ISC */
/* scene_class.h: from the features of a moment, how probable each kind of sound is.
 *
 * A multinomial logistic model (Bishop, Pattern Recognition and Machine Learning, 2006, section
 * 4.3.4) over ramps of the features, each 0 before its knee and 1 past it, so that no outlier can
 * outvote the rest:
 *     r_k = clamp((feature - knee_k) / width_k, 0, 1)
 *     l_c = w_c0 + sum_k w_ck r_k,   p_c = exp(l_c) / sum_c exp(l_c)
 * The weights were fitted once, offline, with a penalty on their squares, to labelled material:
 * recorded voices of both sexes with their own breaths or with breaths laid in (recorded ones, and
 * shaped noise, some of which whistles), at 16 and 44.1 kHz, dry and in rooms of several levels and
 * reverberation times, and the test singer; then 0.2 nats were added for a breath, which is the
 * middle of the range in which hardly anything changes. With each voice in turn left out of the
 * fit, the rest of the chain found its breaths as well as with it (0.99 of their frames, 0.998 of
 * what was found being breath). What they say can be read from the table: a breath is not periodic,
 * stands over the room, does not hiss, and has little below 359 Hz.
 *
 * A take without treble has weights of its own, and of what lies between it takes a share of both.
 * They were fitted to the same material cut to 300..3400 Hz, with what the uncut take was heard as
 * for its label. There a breath is told by its weak first octave and by being quiet; with each
 * voice in turn left out, 0.91 of the moments of breath were found, and 0.21 of the voiceless ones
 * were taken for breath, for which the path and breath_span.h must make up.
 *
 * Any moment may be odd, a click within a breath for one, so that as evidence no p is taken to be
 * less than ODD = 0.05; and moments 5 ms apart are far from independent, so that logarithms count
 * EVIDENCE = 0.2 when they are added up over time:
 *     evidence_c = EVIDENCE log(p_c (1 - 4 ODD) + ODD)
 * Exponentials and logarithms are those of decibel.h, the same on all machines: p is within 1e-6 of
 * exact arithmetic. No history. Cost about 150 operations, 4 exponentials and 4 logarithms. */
#ifndef SISKIN_VOICE_SCENE_CLASS_H
#define SISKIN_VOICE_SCENE_CLASS_H

#include "voice/scene_features.h"

/* "Voiceless" is what is neither sung nor breath: consonants, word endings, clicks. */
typedef enum { SCENE_BREATH, SCENE_ROOM, SCENE_VOICED, SCENE_VOICELESS, SCENE_KINDS } SceneKind;

/* sensitivity_db: doubt is settled in favour of a breath by 0.15 nats for each dB. */
void scene_class(const SceneFeatures *features, float sensitivity_db, float p[SCENE_KINDS]);
/* The logarithms to add up over time, <= 0. */
void scene_class_evidence(const float p[SCENE_KINDS], float evidence[SCENE_KINDS]);
/* How many times more probable `a` is than `b`, as evidence: ODD is the least of each. */
float scene_class_odds(float a, float b);

#endif
