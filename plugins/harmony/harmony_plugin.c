/* SPDX-License-Identifier: ISC */
/* harmony: a second voice, so many steps of the scale over the lead or under it.
 *
 *     in -> source: past sound and period marks -> line: how far each period is to be moved -> voice: grains, loosely
 *        -> where it hisses, what takes it down ------------------------------------------------^
 *     -> blended with dry
 *
 * The voice waits AHEAD_MS more than the source, so that it knows the note before it sings. It
 * begins with the lead, and is as loud as it from moment to moment, wherever its periods were
 * cut. */
#include "basic/maths.h"
#include "gain/dry_wet.h"
#include "gain/glide.h"
#include "gain/hiss_duck.h"
#include "gain/peak_change.h"
#include "plugin.h"
#include "sound/double_voice.h"
#include "sound/psola.h"
#include "voice/harmony_line.h"
#include "voice/scale_ports.h"

#include <math.h>

enum { KEY, SCALE, TUNING, STEPS, LOOSENESS, FORMANT, BLEND, N_CONTROLS };

/* A new note is known 70 ms after it began, where the window is full grown (note_aim.h). */
static const double AHEAD_MS = 60.0, GLIDE_MS = 20.0;
/* Late in the mean by this times the square of looseness (two singers' onsets), and wandering by as
 * much either way: never early. */
static const double LOOSE_MS = 20.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [KEY] = SCALE_PORT_KEY,
    [SCALE] = SCALE_PORT_SCALE("The scale that Steps counts in. In a chromatic one a step is a "
                               "semitone, and the second voice runs in parallel.",
                               SCALE_MAJOR),
    [TUNING] = SCALE_PORT_TUNING,
    [STEPS] = {.symbol = "steps",
               .name = "Steps",
               .group = "Notes",
               .doc = "How many steps of the scale over the lead, or under it: 2 is a third, 4 a "
                      "fifth, 7 an octave. Beyond 5 steps it sounds less like a singer.",
               .minimum = -14.0f,
               .initial = 2.0f,
               .maximum = 14.0f,
               .kind = PORT_INTEGER},
    [LOOSENESS] = {.symbol = "looseness",
                   .name = "Looseness",
                   .group = "Voice",
                   .doc = "How far it wanders in pitch and time, as a second singer would. At 0 it "
                          "moves with the lead exactly.",
                   .initial = 30.0f,
                   .maximum = 100.0f,
                   .unit = UNIT_PERCENT},
    [FORMANT] = {.symbol = "formant",
                 .name = "Formants",
                 .group = "Voice",
                 .doc = "Moves the formants by so many semitones: above 0 a smaller, brighter "
                        "singer. A little one way or the other makes it somebody else.",
                 .minimum = -12.0f,
                 .maximum = 12.0f,
                 .unit = UNIT_SEMITONES},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .group = "Voice",
               .doc = "How much of the result is the second voice; the rest is the take. 100 on a "
                      "bus of its own.",
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
};

typedef struct {
    double rate_hz;
    PsolaSource source;
    HissDuck duck;
    HarmonyLine line;
    DoubleVoice voice;
    Glide blend;
    PeakChange change;
} Harmony;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    Harmony *h = self;
    h->rate_hz = rate_hz;
    if (!psola_source_prepare(&h->source, rate_hz, channels, DOUBLE_VOICE_LATEST_MS, arena))
        return false;
    hiss_duck_prepare(&h->duck, rate_hz, h->source.marks.tick);
    harmony_line_prepare(&h->line, rate_hz);
    double_voice_prepare(&h->voice, rate_hz, h->source.marks.tick, 1, 1);
    glide_prepare(&h->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&h->change, rate_hz, channels);
    return true;
}

static void reset(void *self) {
    Harmony *h = self;
    psola_source_reset(&h->source);
    hiss_duck_reset(&h->duck);
    harmony_line_reset(&h->line);
    double_voice_reset(&h->voice);
    glide_reset(&h->blend);
    peak_change_reset(&h->change);
}

static size_t ahead(double rate_hz) {
    return (size_t)(AHEAD_MS * 1e-3 * rate_hz + 0.5);
}

/* At another interval the voice gains or loses by another measure. */
static void set_line(Harmony *h, const HarmonyLineParams *params) {
    const HarmonyLineParams *was = &h->line.params;
    if (params->steps != was->steps || params->scale.key != was->scale.key ||
        params->scale.kind != was->scale.kind || params->tuning_hz != was->tuning_hz)
        kept_level_trust(&h->voice.level);
    harmony_line_set(&h->line, params);
}

static void set(void *self, const float *control) {
    Harmony *h = self;
    const double loose = 0.01 * (double)control[LOOSENESS];
    set_line(h, &(HarmonyLineParams){
                    .scale = {(int)control[KEY], (ScaleKind)(int)control[SCALE]},
                    .tuning_hz = control[TUNING],
                    .steps = (int)control[STEPS],
                });
    double_voice_set(&h->voice, &(DoubleVoiceParams){
                                    .delay_ms = LOOSE_MS * loose,
                                    .drift = loose,
                                    .together = true,
                                    .keeps_level = true,
                                    .semitones = (double)control[FORMANT],
                                    .later_ms = 1000.0 * (double)ahead(h->rate_hz) / h->rate_hz -
                                                LOOSE_MS * loose * (1.0 - loose),
                                });
    glide_set(&h->blend, 0.01 * (double)control[BLEND]);
}

/* At the end of a tick: the grains of the next. */
static void plan(Harmony *h) {
    uint64_t mark;
    harmony_line_hear(&h->line, &h->source.marks);
    double_voice_wander(&h->voice, &h->source);
    while (double_voice_wants(&h->voice, &h->source, &mark))
        double_voice_add(&h->voice, &h->source, harmony_line_semitones(&h->line, mark));
}

/* n frames, at most to the end of a tick. */
static void sing(Harmony *h, const Io *io, float *const *to, size_t at, size_t n) {
    float heard[PLUGIN_CHUNK];
    maths_middle(io->in, io->channels, at, n, heard);
    double_voice_process(&h->voice, &h->source, &h->duck, to, at, n);
    hiss_duck_hear(&h->duck, heard, n);
    if (psola_source_hear(&h->source, io->in, at, n))
        plan(h);
}

static void process(void *self, const Io *io) {
    Harmony *h = self;
    float voice[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK], blend[PLUGIN_CHUNK];
    float *const to[PLUGIN_MAX_CHANNELS] = {voice[0], voice[1]};
    for (size_t at = 0, n; at < io->n; at += n) {
        n = psola_source_room(&h->source);
        n = n < io->n - at ? n : io->n - at;
        sing(h, io, to, at, n);
    }
    glide_process(&h->blend, blend, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        dry_wet(io->dry[c], voice[c], blend, io->out[c], io->n);
    *io->reduction_db =
        peak_change_process(&h->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

static size_t latency(const void *self, const float *control) {
    const Harmony *h = self;
    (void)control;
    return psola_source_latency(h->rate_hz) + ahead(h->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "harmony",
    .name = "Harmony",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .may = PLUGIN_NEW_SOUND,
    .state_size = sizeof(Harmony),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
