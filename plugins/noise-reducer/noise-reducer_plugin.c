/* SPDX-License-Identifier: ISC */
/* noise-reducer: takes down the steady noise under a voice, as learned in the gaps.
 *
 *     in -> room_watch -> room, or something else? -> learn or not
 *     in -> noise_reduction -> the noise -> dry less it
 *
 * What sounds now says nothing about the room until it is over: only a stretch that was quiet all
 * along is learned, and only later. */
#include "basic/maths.h"
#include "plugin.h"
#include "sound/noise_reduction.h"
#include "voice/room_watch.h"

enum { DEPTH, SENSITIVITY, FREEZE, N_CONTROLS };
enum { NOISE, N_METERS };

/* Quiet kept off on either side: a word or breath begins and ends under the room. */
static const double AFTER_SOUND_MS = 100.0, BEFORE_SOUND_MS = 20.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "How far down the noise goes. At 0 nothing is done.",
               .minimum = 0.0f,
               .initial = 10.0f,
               .maximum = 40.0f,
               .unit = UNIT_DB},
    [SENSITIVITY] = {.symbol = "sensitivity",
                     .name = "Sensitivity",
                     .doc = "Takes the noise for so much louder than was learned: more takes more "
                            "of it, and more of what is as soft as it.",
                     .minimum = -12.0f,
                     .initial = 0.0f,
                     .maximum = 12.0f,
                     .unit = UNIT_DB},
    [FREEZE] = {.symbol = "freeze",
                .name = "Freeze",
                .doc = "On: keeps the noise as learned so far. Off: goes on learning in every gap.",
                .minimum = 0.0f,
                .initial = 0.0f,
                .maximum = 1.0f,
                .kind = PORT_TOGGLE},
};

static const PortSpec METERS[N_METERS] = {
    [NOISE] = {.symbol = "noise",
               .name = "Noise",
               .doc = "Level of the noise as learned, re full scale; the least until it is known.",
               .minimum = -120.0f,
               .maximum = 0.0f,
               .unit = UNIT_DB},
};

typedef struct {
    RoomWatch watch;
    NoiseReduction reduction;
    size_t needed; /* samples of room on end before a frame within them is learned */
    bool freeze;
} NoiseReducer;

static void reset(void *self) {
    NoiseReducer *r = self;
    room_watch_reset(&r->watch);
    noise_reduction_reset(&r->reduction);
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    NoiseReducer *r = self;
    room_watch_prepare(&r->watch, rate_hz);
    double known_ms = BEFORE_SOUND_MS + 1e3 * (double)room_watch_late(&r->watch) / rate_hz;
    if (!noise_reduction_prepare(&r->reduction, rate_hz, channels, known_ms, arena))
        return false;
    r->needed = noise_reduction_behind(&r->reduction) - room_watch_late(&r->watch) +
                r->reduction.frames.size + (size_t)(1e-3 * AFTER_SOUND_MS * rate_hz);
    reset(r);
    return true;
}

static void set(void *self, const float *control) {
    NoiseReducer *r = self;
    r->freeze = control[FREEZE] > 0.0f;
    noise_reduction_set(&r->reduction, &(NoiseGainParams){.depth_db = control[DEPTH],
                                                          .sensitivity_db = control[SENSITIVITY]});
}

static void process(void *self, const Io *io) {
    NoiseReducer *r = self;
    float less_db = noise_reduction_db(&r->reduction); /* the most, wherever in the block it was */
    for (size_t at = 0; at < io->n;) {
        size_t n = io->n - at, group = room_watch_room(&r->watch);
        size_t hop = spectral_frames_room(&r->reduction.frames);
        n = n < group ? n : group;
        n = n < hop ? n : hop;
        room_watch_hear(&r->watch, io->in, io->channels, at, n);
        bool quiet = !r->freeze && room_watch_quiet(&r->watch) >= r->needed;
        if (noise_reduction_process(&r->reduction, io->in, io->out, at, n))
            noise_reduction_begin(&r->reduction, quiet, room_watch_periodic(&r->watch));
        less_db = maths_larger(noise_reduction_db(&r->reduction), less_db);
        at += n;
    }
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = io->dry[c][i] - io->out[c][i];
    io->meter[NOISE] = noise_reduction_noise_db(&r->reduction);
    *io->reduction_db = less_db > 0.0f ? less_db : 0.0f;
}

static size_t latency(const void *self, const float *control) {
    (void)control;
    return spectral_frames_latency(&((const NoiseReducer *)self)->reduction.frames);
}

const PluginSpec plugin_spec = {
    .id = "noise-reducer",
    .name = "Noise Reducer",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .may = PLUGIN_SHARES,
    .state_size = sizeof(NoiseReducer),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
