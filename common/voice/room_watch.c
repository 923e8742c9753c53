/* SPDX-License-Identifier: ISC */
#include "voice/room_watch.h"

#include "basic/decibel.h"
#include "basic/maths.h"

#include <string.h>

enum { LOW_OCTAVES = 2 };

static const double LONGEST_S = 10.0, CALM_FROM_S = 0.048, CALM_S = 0.08;
static const SceneParams PARAMS = {.sensitivity_db = 0.0f, .shortest_breath_ms = 50.0f};
static const float PERIODIC = 0.5f, OVER_ROOM_DB = 6.0f, NO_ROOM_DB = 12.0f;

void room_watch_prepare(RoomWatch *watch, double rate_hz) {
    listener_prepare(&watch->listener, rate_hz);
    double hops_per_second = rate_hz / (double)watch->listener.sense.hop;
    scene_prepare(&watch->scene, rate_hz, hops_per_second);
    scene_set(&watch->scene, &PARAMS);
    watch->late = scene_late(hops_per_second, &PARAMS);
    watch->longest = (size_t)(LONGEST_S * hops_per_second);
    watch->calm_from = (float)(CALM_FROM_S * hops_per_second);
    watch->calm_over = (float)((CALM_S - CALM_FROM_S) * hops_per_second);
    room_watch_reset(watch);
}

void room_watch_reset(RoomWatch *watch) {
    listener_reset(&watch->listener);
    scene_reset(&watch->scene);
    memset(&watch->state, 0, sizeof watch->state);
}

/* Whether a hop may be room by its first `octaves`: no cut, and none of them louder than the room
 * is by now. The tail of a word dies away into the room, and the low octaves last. */
static bool fits(const VoiceFrame *frame, const SceneMoment *moment, int octaves) {
    bool fits = frame->whole && moment->known.room_known;
    for (int b = 0; b < octaves; b++)
        fits &= decibel_from_power(frame->power[b]) < moment->known.room_db[b] + OVER_ROOM_DB;
    return fits;
}

static size_t counted(const RoomWatch *watch, size_t hops, bool more) {
    return !more ? 0 : hops < watch->longest ? hops + 1 : hops;
}

/* By how much a hop may be room by its low octaves, 0..1. */
static float low_fit(const VoiceFrame *frame, const SceneMoment *moment) {
    if (!frame->whole || !moment->known.room_known)
        return 0.0f;
    float least = 1.0f;
    for (int b = 0; b < LOW_OCTAVES; b++) {
        float over_db = decibel_from_power(frame->power[b]) - moment->known.room_db[b];
        least = maths_smaller(least, maths_ramp(over_db, NO_ROOM_DB, OVER_ROOM_DB));
    }
    return least;
}

bool room_watch_hear(RoomWatch *watch, const float *const *in, unsigned channels, size_t at,
                     size_t n) {
    VoiceFrame frame;
    if (!listener_hear(&watch->listener, in, channels, at, n, &frame))
        return false;
    SceneMoment moment;
    scene_step(&watch->scene, &frame, &moment);
    watch->state.periodic = frame.periodicity > PERIODIC;
    watch->state.fits = watch->state.fits << 1 | (uint64_t)fits(&frame, &moment, OCTAVE_BANK_BANDS);
    /* What is decided now was heard `late` hops ago. */
    bool room = moment.kind == SCENE_ROOM && (watch->state.fits >> watch->late & 1) != 0;
    watch->state.quiet = counted(watch, watch->state.quiet, room);
    watch->state.low_quiet =
        counted(watch, watch->state.low_quiet, fits(&frame, &moment, LOW_OCTAVES));
    watch->state.calm =
        low_fit(&frame, &moment) *
        maths_smaller(watch->state.calm + 1.0f, watch->calm_from + watch->calm_over);
    return true;
}
