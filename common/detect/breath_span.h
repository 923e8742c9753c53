/* SPDX-License-Identifier: ISC */
/* breath_span.h: from what kind of sound each hop was, and how its level went, to the stretches
 * that are to be turned down as breaths.
 *
 * A breath swells from nothing and dies away; what does not is none, or belongs to a word.
 *
 * Falls. After another sound without a rest between them, a breath begins only where the level goes
 * up by 4 dB within `lag` or stays within 3 dB: the tail of a consonant or of a reverb falls on.
 * And it must come 8 dB over its lowest since 80 ms before: the /f/ that ends a word stays where it
 * is, or swells a little (by 4 and 7 dB in two read letters).
 *
 * Onsets. What leads into voice within `lag` and does not fall by 10 dB before it, as it would in
 * the rest between a breath and a word, is an /h/ or a soft onset; so is the end of a longer breath
 * from where it rises by 4 dB twice over. Before any other sound, without a rest between them, a
 * breath ends at the last dip from which the level goes up by 4 dB.
 *
 * Joined. What leads into voice without that fall, and is all still in hand when the voice is seen,
 * is a consonant, and is given back whole: read letters had an /h/ of 110 ms and an /x/ of 180 ms
 * taken for breaths. In hand are lag + reach + clear hops. What is longer may be a breath taken in
 * haste, and stays one.
 *
 * Apart. In a take without treble nothing but its place tells /f/ and /s/ from a breath. There one
 * begins only after a rest, and one that leads into any sound without falling by 10 dB before it or
 * in its first 40 ms is given back as far as it was not let out yet. (The end of a breath that dies
 * away is too weak to be told, and often goes down as another sound.)
 *
 * Place. There, too, a breath often goes down as friction, in part or nearly whole: cut to
 * 300..3400 Hz some have their energy at 1.5 to 3 kHz. But a consonant leads into voice, or follows
 * it. So what comes after a rest of 150 ms and has no voice in all that is in hand and in sight,
 * some 200 ms, is a breath if a fifth of it sounds like one (of such friction in words 0 to 8 %
 * did, or else it was nearly as loud as the voice; of breaths 26 % and more), and so is what comes
 * up out of a dip behind other sounds, if three quarters do and it does not die away at once. None
 * of it may be as loud as the voice. A breath found so goes on through friction until voice is in
 * sight or until it rises 10 dB over what it was.
 *
 * Lips. A sound of less than 80 ms right before a breath, after a rest of 150 ms, is the lips that
 * part, and goes with it: such clicks come with an audible inhalation (Trouvain and Malisz,
 * Interspeech 2016).
 *
 * Length. A path that must stay in a breath for `least` hops may fill up what is shorter with the
 * rest around it: when over a third of the first `least` hops sound like room, taken by themselves,
 * it was too short. And what lasts over 2 s is no breath, however it sounds: it is let go.
 *
 * Reach. The beginning of a breath lies under the room. A raised-cosine onset starts as t^2, so
 * that its level rises by 40 log10(t): from the time T in which it goes up by 6 dB after it was
 * first seen, the true start lies T / (10^(6/40) - 1) = 2.42 T earlier; likewise, backwards, its
 * end. T is less the 2 hops by which smoothing flattens a step. At most 80 ms, and only into rest.
 *
 * Clear. Never within `clear` hops of another sound, so that a fade of that length has ended when
 * the next word begins, and begins when the last has ended.
 *
 * Work: some 100 comparisons a hop at most. Latency: the answer is for hop t - lag -
 * breath_span_delay(), t being the hop whose level is given. */
#ifndef SISKIN_DETECT_BREATH_SPAN_H
#define SISKIN_DETECT_BREATH_SPAN_H

#include "voice/scene_class.h"

#include <stdbool.h>
#include <stddef.h>

enum { BREATH_SPAN_RING = 512 }; /* hops */

typedef struct {
    size_t reach;   /* hops, most */
    size_t rest;    /* hops before lips that part */
    size_t ending;  /* hops: the end of a breath, too weak to be told */
    size_t longest; /* hops */
    size_t least;   /* hops: the shortest breath */
    size_t lag;     /* hops from a level to its kind of sound */
    size_t clear;   /* hops */
    bool apart;     /* breaths stand apart, from the next on */
    bool loud;      /* the next hop is as loud as the voice */
    struct {
        size_t hop;
        float level_db[BREATH_SPAN_RING];
        unsigned char alone[BREATH_SPAN_RING];  /* SceneKind of a hop taken by itself */
        unsigned char sound[BREATH_SPAN_RING];  /* SceneKind decided */
        unsigned char inside[BREATH_SPAN_RING]; /* 1: a breath or its reach */
        bool loud[BREATH_SPAN_RING];
        size_t sounding;          /* hops without voice or rest so far, where breaths stand apart */
        bool placed;              /* they are a breath by their place */
        float peak_db;            /* the highest level of it when that was told */
        size_t run;               /* hops of SCENE_BREATH so far */
        bool whole, lives, onset; /* this run: long enough; swells; leads into voice */
        float lowest_db;          /* level of this run and before it */
        bool apart;               /* this run: it must stand apart */
        bool breath;              /* the hop before was one */
        size_t tail;              /* hops of reach still to come */
    } state;
} BreathSpan;

void breath_span_prepare(BreathSpan *span, double hops_per_second);
void breath_span_reset(BreathSpan *span);
/* least <= lag, lag + clear < 256. */
void breath_span_set(BreathSpan *span, size_t least, size_t lag, size_t clear);
/* Whether breaths that begin from now on must stand apart; they need not at first. */
void breath_span_stand_apart(BreathSpan *span, bool apart);
/* Whether the hop given next is as loud as the voice; false at first. */
void breath_span_loud(BreathSpan *span, bool loud);
/* Hops, beside lag. */
size_t breath_span_delay(const BreathSpan *span, size_t clear);

/* One hop: its level over the room in dB, its kind of sound taken by itself, and the kind decided
 * for the hop `lag` before. Returns whether the hop breath_span_delay() before that one is to be
 * turned down. */
bool breath_span_step(BreathSpan *span, float level_db, SceneKind alone, SceneKind decided);

#endif
