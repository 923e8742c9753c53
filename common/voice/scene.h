/* SPDX-License-Identifier: ISC */
/* scene.h: is somebody singing, what is the room, how loud is this voice: answered once, for all
 * that ask.
 *
 * Every hop of voice_sense gives one SceneMoment, of the middle of that hop: what kind of sound it
 * is, by itself (`p`, `likeliest`, at once) and as decided with what came after it (`kind`,
 * scene_late() hops late), and what is known by now of the room and of the voice.
 *
 *     hop -> scene_room, voice_level  what the room and the voice are, so far
 *         -> treble                   whether the take has any
 *         -> scene_features           how the hop sounds beside these, in numbers
 *         -> scene_class              p of breath, room, voiced, voiceless
 *         -> viterbi                  the likeliest sequence of them, decided late
 *
 * The room and the voice only learn from moments that are not, or are, periodic, so that neither
 * needs the other's verdict first. A gain before the unit is a gain after it: levels move by as
 * much, nothing else changes. For a take that is at hand whole: run once, keep the last
 * `known`, and run again from scene_begin_with().
 *
 * Latency: 0 over voice_sense for all but `kind`. Valid for 8..192 kHz. Cost: about 2000 operations
 * a hop, no logarithm or exponential of the maths library: every machine says the same. */
#ifndef SISKIN_VOICE_SCENE_H
#define SISKIN_VOICE_SCENE_H

#include "basic/viterbi.h"
#include "voice/scene_class.h"
#include "voice/scene_features.h"
#include "voice/scene_room.h"
#include "voice/treble.h"
#include "voice/voice_level.h"
#include "voice/voice_sense.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct {
    float sensitivity_db;     /* doubt is settled in favour of a breath: see scene_class.h */
    float shortest_breath_ms; /* 20..500: of those that `kind` tells */
} SceneParams;

/* What is known of a take. Levels in dBFS: 10 log10 of the mean square. */
typedef struct {
    bool room_known, voice_known;
    float room_db[OCTAVE_BANK_BANDS]; /* of each octave; what it is taken for while not known */
    float room_all_db;                /* from 359 Hz up; -150 while not known */
    float floor_db;  /* the same where it is quietest: a gap that was faded, a hole */
    float voice_db;  /* mean power of what was sung lately, less the room */
    float treble_db; /* the loudest above 5745 Hz lately: see treble.h */
} SceneKnown;

typedef struct {
    float p[SCENE_KINDS]; /* of each kind of sound, this hop taken by itself; they sum to 1 */
    SceneKind likeliest;  /* the largest of these */
    SceneKind kind;       /* decided, of the hop scene_late() before this one */
    bool periodic;        /* this hop: sung, hummed or whistled */
    bool hisses;          /* more power above 5745 Hz than from there down to 359 Hz */
    /* Likeliest voiced, does not hiss, 6 dB or more over the room, and from 359 to 5745 Hz at most
     * 32 dB under the voice: neither spill nor the murmur of a closed mouth says how loud it is. */
    bool sung;
    /* How much this hop counts among what was sung, 0..1, without a step: rises with
     * p[SCENE_VOICED] from 0.1 to 0.9, from 0 to 12 dB over the room, and from 32 to 12 dB under
     * the voice. */
    float counts;
    float level_db; /* from 359 Hz up, and what of a voice lies below */
    SceneFeatures features;
    SceneKnown known;
} SceneMoment;

typedef struct {
    double hops_per_second;
    float sensitivity_db;
    SceneFeatureBands bands;
    Viterbi path;
    SceneRoom room;
    VoiceLevel voice;
    Treble treble;
} Scene;

void scene_prepare(Scene *scene, double rate_hz, double hops_per_second);
/* History := silence; nothing is known. */
void scene_reset(Scene *scene);
/* After a reset: what was learned before, of the same take, is taken for the beginning. Nothing of
 * what is not known. */
void scene_begin_with(Scene *scene, const SceneKnown *known);
void scene_set(Scene *scene, const SceneParams *params);
/* Hops of the shortest breath; and those by which `kind` is late: 107 ms, or the shortest breath
 * and 4 hops where that is more. */
size_t scene_shortest(double hops_per_second, const SceneParams *params);
size_t scene_late(double hops_per_second, const SceneParams *params);
/* One hop. */
void scene_step(Scene *scene, const VoiceFrame *frame, SceneMoment *moment);

/* 1 less p of room and breath: how surely somebody sings or speaks. */
static inline float scene_voice(const SceneMoment *moment) {
    return moment->p[SCENE_VOICED] + moment->p[SCENE_VOICELESS];
}

#endif
