/* SPDX-License-Identifier: ISC */
#include "voice/scene.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <math.h>
#include <string.h>

static const float PERIODIC = 0.65f;   /* from here up a moment is sung */
static const float GATED = 3e-8f;      /* -75 dB re the singer: no room, but a cut in the take */
static const float SILENCE = 1e-14f;   /* -140 dBFS: the same before anything was sung */
static const float LEAST_ROOM = 0.01f; /* of these, in each band */
static const float SUNG_OVER_ROOM_DB = 6.0f, UNDER_VOICE_DB = 32.0f, SOFT_DB = 6.0f,
                   LOUD_DB = 20.0f;
static const float VOICE_BAR_DB = 6.0f;
static const float NOTHING_DB = -150.0f;
static const double LAG_S = 0.107;
enum { LAG_OVER_LEAST = 4 }; /* hops */

/* Nats for changing from one kind of sound to another. A breath lies next to a rest; what joins a
 * voiced sound is more likely a consonant or an ending. */
static const float COST[SCENE_KINDS][SCENE_KINDS] = {
    [SCENE_BREATH] = {0.0f, 2.0f, 5.0f, 5.0f},
    [SCENE_ROOM] = {2.0f, 0.0f, 3.0f, 4.0f},
    [SCENE_VOICED] = {5.0f, 3.0f, 0.0f, 2.0f},
    [SCENE_VOICELESS] = {5.0f, 4.0f, 2.0f, 0.0f},
};

void scene_prepare(Scene *scene, double rate_hz, double hops_per_second) {
    memset(scene, 0, sizeof *scene);
    scene->hops_per_second = hops_per_second;
    scene_feature_bands(&scene->bands, rate_hz);
    scene_room_prepare(&scene->room, rate_hz, hops_per_second);
    voice_level_prepare(&scene->voice, hops_per_second);
    treble_prepare(&scene->treble, hops_per_second);
    viterbi_prepare(&scene->path, COST);
    scene_set(scene, &(SceneParams){.sensitivity_db = 0.0f, .shortest_breath_ms = 100.0f});
    scene_reset(scene);
}

void scene_reset(Scene *scene) {
    scene_room_reset(&scene->room);
    voice_level_reset(&scene->voice);
    treble_reset(&scene->treble);
    viterbi_reset(&scene->path);
}

static float power_of(float db) {
    return decibel_fast_gain(2.0f * db);
}

void scene_begin_with(Scene *scene, const SceneKnown *known) {
    if (known->room_known) {
        RoomLevels room = {.all_db = known->room_all_db};
        memcpy(room.band_db, known->room_db, sizeof room.band_db);
        scene_room_begin_with(&scene->room, &room);
    }
    if (known->voice_known) {
        voice_level_begin_with(&scene->voice, power_of(known->voice_db));
        treble_begin_with(&scene->treble, known->treble_db);
    }
}

size_t scene_shortest(double hops_per_second, const SceneParams *params) {
    return (size_t)lround(0.001 * (double)params->shortest_breath_ms * hops_per_second);
}

size_t scene_late(double hops_per_second, const SceneParams *params) {
    size_t lag = (size_t)lround(LAG_S * hops_per_second);
    size_t least = scene_shortest(hops_per_second, params) + LAG_OVER_LEAST;
    return lag > least ? lag : least;
}

void scene_set(Scene *scene, const SceneParams *params) {
    scene->sensitivity_db = params->sensitivity_db;
    viterbi_set(&scene->path, scene_shortest(scene->hops_per_second, params),
                scene_late(scene->hops_per_second, params));
}

/* The power of each octave that is room by what is known. While nothing is, all of what is not
 * periodic is, and nothing of what is. */
static void room_powers(const Scene *scene, const VoiceFrame *frame, bool periodic,
                        float power[OCTAVE_BANK_BANDS]) {
    RoomLevels room;
    bool known = scene_room_get(&scene->room, &room);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        power[b] = known ? power_of(room.band_db[b]) : periodic ? 0.0f : frame->power[b];
}

static void hear_voice(Scene *scene, const VoiceFrame *frame, bool periodic) {
    float room[OCTAVE_BANK_BANDS], sung = 0.0f;
    room_powers(scene, frame, periodic, room);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        float over = frame->power[b] - room[b];
        sung += over > 0.0f ? over : 0.0f;
    }
    voice_level_step(&scene->voice, sung, periodic);
}

/* What of the power below 359 Hz is voice, when something is: what stands 6 dB over the room there.
 */
static float voice_bar(const Scene *scene, float power) {
    RoomLevels room;
    bool known = scene_room_get(&scene->room, &room);
    return known && decibel_from_power(power) > room.band_db[0] + VOICE_BAR_DB ? power : 0.0f;
}

static void weigh(const Scene *scene, const VoiceFrame *frame, SceneMoment *moment) {
    float low = frame->power[0], voice = 0.0f, hiss = 0.0f;
    for (int b = 1; b <= 4; b++)
        voice += frame->power[b];
    for (int b = 5; b < OCTAVE_BANK_BANDS; b++)
        hiss += frame->power[b];
    moment->periodic = frame->periodicity > PERIODIC;
    moment->hisses = hiss > voice;
    float bar = moment->periodic ? voice_bar(scene, low) : 0.0f;
    moment->level_db = decibel_from_power(voice + hiss + bar);
}

static void tell_voice(const Scene *scene, SceneKnown *known) {
    known->voice_known = voice_level_known(&scene->voice);
    known->voice_db = decibel_from_power(voice_level_power(&scene->voice));
    known->treble_db = treble_held_db(&scene->treble);
}

static void tell_room(const Scene *scene, SceneKnown *known) {
    RoomLevels room;
    known->room_known = scene_room_get(&scene->room, &room);
    known->room_all_db = known->floor_db = NOTHING_DB;
    if (known->room_known)
        known->room_all_db = room.all_db;
    (void)noise_floor_get(&scene->room.all, &known->floor_db);
}

/* How the hop sounds; fills known.room_db with what it was compared with. */
static void compare(const Scene *scene, const VoiceFrame *frame, float gate, SceneMoment *moment) {
    float room[OCTAVE_BANK_BANDS];
    room_powers(scene, frame, moment->periodic, room);
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++) {
        room[b] = room[b] > LEAST_ROOM * gate ? room[b] : LEAST_ROOM * gate;
        moment->known.room_db[b] = decibel_from_power(room[b]);
    }
    scene_features(&scene->bands, frame, room, voice_level_power(&scene->voice),
                   moment->known.voice_known, &moment->features);
    if (moment->known.voice_known && moment->features.dull < 1.0f)
        moment->features.dull = treble_dull(&scene->treble, voice_level_power(&scene->voice));
}

static float counted(const SceneMoment *moment) {
    if (moment->hisses)
        return 0.0f;
    float over_room = moment->level_db - moment->known.room_all_db - SUNG_OVER_ROOM_DB;
    float over_voice = moment->features.value[SCENE_OVER_VOICE] + UNDER_VOICE_DB;
    return maths_ramp(moment->p[SCENE_VOICED], 0.1f, 0.9f) *
           maths_ramp(over_room, -SOFT_DB, SOFT_DB) * maths_ramp(over_voice, 0.0f, LOUD_DB);
}

void scene_step(Scene *scene, const VoiceFrame *frame, SceneMoment *moment) {
    float all = 0.0f, evidence[SCENE_KINDS];
    for (int b = 0; b < OCTAVE_BANK_BANDS; b++)
        all += frame->power[b];
    weigh(scene, frame, moment);
    hear_voice(scene, frame, moment->periodic);
    treble_step(&scene->treble, frame, moment->periodic);
    float gate = GATED * voice_level_power(&scene->voice) + SILENCE;
    tell_voice(scene, &moment->known);
    float voice_db = moment->known.voice_known ? moment->known.voice_db : INFINITY;
    scene_room_step(&scene->room, frame, moment->level_db, voice_db, moment->periodic, all <= gate);
    tell_room(scene, &moment->known);
    compare(scene, frame, gate, moment);
    scene_class(&moment->features, scene->sensitivity_db, moment->p);
    moment->likeliest = SCENE_BREATH;
    for (int c = 1; c < SCENE_KINDS; c++)
        if (moment->p[c] > moment->p[moment->likeliest])
            moment->likeliest = (SceneKind)c;
    moment->sung = moment->likeliest == SCENE_VOICED && !moment->hisses &&
                   moment->level_db > moment->known.room_all_db + SUNG_OVER_ROOM_DB &&
                   moment->features.value[SCENE_OVER_VOICE] > -UNDER_VOICE_DB;
    scene_room_judged(&scene->room, frame, moment->level_db, moment->periodic, all <= gate,
                      moment->likeliest == SCENE_ROOM);
    moment->counts = counted(moment);
    scene_class_evidence(moment->p, evidence);
    moment->kind = (SceneKind)viterbi_step(&scene->path, evidence);
}
