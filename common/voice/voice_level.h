/* SPDX-License-Identifier: ISC */
/* voice_level.h: the singer's own recent level: the mean power of what was sung lately.
 *
 * Only moments that are periodic and not far under the level count, and time stands still in
 * between: a gap, a breath or a row of consonants leaves the level where it was. Over counted
 * moments it is L += max(1 / n, 1 - exp(-T / 1.5 s)) (P - L) the plain mean at first and an
 * exponential one of 1.5 s later (about a phrase of sung time). A moment over 22 dB under L is a
 * fade-out, or somebody else; one over 12 dB above L means that what was taken for the singer was
 * not (hum, spill, a count-in), and moves L in 50 ms. "Known" after 50 ms of counted time. Power
 * in, so that the level is that of the phrase's energy, as loudness is; multiplying every input by
 * a constant multiplies the level by it, exactly for powers of two. Latency 0. */
#ifndef SISKIN_VOICE_VOICE_LEVEL_H
#define SISKIN_VOICE_VOICE_LEVEL_H

#include <stdbool.h>

typedef struct {
    float slow, fast; /* shares of the way, a step */
    float enough;     /* steps until the level is known */
    struct {
        float steps; /* counted */
        float power;
    } state;
} VoiceLevel;

void voice_level_prepare(VoiceLevel *level, double steps_per_second);
void voice_level_reset(VoiceLevel *level);
/* After a reset: as if this power had been sung for as long as is remembered. */
void voice_level_begin_with(VoiceLevel *level, float power);
/* One moment: its power >= 0 (less the room's, if that is known), and whether it is periodic. */
void voice_level_step(VoiceLevel *level, float power, bool periodic);

static inline bool voice_level_known(const VoiceLevel *level) {
    return level->state.steps >= level->enough;
}

/* Mean power; 0 before anything was sung. */
static inline float voice_level_power(const VoiceLevel *level) {
    return level->state.power;
}

#endif
