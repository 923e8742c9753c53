/* SPDX-License-Identifier: ISC */
/* gap-trimmer: silence between phrases, as if cut by hand with fades.
 *
 *     in -> listener -> scene -> gap_gate -> phrase or gap? -> cut_fade -> gain on the dry signal
 *
 * All decisions come once a hop of 5.33 ms; fades are drawn frame by frame. The gain is applied
 * `lookahead` late, so that a fade-in is over before its word begins; the latency is a whole number
 * of hops, four at least: two until a hop is heard, one in which it is told, one for the fade. */
#include "basic/decibel.h"
#include "detect/gap_gate.h"
#include "gain/cut_fade.h"
#include "plugin.h"
#include "voice/listener.h"
#include "voice/scene.h"

#include <string.h>

enum {
    THRESHOLD,
    ABSOLUTE,
    FLOOR,
    FADE_IN,
    FADE_OUT,
    SHORTEST_GAP,
    KEEP_BREATHS,
    LOOKAHEAD,
    CONTROLS
};
enum { OPEN, METERS };

static const PortSpec CONTROL[CONTROLS] = {
    [THRESHOLD] = {.symbol = "threshold",
                   .name = "Threshold",
                   .doc = "What is quieter counts as gap: so far under the singer's own level, or "
                          "under full scale with Threshold from full scale on. Raise it when noise "
                          "keeps gaps open, lower it when soft words are cut.",
                   .minimum = -80.0f,
                   .initial = -45.0f,
                   .maximum = -20.0f,
                   .group = "Detection",
                   .unit = UNIT_DB},
    [ABSOLUTE] = {.symbol = "absolute",
                  .name = "Threshold from full scale",
                  .doc =
                      "Off: Threshold follows the singer's level and stays above the room's noise. "
                      "On: it stays where you set it; for takes where you know the levels better.",
                  .minimum = 0.0f,
                  .initial = 0.0f,
                  .maximum = 1.0f,
                  .group = "Detection",
                  .short_name = "From full scale",
                  .kind = PORT_TOGGLE},
    [FLOOR] = {.symbol = "floor",
               .name = "Gap level",
               .doc = "How far down gaps go: -60 dB is silence in most mixes, -18 dB leaves some "
                      "room. Raise it when phrases seem to come out of nowhere.",
               .minimum = -90.0f,
               .initial = -60.0f,
               .maximum = 0.0f,
               .group = "Gaps",
               .unit = UNIT_DB},
    [FADE_IN] =
        {.symbol = "fade_in",
         .name = "Fade in",
         .doc =
             "Length of the fade before a phrase; it ends before the phrase starts, and is shorter "
             "where there is no time for all of it. Longer brings the room in more gently.",
         .minimum = 1.0f,
         .initial = 12.0f,
         .maximum = 100.0f,
         .group = "Fades",
         .unit = UNIT_MS,
         .kind = PORT_LOGARITHMIC},
    [FADE_OUT] = {.symbol = "fade_out",
                  .name = "Fade out",
                  .doc = "Length of the fade after a phrase, from where its sound has died away. "
                         "Turn it up when the room's tail stops too suddenly.",
                  .minimum = 5.0f,
                  .initial = 80.0f,
                  .maximum = 500.0f,
                  .group = "Fades",
                  .unit = UNIT_MS,
                  .kind = PORT_LOGARITHMIC},
    [SHORTEST_GAP] = {.symbol = "shortest_gap",
                      .name = "Shortest gap",
                      .doc = "Shorter gaps stay open. Turn it up to close only the rests between "
                             "phrases, down to close the breaks between words as well.",
                      .minimum = 50.0f,
                      .initial = 250.0f,
                      .maximum = 2000.0f,
                      .group = "Gaps",
                      .unit = UNIT_MS,
                      .kind = PORT_LOGARITHMIC},
    [KEEP_BREATHS] = {.symbol = "keep_breaths",
                      .name = "Keep breaths",
                      .doc = "On: the breath before a phrase stays, from its start. Off: it goes "
                             "with the gap, and a breathy word start may go with it; so leave it "
                             "on and turn breaths down with breath-ducker.",
                      .minimum = 0.0f,
                      .initial = 1.0f,
                      .maximum = 1.0f,
                      .group = "Gaps",
                      .kind = PORT_TOGGLE},
    [LOOKAHEAD] = {.symbol = "lookahead",
                   .name = "Look-ahead",
                   .doc = "How far it looks ahead, which is its latency. Short enough to hear "
                          "yourself through it, it opens late into soft words, and clicks open it; "
                          "leave it at 150 ms for mixing.",
                   .minimum = 25.0f,
                   .initial = 150.0f,
                   .maximum = 150.0f,
                   .advanced = true,
                   .group = "Detection",
                   .unit = UNIT_MS,
                   .kind = PORT_LOGARITHMIC},
};

static const PortSpec METER[METERS] = {
    [OPEN] = {.symbol = "open",
              .name = "In phrase",
              .doc = "1 in a phrase, 0 in a gap.",
              .minimum = 0.0f,
              .maximum = 1.0f,
              .kind = PORT_TOGGLE},
};

typedef struct {
    Listener listener;
    Scene scene;
    GapGate gate;
    CutFade fade;
    double hops_per_second;
    bool open;
} GapTrimmer;

/* Look-ahead in whole hops, of which one is that in which what was told is done. */
static size_t hops_ahead(const GapTrimmer *t, const float *control) {
    size_t hops = (size_t)(1e-3 * (double)control[LOOKAHEAD] * t->hops_per_second);
    return hops > GAP_GATE_LEAST + 1 ? hops : GAP_GATE_LEAST + 1;
}

static void reset(void *self) {
    GapTrimmer *t = self;
    listener_reset(&t->listener);
    scene_reset(&t->scene);
    gap_gate_reset(&t->gate);
    cut_fade_reset(&t->fade);
    t->open = false;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    GapTrimmer *t = self;
    (void)channels;
    (void)arena;
    listener_prepare(&t->listener, rate_hz);
    t->hops_per_second = rate_hz / (double)t->listener.sense.hop;
    scene_prepare(&t->scene, rate_hz, t->hops_per_second);
    gap_gate_prepare(&t->gate, t->hops_per_second, GAP_GATE_LEAST);
    cut_fade_prepare(&t->fade, rate_hz);
    reset(t);
    return true;
}

static void set(void *self, const float *control) {
    GapTrimmer *t = self;
    const GapGateParams gate = {
        .threshold_db = control[THRESHOLD],
        .absolute = control[ABSOLUTE] > 0.0f,
        .keep_breaths = control[KEEP_BREATHS] > 0.0f,
        .shortest_ms = control[SHORTEST_GAP],
    };
    const CutFadeParams fade = {
        .floor_db = control[FLOOR],
        .fade_in_ms = control[FADE_IN],
        .fade_out_ms = control[FADE_OUT],
    };
    gap_gate_set(&t->gate, &gate);
    gap_gate_look(&t->gate, hops_ahead(t, control) - 1);
    cut_fade_set(&t->fade, &fade);
}

static void finish_hop(GapTrimmer *t, const VoiceFrame *frame) {
    SceneMoment moment;
    scene_step(&t->scene, frame, &moment);
    PhraseMark mark = gap_gate_step(&t->gate, &moment);
    size_t hop = t->listener.sense.hop;
    size_t late = (size_t)((double)mark.late * (double)hop);
    size_t end = (size_t)((double)mark.end * (double)hop);
    double needed = cut_fade_in_frames(&t->fade);
    bool soon = mark.ahead != PHRASE_MARKS_NONE && (double)((mark.ahead - 1) * hop + late) < needed;
    if (mark.open)
        cut_fade_open(&t->fade, late > 0 && !t->open ? late : hop);
    else if (soon)
        cut_fade_open(&t->fade, mark.ahead * hop + late);
    else
        cut_fade_close(&t->fade, end);
    t->open = mark.open;
}

/* One stretch within a group; returns its lowest gain. */
static float apply(GapTrimmer *t, const Io *io, size_t at, size_t n) {
    float gain[PLUGIN_CHUNK];
    float least = cut_fade_process(&t->fade, gain, n);
    for (unsigned c = 0; c < io->channels; c++) {
        const float *dry = io->dry[c] + at;
        float *out = io->out[c] + at;
        if (least == 1.0f)
            memcpy(out, dry, n * sizeof *out);
        else
            for (size_t i = 0; i < n; i++)
                out[i] = dry[i] * gain[i];
    }
    return least;
}

static void process(void *self, const Io *io) {
    GapTrimmer *t = self;
    float least = 1.0f;
    for (size_t at = 0; at < io->n;) {
        size_t n = listener_room(&t->listener);
        n = n < io->n - at ? n : io->n - at;
        float gain = apply(t, io, at, n);
        least = gain < least ? gain : least;
        VoiceFrame frame;
        if (listener_hear(&t->listener, io->in, io->channels, at, n, &frame))
            finish_hop(t, &frame);
        at += n;
    }
    io->meter[OPEN] = t->open ? 1.0f : 0.0f;
    *io->reduction_db = (float)-decibel_from_gain((double)least);
}

static size_t latency(const void *self, const float *control) {
    const GapTrimmer *t = self;
    return hops_ahead(t, control) * t->listener.sense.hop;
}

const PluginSpec plugin_spec = {
    .id = "gap-trimmer",
    .name = "Gap Trimmer",
    .controls = CONTROL,
    .n_controls = CONTROLS,
    .meters = METER,
    .n_meters = METERS,
    .most_reduction_db = 90.0f,
    .state_size = sizeof(GapTrimmer),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
