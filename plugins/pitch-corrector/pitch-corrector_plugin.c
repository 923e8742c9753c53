/* SPDX-License-Identifier: ISC */
/* pitch-corrector: draws each note to where the scale has it; vibrato, scoops and drift ride along.
 *
 *     in -> source: past sound and period marks -> aim: correction of each period -> voice: grains -> faded with dry
 *
 * Where less than a cent is to be done for 20 ms the delayed input passes, bit for bit, and so does
 * what is not voiced. */
#include "gain/peak_change.h"
#include "gain/warm_fade.h"
#include "plugin.h"
#include "sound/psola.h"
#include "voice/note_aim.h"
#include "voice/scale_ports.h"

#include "basic/decibel.h"

#include <math.h>
#include <string.h>

enum {
    KEY,
    SCALE,
    TUNING,
    STRENGTH,
    GLIDE,
    VIBRATO,
    LEAVE,
    FORMANT,
    TARGET,
    LOWEST,
    HIGHEST,
    N_CONTROLS
};
enum { PITCH, ERROR, N_METERS };

/* How much later than its period a correction is read: what the latency leaves. */
static const double AHEAD_MS = 25.0;
static const double FADE_MS = 10.0, REST_MS = 20.0;
static const float ARRIVAL_MS = 70.0f; /* in which a singer overshoots a note, or scoops up to it */
static const float LEAST = 0.01f;      /* semitones: a cent */
static const double CREEP = 0.0015, APART = 0.01; /* of a period */

static const PortSpec CONTROLS[N_CONTROLS] = {
    [KEY] = SCALE_PORT_KEY,
    [SCALE] =
        SCALE_PORT_SCALE("The notes a voice is drawn to: the nearest of this scale. Chromatic, any "
                         "semitone, is the safe choice while the key is not known.",
                         SCALE_CHROMATIC),
    [TUNING] = SCALE_PORT_TUNING,
    [STRENGTH] = {.symbol = "strength",
                  .name = "Strength",
                  .group = "Correction",
                  .doc = "How much of the way to its note a voice is drawn. At 100 all of it; "
                         "less leaves something of how it was sung.",
                  .initial = 80.0f,
                  .maximum = 100.0f,
                  .unit = UNIT_PERCENT},
    [GLIDE] = {.symbol = "glide",
               .name = "Glide",
               .group = "Correction",
               .doc = "How fast a note is drawn in, as a time constant. Long is not noticed; a "
                      "few ms with Vibrato at 0 is the hard, stepped sound.",
               .minimum = 1.0f,
               .initial = 60.0f,
               .maximum = 500.0f,
               .unit = UNIT_MS,
               .kind = PORT_LOGARITHMIC},
    [VIBRATO] = {.symbol = "vibrato",
                 .name = "Vibrato left",
                 .group = "Correction",
                 .doc = "What is left of the singer's own movement about the note: 100 all of "
                        "it, 0 none, so that notes are flat lines, 200 twice as much.",
                 .initial = 100.0f,
                 .maximum = 200.0f,
                 .unit = UNIT_PERCENT},
    [LEAVE] = {.symbol = "leave",
               .name = "Leave alone",
               .group = "Correction",
               .doc = "Notes nearer to the scale than so many cents are not corrected; from "
                      "half as many again on they are in full. Listeners hear about 25.",
               .initial = 10.0f,
               .maximum = 50.0f,
               .unit = UNIT_CENTS},
    [FORMANT] = {.symbol = "formant",
                 .name = "Formants",
                 .group = "Correction",
                 .doc = "Moves the formants by so many semitones: above 0 a smaller, brighter "
                        "singer. At 0 they stay where they were sung.",
                 .minimum = -12.0f,
                 .maximum = 12.0f,
                 .unit = UNIT_SEMITONES},
    [TARGET] = {.symbol = "target",
                .name = "Target note",
                .group = "Notes",
                .doc = "The MIDI note to draw to, 60 for middle C, fractions allowed: for "
                       "automation, note by note. At 0 the scale chooses.",
                .maximum = 127.0f},
    [LOWEST] = {.symbol = "lowest",
                .name = "Lowest note",
                .group = "Voice",
                .doc = "Nothing below is taken for the voice. Raise it for a high voice where "
                       "hum or a bass spills into the take.",
                .minimum = 50.0f,
                .initial = 70.0f,
                .maximum = 500.0f,
                .unit = UNIT_HZ,
                .kind = PORT_LOGARITHMIC},
    [HIGHEST] = {.symbol = "highest",
                 .name = "Highest note",
                 .group = "Voice",
                 .doc = "Nothing above is taken for the voice. Must be over Lowest note.",
                 .minimum = 200.0f,
                 .initial = 900.0f,
                 .maximum = 1500.0f,
                 .unit = UNIT_HZ,
                 .kind = PORT_LOGARITHMIC},
};

static const PortSpec METERS[N_METERS] = {
    [PITCH] = {.symbol = "pitch",
               .name = "Pitch sung",
               .doc = "The note sung now, as MIDI numbers it: 60 is middle C. 0 while nobody "
                      "sings.",
               .maximum = 127.0f,
               .meter = METER_NOW},
    [ERROR] = {.symbol = "error",
               .name = "Off the note",
               .doc = "How many cents the note sung is above the one it is drawn to; below 0, "
                      "under it.",
               .minimum = -100.0f,
               .maximum = 100.0f,
               .unit = UNIT_CENTS,
               .meter = METER_NOW},
};

typedef struct {
    double rate_hz, ahead, rest; /* frames */
    double formant;
    PsolaSource source;
    PsolaVoice voice;
    NoteAim aim;
    WarmFade fade;
    PeakChange change;
    struct {
        uint64_t marks;    /* aimed so far */
        double busy_until; /* time by which the last grain that was moved is over */
        bool wanted;
        NoteAimed aimed[PERIOD_MARKS_KEPT], now; /* by number of mark; what is heard now */
    } state;
} PitchCorrector;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    PitchCorrector *p = self;
    p->rate_hz = rate_hz;
    p->ahead = AHEAD_MS * 1e-3 * rate_hz;
    p->rest = REST_MS * 1e-3 * rate_hz;
    note_aim_prepare(&p->aim, rate_hz);
    warm_fade_prepare(&p->fade, 0.0, FADE_MS, rate_hz);
    peak_change_prepare(&p->change, rate_hz, channels);
    return psola_source_prepare(&p->source, rate_hz, channels, 0.0, arena);
}

static void reset(void *self) {
    PitchCorrector *p = self;
    psola_source_reset(&p->source);
    psola_voice_reset(&p->voice);
    note_aim_reset(&p->aim);
    warm_fade_reset(&p->fade);
    peak_change_reset(&p->change);
    memset(&p->state, 0, sizeof p->state);
    p->state.busy_until = -INFINITY;
}

static void set(void *self, const float *control) {
    PitchCorrector *p = self;
    note_aim_set(&p->aim, &(NoteAimParams){
                              .scale = {(int)control[KEY], (ScaleKind)(int)control[SCALE]},
                              .tuning_hz = control[TUNING],
                              .strength = 0.01f * control[STRENGTH],
                              .glide_ms = control[GLIDE],
                              .vibrato = 0.01f * control[VIBRATO],
                              .leave = 0.01f * control[LEAVE],
                              .target = control[TARGET],
                              .arrival_ms = ARRIVAL_MS,
                          });
    p->formant = exp2((double)control[FORMANT] / 12.0);
    period_marks_set_range(&p->source.marks, (double)control[LOWEST], (double)control[HIGHEST]);
}

static void aim_new_marks(PitchCorrector *p) {
    for (; p->state.marks < period_marks_count(&p->source.marks); p->state.marks++) {
        const PeriodMark *mark = period_mark(&p->source.marks, p->state.marks);
        p->state.aimed[p->state.marks % PERIOD_MARKS_KEPT] =
            note_aim_step(&p->aim, mark->period, mark->likeness, mark->first);
    }
}

/* What is drawn in at a later period of the same run: so much the tracker knows ahead. */
static float drawn_ahead(const PitchCorrector *p, uint64_t mark) {
    const double until = period_mark(&p->source.marks, mark)->at + p->ahead;
    while (mark + 1 < p->state.marks && !period_mark(&p->source.marks, mark)->last &&
           !period_mark(&p->source.marks, mark + 1)->first &&
           period_mark(&p->source.marks, mark + 1)->at <= until)
        mark++;
    return p->state.aimed[mark % PERIOD_MARKS_KEPT].drawn;
}

/* The ratio of the grain that is due, and whether dry would do as well. Where nothing is left to
 * correct the periods are the take's own, but set down some part of a period beside where they
 * were: they are led back by CREEP of a period each, 2.6 cents, since a crossfade with dry would be
 * heard as long as they do not agree. */
static double ratio_of(const PitchCorrector *p, float semitones, bool *moved) {
    double behind = psola_voice_behind(&p->voice, &p->source);
    *moved = fabsf(semitones) >= LEAST || fabs(behind) > APART;
    if (fabsf(semitones) >= LEAST || fabs(behind) <= APART)
        return (double)decibel_fast_exp2(semitones * (1.0f / 12.0f));
    return 1.0 + fmax(-CREEP, fmin(CREEP, behind));
}

/* At the end of a tick: the grains of the next. */
static void plan(PitchCorrector *p) {
    const double now = (double)psola_source_now(&p->source);
    uint64_t mark;
    aim_new_marks(p);
    while (psola_voice_wants(&p->voice, &p->source, 0.0, &mark)) {
        p->state.now = p->state.aimed[mark % PERIOD_MARKS_KEPT];
        float semitones = note_aim_correction(&p->aim, &p->state.now, drawn_ahead(p, mark));
        if (!warm_fade_runs(&p->fade, p->state.wanted))
            psola_voice_align(&p->voice, &p->source);
        bool moved;
        double ratio = ratio_of(p, semitones, &moved);
        if (moved)
            p->state.busy_until = period_mark(&p->source.marks, mark)->at + p->rest;
        psola_voice_add(&p->voice, &p->source, 0.0, ratio, p->formant);
    }
    p->state.wanted = p->formant != 1.0 || now < p->state.busy_until;
    if (!p->voice.state.in_run)
        p->state.now = (NoteAimed){0};
}

typedef struct {
    float grains[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];
    float cover[PLUGIN_CHUNK], weight[PLUGIN_CHUNK];
} Paths;

static void run_paths(PitchCorrector *p, const Io *io, Paths *paths, size_t at, size_t n) {
    float *const grains[] = {paths->grains[0], paths->grains[1]};
    bool runs = warm_fade_runs(&p->fade, p->state.wanted);
    for (unsigned c = 0; c < io->channels && runs; c++)
        memset(paths->grains[c] + at, 0, n * sizeof(float));
    psola_voice_process(&p->voice, &p->source, 0, runs ? grains : NULL, paths->cover, at, n);
    warm_fade_process(&p->fade, p->state.wanted, paths->weight + at, n);
    if (psola_source_hear(&p->source, io->in, at, n))
        plan(p);
}

static void mix(const Io *io, const Paths *paths, unsigned c) {
    for (size_t i = 0; i < io->n; i++) {
        float dry = io->dry[c][i], weight = paths->weight[i], moved = dry;
        if (weight > 0.0f && paths->cover[i] > 0.0f) {
            moved = psola_heard(dry, paths->grains[c][i], paths->cover[i]);
            moved = dry + weight * (moved - dry);
        }
        io->out[c][i] = moved;
    }
}

static void process(void *self, const Io *io) {
    PitchCorrector *p = self;
    Paths paths;
    for (size_t at = 0, n; at < io->n; at += n) {
        n = psola_source_room(&p->source);
        n = n < io->n - at ? n : io->n - at;
        run_paths(p, io, &paths, at, n);
    }
    for (unsigned c = 0; c < io->channels; c++)
        mix(io, &paths, c);
    const NoteAimed *now = &p->state.now;
    float off = now->aim > 0.0f ? 100.0f * (now->centre - now->aim) : 0.0f;
    io->meter[PITCH] = fmaxf(0.0f, fminf(127.0f, now->note));
    io->meter[ERROR] = fmaxf(-100.0f, fminf(100.0f, off));
    *io->reduction_db =
        peak_change_process(&p->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

static size_t latency(const void *self, const float *control) {
    const PitchCorrector *p = self;
    (void)control;
    return psola_source_latency(p->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "pitch-corrector",
    .name = "Pitch Corrector",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .may = PLUGIN_NEW_SOUND,
    .state_size = sizeof(PitchCorrector),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
