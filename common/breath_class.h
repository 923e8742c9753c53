/* SPDX-License-Identifier: ISC */
/* breath_class.h: from the features of a moment, the log-likelihood of each kind of sound.
 *
 * A multinomial logistic model (Bishop, Pattern Recognition and Machine Learning, 2006, section
 * 4.3.4) over ramps of the features, each 0 before its knee and 1 past it, so that no outlier can
 * outvote the rest:
 *     r_k = clamp((feature - knee_k) / width_k, 0, 1)
 *     l_c = w_c0 + sum_k w_ck r_k,   log P(c) = l_c - log sum_c exp(l_c)
 * The weights were fitted once, offline, to labelled material: recorded voices of both sexes, with
 * their own breaths or with breaths laid in, at 16 and 44.1 kHz, dry and in rooms of several
 * levels, and the test singer. What they say can be read from the table: a breath is not periodic,
 * stands over the room, does not hiss, and has little below 359 Hz. Moments 5 ms apart are not
 * independent, so that the log-likelihoods are shrunk by EVIDENCE before they are added up over
 * time. No history. Cost about 100 operations. */
#ifndef SISKIN_BREATH_CLASS_H
#define SISKIN_BREATH_CLASS_H

#include "breath_features.h"

/* Kinds of sound; "other" is what is voiceless or dies away: consonants, word endings, clicks. */
typedef enum { SOUND_BREATH, SOUND_ROOM, SOUND_VOICED, SOUND_OTHER, SOUND_CLASSES } SoundClass;

/* sensitivity_db: any doubt is settled in favour of a breath by
 * 0.15 nats for each dB; 0 as fitted. */
void breath_class(const BreathMoment *moment, float sensitivity_db,
                  float likelihood[SOUND_CLASSES]);

#endif
