/* SPDX-License-Identifier: ISC */
#include "sound/double_voice.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"

#include <math.h>
#include <string.h>

static const double PITCH_MS = 400.0, TIME_MS = 2500.0, DRIFT_CENTS = 12.0;
/* A delay that is set is drawn to this slowly, and never faster than by a quarter of the time that
 * passes. */
static const double FOLLOW_MS = 150.0, FASTEST = 0.25;
/* Of a delay on the move: ms a second for each cent; how far it goes before it turns, at most and
 * in seconds. */
static const double MS_PER_CENT = 0.57762, TURN_MOST_MS = 12.0, TURN_S = 1.0;

void double_voice_prepare(DoubleVoice *v, double rate_hz, size_t tick, uint64_t seed,
                          uint64_t turns) {
    const double ticks_hz = rate_hz / (double)tick;
    memset(v, 0, sizeof *v);
    v->rate_hz = rate_hz;
    v->tick = (double)tick;
    v->formant = 1.0;
    v->follow = one_pole_coefficient(FOLLOW_MS, ticks_hz);
    random_walk_prepare(&v->pitch, PITCH_MS, ticks_hz, 2 * seed);
    random_walk_prepare(&v->time, TIME_MS, ticks_hz, 2 * seed + 1);
    slow_turns_prepare(&v->turns, ticks_hz, turns);
    kept_level_prepare(&v->level, rate_hz, tick);
    double_voice_reset(v);
}

/* How far the slow turns go, ms. */
static double turns_ms(const DoubleVoice *v) {
    return fmin(TURN_MOST_MS, fabs(v->state.detune_cents) * MS_PER_CENT * TURN_S);
}

/* For a deviation of the walk of pitch, ms: its slope is as many cents. */
static double walk_ms(const DoubleVoice *v) {
    return DRIFT_CENTS * v->params.drift * MS_PER_CENT * 1e-3 * PITCH_MS;
}

/* What is off in pitch because its delay moves; never early, since that takes some delay. */
static double moved_ms(const DoubleVoice *v, double delay_ms) {
    double turns = turns_ms(v), walk = walk_ms(v);
    double up = v->params.detune_cents < 0.0 ? -1.0 : 1.0;
    return fmax(delay_ms, turns + RANDOM_WALK_MOST * walk) - up * turns * v->turns.state.value -
           walk * v->state.pitch;
}

static double frames_late(const DoubleVoice *v) {
    double ms = v->state.delay_ms * (1.0 + 0.5 * v->params.drift * v->state.wander);
    if (v->params.by_delay)
        ms = fmax(0.0, moved_ms(v, ms));
    return fmin(DOUBLE_VOICE_LATEST_MS, ms + v->params.later_ms) * 1e-3 * v->rate_hz;
}

static void begin(DoubleVoice *v) {
    random_walk_reset(&v->time);
    if (v->params.together)
        random_walk_begin_at(&v->time, -RANDOM_WALK_MOST);
    v->state.wander = random_walk_step(&v->time);
    v->state.delay_ms = v->params.delay_ms;
    v->state.detune_cents = v->params.detune_cents;
    v->state.from = v->state.to = frames_late(v);
}

void double_voice_reset(DoubleVoice *v) {
    random_walk_reset(&v->pitch);
    slow_turns_reset(&v->turns);
    psola_voice_reset(&v->voice);
    kept_level_reset(&v->level);
    memset(&v->state, 0, sizeof v->state);
    v->state.fresh = true;
    begin(v);
}

void double_voice_set(DoubleVoice *v, const DoubleVoiceParams *params) {
    v->params = *params;
    v->formant = exp2(params->semitones / 12.0);
    if (v->state.fresh)
        begin(v);
}

/* The detune, as the walk of pitch, is the delay's own or the grains'. */
static void wander_in_pitch(DoubleVoice *v) {
    double reach = turns_ms(v);
    v->state.pitch = random_walk_step(&v->pitch);
    v->state.detune_cents =
        one_pole_step_double(v->state.detune_cents, v->params.detune_cents, v->follow);
    slow_turns_step(&v->turns,
                    reach > 0.0 ? fabs(v->state.detune_cents) * MS_PER_CENT / reach : 0.0);
    double cents = v->params.detune_cents + DRIFT_CENTS * v->params.drift * v->state.pitch;
    v->state.semitones = v->params.by_delay ? 0.0 : 0.01 * cents;
}

void double_voice_wander(DoubleVoice *v, const PsolaSource *source) {
    if (!source->state.sounds)
        return;
    v->state.fresh = false;
    wander_in_pitch(v);
    v->state.delay_ms = one_pole_step_double(v->state.delay_ms, v->params.delay_ms, v->follow);
    v->state.wander = random_walk_step(&v->time);
    double moves = frames_late(v) - v->state.to, most = FASTEST * v->tick;
    v->state.from = v->state.to;
    v->state.to += fmax(-most, fmin(most, moves));
}

void double_voice_add(DoubleVoice *v, const PsolaSource *source, float semitones) {
    float moved = semitones + (float)v->state.semitones;
    double ratio = (double)decibel_fast_exp2(moved * (1.0f / 12.0f));
    if (v->params.by_delay) /* at its mark, wherever the run began that the mark has slid in */
        psola_voice_align(&v->voice, source);
    psola_voice_add(&v->voice, source, v->state.from, ratio, v->formant);
}

void double_voice_plan(DoubleVoice *v, const PsolaSource *source) {
    uint64_t mark;
    double_voice_wander(v, source);
    while (double_voice_wants(v, source, &mark))
        double_voice_add(v, source, 0.0f);
}

static bool all_covered(const float *cover, size_t n) {
    float least = 1.0f;
    for (size_t i = 0; i < n; i++)
        least = cover[i] < least ? cover[i] : least;
    return least >= 1.0f;
}

void double_voice_process(DoubleVoice *v, const PsolaSource *source, const HissDuck *duck,
                          float *const *out, size_t at, size_t n) {
    const unsigned channels = source->past.channels;
    float covers[PSOLA_CHUNK], plain[PAST_SOUND_CHANNELS][PSOLA_CHUNK];
    float *to[PAST_SOUND_CHANNELS] = {NULL};
    const float *cover = covers + at;
    const int64_t first = (int64_t)source->marks.state.filled;
    const double start = (double)(psola_source_now(source) - first) - v->state.from;
    const double speed = 1.0 - (v->state.to - v->state.from) / v->tick;
    for (unsigned c = 0; c < channels && out; c++) {
        to[c] = out[c] + at;
        memset(to[c], 0, n * sizeof **out);
    }
    psola_voice_process(&v->voice, source, (int64_t)v->state.from, out, covers, at, n);
    const bool reads = v->params.keeps_level || !all_covered(cover, n);
    for (unsigned c = 0; c < channels && out && reads; c++) {
        past_sound_read_at(&source->past, c, start, speed, first, plain[c], n);
        for (size_t i = 0; i < n; i++)
            to[c][i] = psola_heard(plain[c][i], to[c][i], cover[i]);
    }
    if (v->params.keeps_level && out)
        kept_level_process(&v->level, (const float *const[]){plain[0], plain[1]}, to, channels, n);
    for (unsigned c = 0; c < channels && out; c++)
        hiss_duck_process(duck, start, first, to[c], n);
}
