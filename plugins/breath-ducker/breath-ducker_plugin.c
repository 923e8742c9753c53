/* SPDX-License-Identifier: ISC */
/* breath-ducker: turns the inhalations between phrases down.
 *
 *     input -> listener, hop by hop -> scene -> breath_finder -> fade -> gain on the delayed
 * input */
#include "basic/decibel.h"
#include "detect/breath_finder.h"
#include "gain/fade_gain.h"
#include "plugin.h"
#include "voice/listener.h"
#include "voice/scene.h"

#include <string.h>

enum { DEPTH, SENSITIVITY, SHORTEST, FADE, CONTROLS };
enum { BREATH, METERS };

static const PortSpec controls[CONTROLS] = {
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "How far breaths go down. Turn it up when breaths still stick out, most of "
                      "all before heavy compression, which lifts them again.",
               .minimum = 0.0f,
               .initial = 12.0f,
               .maximum = 60.0f,
               .group = "Cut",
               .unit = UNIT_DB},
    [SENSITIVITY] = {.symbol = "sensitivity",
                     .name = "Sensitivity",
                     .doc = "How readily a sound counts as a breath. Turn it up when breaths are "
                            "missed, down when word starts or noises are ducked.",
                     .minimum = -12.0f,
                     .initial = 0.0f,
                     .maximum = 12.0f,
                     .group = "Detection",
                     .unit = UNIT_DB},
    [SHORTEST] = {.symbol = "shortest",
                  .name = "Shortest breath",
                  .doc =
                      "Breaths shorter than this are left alone. Turn it up when short noises are "
                      "ducked, down when quick breaths are missed; above 100 ms it adds latency.",
                  .minimum = 40.0f,
                  .initial = 100.0f,
                  .maximum = 500.0f,
                  .advanced = true,
                  .group = "Detection",
                  .unit = UNIT_MS,
                  .kind = PORT_LOGARITHMIC},
    [FADE] = {.symbol = "fade",
              .name = "Fade",
              .doc = "Length of the fade down, which ends where the breath starts, and of the fade "
                     "up, which ends before the next word. Longer is smoother and adds latency; "
                     "touch it when you hear the gain move.",
              .minimum = 2.0f,
              .initial = 20.0f,
              .maximum = 100.0f,
              .advanced = true,
              .group = "Cut",
              .unit = UNIT_MS,
              .kind = PORT_LOGARITHMIC},
};

static const PortSpec meters[METERS] = {
    [BREATH] = {.symbol = "breath",
                .name = "Breath",
                .doc = "1 while a breath is turned down, else 0.",
                .minimum = 0.0f,
                .maximum = 1.0f,
                .kind = PORT_TOGGLE,
                .meter = METER_LAMP},
};

typedef struct {
    Listener listener;
    Scene scene;
    BreathFinder finder;
    FadeGain fade;
    bool down; /* what the finder said last */
} BreathDucker;

static BreathFinderParams finder_params(const float *control) {
    return (BreathFinderParams){
        .scene = {.sensitivity_db = control[SENSITIVITY], .shortest_breath_ms = control[SHORTEST]},
        .clear_ms = control[FADE]};
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    BreathDucker *ducker = self;
    (void)channels;
    (void)arena;
    listener_prepare(&ducker->listener, rate_hz);
    double hops_per_second = rate_hz / (double)ducker->listener.sense.hop;
    scene_prepare(&ducker->scene, rate_hz, hops_per_second);
    breath_finder_prepare(&ducker->finder, hops_per_second);
    fade_gain_prepare(&ducker->fade, rate_hz);
    return true;
}

static void reset(void *self) {
    BreathDucker *ducker = self;
    listener_reset(&ducker->listener);
    scene_reset(&ducker->scene);
    breath_finder_reset(&ducker->finder);
    ducker->down = false;
    fade_gain_reset(&ducker->fade);
}

static void set(void *self, const float *control) {
    BreathDucker *ducker = self;
    BreathFinderParams params = finder_params(control);
    scene_set(&ducker->scene, &params.scene);
    breath_finder_set(&ducker->finder, &params);
    fade_gain_set(&ducker->fade,
                  &(FadeGainParams){.depth_db = control[DEPTH], .fade_ms = control[FADE]});
}

/* Hop k is complete after (k + 1) hops, and tells of hop k - VOICE_SENSE_DELAY. */
static size_t latency(const void *self, const float *control) {
    const BreathDucker *ducker = self;
    BreathFinderParams params = finder_params(control);
    size_t hops = 1 + VOICE_SENSE_DELAY + breath_finder_delay(&ducker->finder, &params);
    return hops * ducker->listener.sense.hop;
}

static void process(void *self, const Io *io) {
    BreathDucker *ducker = self;
    float gain[PLUGIN_CHUNK], least = 1.0f, breath = 0.0f;
    for (size_t at = 0, n; at < io->n; at += n) {
        VoiceFrame frame;
        n = listener_room(&ducker->listener);
        n = n < io->n - at ? n : io->n - at;
        float lowest = fade_gain_process(&ducker->fade, ducker->down, gain + at, n);
        least = lowest < least ? lowest : least;
        breath = ducker->down ? 1.0f : breath;
        if (listener_hear(&ducker->listener, io->in, io->channels, at, n, &frame)) {
            SceneMoment moment;
            scene_step(&ducker->scene, &frame, &moment);
            ducker->down = breath_finder_step(&ducker->finder, &moment);
        }
    }
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < io->n; i++)
            io->out[c][i] = io->dry[c][i] * gain[i];
    io->meter[BREATH] = breath;
    *io->reduction_db = (float)-decibel_from_gain((double)least);
}

const PluginSpec plugin_spec = {
    .id = "breath-ducker",
    .name = "Breath Ducker",
    .controls = controls,
    .n_controls = CONTROLS,
    .meters = meters,
    .n_meters = METERS,
    .most_reduction_db = 60.0f,
    .state_size = sizeof(BreathDucker),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
