/* SPDX-License-Identifier: ISC */
/* smooth-compressor: evens a voice out by how it stands against its own usual level.
 *
 *     in -> listener -> sung? --------> usual level --+
 *     in -> peak of both channels, dB --+-------------+-> over the reference
 *        -> static law -> release with a memory -> attack -> gain, make-up -> blend with the input
 *
 * The level is that of the peaks, in dB and behind nothing: the law is exact on a steady tone, and
 * smoothing in dB behind the law leaves no lag at the threshold. No look-ahead: what an attack of
 * 15 ms lets through of a consonant is wanted, and a peak too many is the ceiling's. */
#include "basic/decibel.h"
#include "gain/ballistics.h"
#include "gain/gain_computer.h"
#include "gain/release_memory.h"
#include "plugin.h"
#include "voice/listener.h"
#include "voice/scene.h"
#include "voice/usual_level.h"

#include <math.h>

enum { REFERENCE, THRESHOLD, RATIO, KNEE, ATTACK, RELEASE, PROGRAM, MAKEUP, BLEND, N_CONTROLS };
enum { LEVEL, N_METERS };

static const ScalePoint REFERENCES[] = {
    {0.0f, "This voice's usual level"},
    {1.0f, "Full scale"},
};

static const PortSpec CONTROLS[N_CONTROLS] = {
    [REFERENCE] = {.symbol = "reference",
                   .name = "Reference",
                   .doc = "What the threshold is measured from: the level at which this voice "
                          "usually sings in this take, so that one setting fits every take; or "
                          "full scale.",
                   .minimum = 0.0f,
                   .initial = 0.0f,
                   .maximum = 1.0f,
                   .kind = PORT_ENUMERATION,
                   .points = REFERENCES,
                   .n_points = sizeof REFERENCES / sizeof *REFERENCES},
    [THRESHOLD] = {.symbol = "threshold",
                   .name = "Threshold",
                   .doc = "Peak level above which the voice is turned down, over the reference. "
                          "Lower works on more of it. Compare with the meter Level.",
                   .minimum = -60.0f,
                   .initial = -4.0f,
                   .maximum = 12.0f,
                   .unit = UNIT_DB},
    [RATIO] = {.symbol = "ratio",
               .name = "Ratio",
               .doc = "How firmly: above the threshold each dB more comes out as 1/ratio dB. At 1 "
                      "nothing happens.",
               .minimum = 1.0f,
               .initial = 3.0f,
               .maximum = 20.0f,
               .kind = PORT_LOGARITHMIC},
    [KNEE] = {.symbol = "knee",
              .advanced = true,
              .name = "Knee",
              .doc = "Width of the bend around the threshold. Wider begins earlier and more "
                     "gently.",
              .minimum = 0.0f,
              .initial = 8.0f,
              .maximum = 24.0f,
              .unit = UNIT_DB},
    [ATTACK] = {.symbol = "attack",
                .name = "Attack",
                .doc = "Time constant of turning down. Longer lets consonants through. Below 1 ms "
                       "it acts as 1 ms, so that no setting clicks.",
                .minimum = 0.1f,
                .initial = 15.0f,
                .maximum = 200.0f,
                .unit = UNIT_MS,
                .kind = PORT_LOGARITHMIC},
    [RELEASE] = {.symbol = "release",
                 .name = "Release",
                 .doc = "Time constant of coming back after a short peak. Program makes it longer "
                        "after long ones.",
                 .minimum = 10.0f,
                 .initial = 160.0f,
                 .maximum = 2000.0f,
                 .unit = UNIT_MS,
                 .kind = PORT_LOGARITHMIC},
    [PROGRAM] = {.symbol = "program",
                 .advanced = true,
                 .name = "Program",
                 .doc = "How far the release follows the programme: the share of the reduction "
                        "lately that is let go six times as slowly. More moves less between words.",
                 .minimum = 0.0f,
                 .initial = 60.0f,
                 .maximum = 100.0f,
                 .unit = UNIT_PERCENT},
    [MAKEUP] = {.symbol = "makeup",
                .name = "Make-up",
                .doc = "Gain behind the compressor, for what it took. At 0 nothing comes out "
                       "louder than it went in.",
                .minimum = -12.0f,
                .initial = 0.0f,
                .maximum = 24.0f,
                .unit = UNIT_DB},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .doc = "How much of the result is compressed, the rest being the input. Both are "
                      "in time, so that nothing is hollowed out.",
               .minimum = 0.0f,
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
};

static const PortSpec METERS[N_METERS] = {
    [LEVEL] = {.symbol = "level",
               .against = "threshold",
               .name = "Level",
               .doc = "Peak level over the reference: the voice is turned down where this rises "
                      "over the threshold. At its lowest while the voice is not known.",
               .minimum = -60.0f,
               .maximum = 24.0f,
               .unit = UNIT_DB,
               .meter = METER_PEAK},
};

/* How long a control takes to its new value. */
static const double RAMP_MS = 20.0;

/* A value that goes to its goal on a straight line. */
typedef struct {
    float now, goal, step;
    size_t left;
} Ramp;

typedef struct {
    size_t ramp_frames;
    bool own; /* the reference is the voice's usual level */
    GainComputer law;
    Listener listener;
    Scene scene;
    UsualLevel usual;
    ReleaseMemory release;
    Ballistics attack;
    struct {
        bool fresh;                          /* nothing has run yet: goals are met at once */
        float peak;                          /* of this hop so far */
        float recent[VOICE_SENSE_DELAY + 1]; /* of the last hops, oldest first */
        Ramp makeup_db, blend;
    } state;
} SmoothCompressor;

static void ramp_aim(Ramp *ramp, float goal, size_t frames) {
    if (goal == ramp->goal)
        return;
    ramp->goal = goal;
    ramp->step = (goal - ramp->now) / (float)frames;
    ramp->left = frames;
}

static void ramp_jump(Ramp *ramp) {
    ramp->now = ramp->goal;
    ramp->left = 0;
}

static void ramp_run(Ramp *ramp, float *values, size_t n) {
    size_t moving = n < ramp->left ? n : ramp->left;
    float now = ramp->now;
    for (size_t i = 0; i < moving; i++)
        values[i] = now += ramp->step;
    ramp->left -= moving;
    ramp->now = ramp->left > 0 ? now : ramp->goal;
    for (size_t i = moving; i < n; i++)
        values[i] = ramp->goal;
}

static void reset(void *self) {
    SmoothCompressor *s = self;
    listener_reset(&s->listener);
    scene_reset(&s->scene);
    usual_level_reset(&s->usual);
    release_memory_reset(&s->release);
    ballistics_reset(&s->attack);
    s->state.fresh = true;
    s->state.peak = 0.0f;
    for (int i = 0; i <= VOICE_SENSE_DELAY; i++)
        s->state.recent[i] = 0.0f;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    SmoothCompressor *s = self;
    (void)channels, (void)arena;
    s->ramp_frames = (size_t)lrint(RAMP_MS * 1e-3 * rate_hz);
    listener_prepare(&s->listener, rate_hz);
    double hops_per_second = rate_hz / (double)s->listener.sense.hop;
    scene_prepare(&s->scene, rate_hz, hops_per_second);
    usual_level_prepare(&s->usual, hops_per_second);
    release_memory_prepare(&s->release, rate_hz);
    ballistics_prepare(&s->attack, rate_hz);
    reset(s);
    return true;
}

static void set(void *self, const float *control) {
    SmoothCompressor *s = self;
    s->own = control[REFERENCE] < 0.5f;
    gain_computer_set(&s->law, &(GainComputerParams){.threshold_db = control[THRESHOLD],
                                                     .ratio = control[RATIO],
                                                     .knee_db = control[KNEE],
                                                     .range_db = 200.0f});
    release_memory_set(&s->release, &(ReleaseMemoryParams){.release_ms = control[RELEASE],
                                                           .share = 0.01f * control[PROGRAM]});
    /* The attack alone, both ways: what comes back is the memory's. */
    float attack_ms = control[ATTACK], least = (float)BALLISTICS_SMOOTH_MS;
    ballistics_set(&s->attack,
                   &(BallisticsParams){.attack_ms = attack_ms,
                                       .release_ms = fmaxf(attack_ms - 2.0f * least, least)});
    ramp_aim(&s->state.makeup_db, control[MAKEUP], s->ramp_frames);
    ramp_aim(&s->state.blend, 0.01f * control[BLEND], s->ramp_frames);
}

/* ---- the voice's usual level ---- */

/* The one place that asks whether somebody sings. */
static float counts(SmoothCompressor *s, const VoiceFrame *frame) {
    SceneMoment moment;
    scene_step(&s->scene, frame, &moment);
    return moment.counts;
}

/* The peak level of the hop that voice_sense now tells of. */
static float hop_level_db(SmoothCompressor *s) {
    for (int i = 0; i < VOICE_SENSE_DELAY; i++)
        s->state.recent[i] = s->state.recent[i + 1];
    s->state.recent[VOICE_SENSE_DELAY] = s->state.peak;
    s->state.peak = 0.0f;
    return decibel_from_amplitude(s->state.recent[0]);
}

static void finish_hop(SmoothCompressor *s, const VoiceFrame *frame) {
    float level_db = hop_level_db(s);
    usual_level_step(&s->usual, level_db, counts(s, frame));
}

/* ---- audio ---- */

/* The reference while the voice is not known: over whatever can be heard and any threshold. */
static const float UNKNOWN_DB = 300.0f;

/* Each frame's level over the reference, no more than can be said yet. Returns the highest as it
 * is, for the meter. */
static float levels(SmoothCompressor *s, const float *left, const float *right, float *over_db,
                    size_t n) {
    const bool own = s->own, known = usual_level_known(&s->usual);
    const float reference_db = !own ? 0.0f : known ? usual_level_db(&s->usual) : UNKNOWN_DB;
    const float most_db = own && known ? usual_level_most(&s->usual) : UNKNOWN_DB;
    float highest = 0.0f;
    for (size_t i = 0; i < n; i++) {
        float a = fabsf(left[i]), b = fabsf(right[i]);
        over_db[i] = a > b ? a : b;
    }
    for (size_t i = 0; i < n; i++)
        highest = over_db[i] > highest ? over_db[i] : highest;
    for (size_t i = 0; i < n; i++) {
        float now_db = decibel_from_amplitude(over_db[i]) - reference_db;
        over_db[i] = now_db < most_db ? now_db : most_db;
    }
    s->state.peak = highest > s->state.peak ? highest : s->state.peak;
    return decibel_from_amplitude(highest) - reference_db;
}

static void apply(SmoothCompressor *s, const Io *io, size_t at, const float *reduction_db,
                  size_t n) {
    float gain[OCTAVE_BANK_MAX_GROUP], blend[OCTAVE_BANK_MAX_GROUP];
    ramp_run(&s->state.makeup_db, gain, n);
    ramp_run(&s->state.blend, blend, n);
    for (size_t i = 0; i < n; i++)
        gain[i] = 1.0f + blend[i] * (decibel_fast_gain(gain[i] - reduction_db[i]) - 1.0f);
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < n; i++)
            io->out[c][at + i] = gain[i] * io->dry[c][at + i];
}

static void compress(SmoothCompressor *s, const Io *io, size_t at, size_t n) {
    float reduction_db[OCTAVE_BANK_MAX_GROUP] = {0.0f};
    float level_db = levels(s, io->in[0] + at, io->in[io->channels - 1] + at, reduction_db, n);
    gain_computer_process(&s->law, reduction_db, reduction_db, n);
    release_memory_process(&s->release, reduction_db, reduction_db, n);
    ballistics_process(&s->attack, reduction_db, reduction_db, n);
    apply(s, io, at, reduction_db, n);
    for (size_t i = 0; i < n; i++)
        *io->reduction_db = fmaxf(*io->reduction_db, reduction_db[i]);
    io->meter[LEVEL] = fmaxf(io->meter[LEVEL], level_db);
}

static void process(void *self, const Io *io) {
    SmoothCompressor *s = self;
    if (s->state.fresh && io->n > 0) {
        s->state.fresh = false;
        ramp_jump(&s->state.makeup_db);
        ramp_jump(&s->state.blend);
    }
    *io->reduction_db = 0.0f;
    io->meter[LEVEL] = METERS[LEVEL].minimum;
    for (size_t at = 0; at < io->n;) {
        size_t n = listener_room(&s->listener);
        n = n < io->n - at ? n : io->n - at;
        VoiceFrame frame;
        compress(s, io, at, n);
        if (listener_hear(&s->listener, io->in, io->channels, at, n, &frame))
            finish_hop(s, &frame);
        at += n;
    }
}

const PluginSpec plugin_spec = {
    .id = "smooth-compressor",
    .name = "Smooth Compressor",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .most_gain_db = 24.0f, /* makeup */
    .state_size = sizeof(SmoothCompressor),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
