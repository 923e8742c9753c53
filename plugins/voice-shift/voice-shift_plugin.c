/* SPDX-License-Identifier: ISC */
/* voice-shift: a voice at another pitch, with its formants kept or moved.
 *
 *     in -> source: past sound and period marks -> voice: grains at the new pitch --+
 *                                              -> two taps, where nobody sings -----+-> blended with dry
 *
 * What is not voiced stays as it is, unless it lasts and is no hiss: then it is a chord or a tail,
 * and two taps shift it. With nothing set to do the delayed input passes. */
#include "basic/decibel.h"
#include "basic/maths.h"
#include "basic/one_pole.h"
#include "gain/glide.h"
#include "gain/peak_change.h"
#include "gain/warm_fade.h"
#include "plugin.h"
#include "sound/psola.h"
#include "sound/two_taps.h"

#include <math.h>
#include <string.h>

enum { SEMITONES, CENTS, FORMANT, BLEND, N_CONTROLS };

static const double GLIDE_MS = 20.0, FADE_MS = 20.0, MOVE_MS = 10.0;
/* A hiss lasts less than this; two taps need one of theirs to begin, and fade in without haste. */
static const double LASTS_MS = 100.0, TAPS_FADE_MS = 40.0, POWER_MS = 12.0;
/* A hiss has less of its power than this in the tracker's band, below 2.4 kHz; chords and tails
 * have more. */
static const float LOW_SHARE = 0.3f, LEAST_POWER = 1e-10f;

/* How like one period of a single voice is to the next, over ALIKE_MS: 0.87 and more of takes of
 * five singers, sung and recorded; of chords whose common period is found, less. */
static const float ONE_VOICE = 0.87f, USUALLY_ALIKE = 0.95f;
static const double ALIKE_MS = 100.0;

static const PortSpec CONTROLS[N_CONTROLS] = {
    [SEMITONES] = {.symbol = "semitones",
                   .unit = UNIT_SEMITONES,
                   .name = "Semitones",
                   .doc = "How far the voice is moved, in semitones: 12 is an octave up. It sounds "
                          "best within 7 either way.",
                   .minimum = -24.0f,
                   .initial = 0.0f,
                   .maximum = 24.0f},
    [CENTS] = {.symbol = "cents",
               .unit = UNIT_CENTS,
               .name = "Cents",
               .doc = "Fine tuning on top of Semitones, in hundredths of one. A few cents beside "
                      "the voice itself thicken it.",
               .minimum = -100.0f,
               .initial = 0.0f,
               .maximum = 100.0f},
    [FORMANT] = {.symbol = "formant",
                 .unit = UNIT_SEMITONES,
                 .name = "Formants",
                 .doc = "Moves the formants by so many semitones, and not the pitch: above 0 a "
                        "smaller, brighter singer, below 0 a larger, darker one. At 0 they stay.",
                 .minimum = -12.0f,
                 .initial = 0.0f,
                 .maximum = 12.0f},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .doc = "How much of the moved voice there is; the rest is the take itself. At 0 "
                      "the take alone.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
};

typedef struct {
    double rate_hz;
    bool wanted;
    double goal;                /* semitones */
    double ratio, formant;      /* the ratio on its way to the goal */
    double move;                /* share of the way in a tick */
    double lasts, alike_frames; /* frames */
    float keep;                 /* pole of the power */
    PsolaSource source;
    PsolaVoice voice;
    TwoTaps taps;
    WarmFade fade, taps_fade;
    Glide blend;
    PeakChange change;
    struct {
        float power;      /* of all that is heard now */
        bool moved;       /* once, since the reset */
        double semitones; /* on their way to the goal */
        float alike;      /* likeness of periods, averaged */
        uint64_t marks;   /* heard so far */
        double unvoiced;  /* frames since a voice was heard */
        bool taps_wanted;
    } state;
} VoiceShift;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    VoiceShift *v = self;
    v->rate_hz = rate_hz;
    v->lasts = LASTS_MS * 1e-3 * rate_hz;
    v->alike_frames = ALIKE_MS * 1e-3 * rate_hz;
    v->keep = (float)one_pole_coefficient(POWER_MS, rate_hz);
    two_taps_prepare(&v->taps, rate_hz);
    warm_fade_prepare(&v->fade, 0.0, FADE_MS, rate_hz);
    warm_fade_prepare(&v->taps_fade, TWO_TAPS_HALF_MS, TAPS_FADE_MS, rate_hz);
    glide_prepare(&v->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&v->change, rate_hz, channels);
    if (!psola_source_prepare(&v->source, rate_hz, channels, TWO_TAPS_LATER_MS, arena))
        return false;
    v->move = 1.0 - one_pole_coefficient(MOVE_MS, rate_hz / (double)v->source.marks.tick);
    return true;
}

static void reset(void *self) {
    VoiceShift *v = self;
    psola_source_reset(&v->source);
    psola_voice_reset(&v->voice);
    two_taps_reset(&v->taps);
    warm_fade_reset(&v->fade);
    warm_fade_reset(&v->taps_fade);
    glide_reset(&v->blend);
    peak_change_reset(&v->change);
    memset(&v->state, 0, sizeof v->state);
    v->state.alike = USUALLY_ALIKE;
}

static void set(void *self, const float *control) {
    VoiceShift *v = self;
    double semitones = (double)control[SEMITONES] + 0.01 * (double)control[CENTS];
    v->goal = fmax(-24.0, fmin(24.0, semitones));
    v->formant = exp2((double)control[FORMANT] / 12.0);
    v->wanted = v->goal != 0.0 || v->formant != 1.0;
    glide_set(&v->blend, 0.01 * (double)control[BLEND]);
}

/* Whether something sounds that is neither sung nor a hiss. */
static bool chord_or_tail(const VoiceShift *v) {
    PitchReading reading = pitch_reading(&v->source.marks.pitch);
    bool none = v->state.unvoiced > v->lasts, many = v->state.alike < ONE_VOICE;
    return (none || many) && reading.power > LEAST_POWER &&
           reading.power > LOW_SHARE * v->state.power;
}

static void hear_likeness(VoiceShift *v) {
    for (; v->state.marks < period_marks_count(&v->source.marks); v->state.marks++) {
        const PeriodMark *mark = period_mark(&v->source.marks, v->state.marks);
        float way = (float)fmin(1.0, mark->period / v->alike_frames);
        v->state.alike += way * (mark->likeness - v->state.alike);
    }
}

/* A step of the control is spread over some grains: one far apart among many would stick out. */
static void move(VoiceShift *v) {
    double left = v->goal - v->state.semitones;
    v->state.semitones += v->state.moved && fabs(left) > 0.01 ? v->move * left : left;
    v->state.moved = true;
    v->ratio = (double)decibel_fast_exp2((float)v->state.semitones * (1.0f / 12.0f));
}

/* At the end of a tick: the grains of the next. */
static void plan(VoiceShift *v) {
    uint64_t mark;
    move(v);
    bool heard = warm_fade_runs(&v->fade, v->wanted);
    while (psola_voice_wants(&v->voice, &v->source, 0.0, &mark)) {
        if (!heard)
            psola_voice_align(&v->voice, &v->source);
        psola_voice_add(&v->voice, &v->source, 0.0, heard ? v->ratio : 1.0,
                        heard ? v->formant : 1.0);
    }
    bool voiced = v->voice.state.in_run || v->voice.state.cover > 0.0;
    v->state.unvoiced = voiced ? 0.0 : v->state.unvoiced + (double)v->source.marks.tick;
    hear_likeness(v);
    v->state.taps_wanted = heard && v->ratio != 1.0 && chord_or_tail(v);
    if (warm_fade_begins(&v->taps_fade, v->state.taps_wanted))
        two_taps_reset(&v->taps);
    if (warm_fade_runs(&v->taps_fade, v->state.taps_wanted))
        two_taps_plan(&v->taps, &v->source, v->ratio);
}

static void follow_power(VoiceShift *v, const Io *io, size_t at, size_t n) {
    float power = v->state.power, heard[PLUGIN_CHUNK];
    maths_middle(io->in, io->channels, at, n, heard);
    for (size_t i = 0; i < n; i++)
        power = one_pole_step(power, heard[i] * heard[i], v->keep);
    v->state.power = power;
}

typedef struct {
    float grains[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK], taps[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];
    float cover[PLUGIN_CHUNK], tapped[PLUGIN_CHUNK], weight[PLUGIN_CHUNK];
} Paths;

static void run_paths(VoiceShift *v, const Io *io, Paths *p, size_t at, size_t n) {
    float *const grains[] = {p->grains[0], p->grains[1]}, *const taps[] = {p->taps[0], p->taps[1]};
    bool runs = warm_fade_runs(&v->fade, v->wanted);
    bool tapped = warm_fade_runs(&v->taps_fade, v->state.taps_wanted);
    for (unsigned c = 0; c < io->channels && runs; c++)
        memset(p->grains[c] + at, 0, n * sizeof(float));
    psola_voice_process(&v->voice, &v->source, 0, runs ? grains : NULL, p->cover, at, n);
    if (tapped)
        two_taps_process(&v->taps, &v->source, taps, at, n);
    warm_fade_process(&v->taps_fade, v->state.taps_wanted, p->tapped + at, n);
    warm_fade_process(&v->fade, v->wanted, p->weight + at, n);
    follow_power(v, io, at, n);
    if (psola_source_hear(&v->source, io->in, at, n))
        plan(v);
}

static void mix(const Io *io, const Paths *p, const float *blend, unsigned c) {
    for (size_t i = 0; i < io->n; i++) {
        float dry = io->dry[c][i], weight = p->weight[i] * blend[i];
        io->out[c][i] = dry;
        if (weight <= 0.0f || (p->cover[i] <= 0.0f && p->tapped[i] <= 0.0f))
            continue;
        float moved = psola_heard(dry, p->grains[c][i], p->cover[i]);
        if (p->tapped[i] > 0.0f)
            moved += p->tapped[i] * (p->taps[c][i] - moved);
        io->out[c][i] = dry + weight * (moved - dry);
    }
}

static void process(void *self, const Io *io) {
    VoiceShift *v = self;
    Paths paths;
    float blend[PLUGIN_CHUNK];
    glide_process(&v->blend, blend, io->n);
    for (size_t at = 0, n; at < io->n; at += n) {
        n = psola_source_room(&v->source);
        n = n < io->n - at ? n : io->n - at;
        run_paths(v, io, &paths, at, n);
    }
    for (unsigned c = 0; c < io->channels; c++)
        mix(io, &paths, blend, c);
    *io->reduction_db =
        peak_change_process(&v->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

static size_t latency(const void *self, const float *control) {
    const VoiceShift *v = self;
    (void)control;
    return psola_source_latency(v->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "voice-shift",
    .name = "Voice Shift",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .may = PLUGIN_NEW_SOUND,
    .state_size = sizeof(VoiceShift),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
