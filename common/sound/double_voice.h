/* SPDX-License-Identifier: ISC */
/* double_voice.h: the same words sung once more: a little off in pitch, later, by a singer a little
 * larger or smaller.
 *
 * What another take by the same singer differs by: unison singers are 16 to 30 cents apart from
 * moment to moment (Cuesta et al., ICMPC 2018, abstract), onsets of two takes 10 to 30 ms (common
 * practice). It is made of the take's own periods (psola.h), moved by
 *     cents = detune + 12 drift p(t),   delay = delay (1 + drift d(t) / 2)
 * p and d random walks (random_walk.h) of 0.4 s and 2.5 s, within +-2 deviations. Several voices
 * from one take, each with random variations of its own: Schnell, Peeters, Lemouton, Manoury,
 * Rodet, "Synthesizing a choir in real-time using pitch synchronous overlap add", ICMC 2000
 * (abstract). Both walks begin where the take first sounds, so that silence ahead of it does not
 * change them; where the marks of its periods fall may differ all the same. What has no periods is
 * read as late, at the speed at which the delay moves, and sibilants are taken down (hiss_duck.h).
 *
 * With by_delay marks do not matter: a delay that grows by s seconds a second lowers the pitch by
 * -1200 log2(1 - s) cents, to first order 1731 s, so that the delay alone does all of it (tape
 * machines whose speed was varied by hand made doubles so: common practice):
 *     delay (1 + drift d(t) / 2) - a v(t) - b p(t)
 * v the slow turns (slow_turns.h), a what a second of the detune comes to, 12 ms at most; b such
 * that the slope of p is 12 drift cents in the deviation. So it is off by the detune one way for a
 * second or two, and then the other way: on one side for good, a delay would run away. It is never
 * early: the delay is as long as these movements need. Grains then stand at their marks, and move
 * formants only.
 *
 * Valid for delay_ms 0..80. Latency: psola_source_latency(), and the delay. Cost: that of a psola
 * voice, and 8 taps a frame where nothing is voiced. */
#ifndef SISKIN_SOUND_DOUBLE_VOICE_H
#define SISKIN_SOUND_DOUBLE_VOICE_H

#include "gain/hiss_duck.h"
#include "sound/kept_level.h"
#include "sound/psola.h"
#include "sound/random_walk.h"
#include "sound/slow_turns.h"

#define DOUBLE_VOICE_LATEST_MS 160.0 /* what psola_source_prepare() must keep for it */

typedef struct {
    double detune_cents; /* by_delay: it begins on the side that the sign tells */
    double delay_ms;
    double drift;     /* 0..1 */
    double semitones; /* of its formants */
    double later_ms;  /* on top of the delay, never on the move: latency that the caller tells of */
    bool by_delay;    /* the detune and what it drifts by in pitch are made by the delay alone */
    bool keeps_level; /* as loud as the take at any moment (kept_level.h); never unheard then */
    bool together; /* begins with the least delay that drift leads to, so that no start is lost */
} DoubleVoiceParams;

typedef struct {
    double rate_hz, tick; /* frames */
    double follow;        /* pole of a tick, of the delay that is set */
    double formant;       /* ratio */
    DoubleVoiceParams params;
    RandomWalk pitch, time;
    SlowTurns turns;
    KeptLevel level;
    PsolaVoice voice;
    struct {
        bool fresh;      /* nothing was planned since the reset */
        double delay_ms; /* on its way to the one that is set */
        double detune_cents;
        double pitch, wander; /* p(t), d(t) */
        double from, to;      /* frames late, at the ends of this tick */
        double semitones;     /* moved now */
    } state;
} DoubleVoice;

/* The source and the duck must hear with ticks of one length. Two voices of one `turns` change over
 * at the same moments. */
void double_voice_prepare(DoubleVoice *v, double rate_hz, size_t tick, uint64_t seed,
                          uint64_t turns);
void double_voice_reset(DoubleVoice *v);
void double_voice_set(DoubleVoice *v, const DoubleVoiceParams *params);
/* At the end of a tick: the grains of the next. */
void double_voice_plan(DoubleVoice *v, const PsolaSource *source);
/* The same in parts, for a line of its own: once a tick, and then as long as a grain is due. */
void double_voice_wander(DoubleVoice *v, const PsolaSource *source);
static inline bool double_voice_wants(DoubleVoice *v, const PsolaSource *source, uint64_t *mark) {
    return psola_voice_wants(&v->voice, source, v->state.from, mark);
}
/* Adds it, moved by `semitones` on top of detune and drift. */
void double_voice_add(DoubleVoice *v, const PsolaSource *source, float semitones);
/* n frames of every channel of the source, over what is in out[channel] + at; n at most to the end
 * of the tick. Call before psola_source_hear() of the same frames. out NULL: unheard. */
void double_voice_process(DoubleVoice *v, const PsolaSource *source, const HissDuck *duck,
                          float *const *out, size_t at, size_t n);

#endif
