/* SPDX-License-Identifier: ISC */
/* phrase-leveller: rides the level of a take phrase by phrase, before any compressor.
 *
 *     in -> listener -> scene -> what sounds ------------------+-> gain_hold -> may the gain move?
 *     in -> k_weight, of each channel -> power of the hop -> phrase_level -> level, average
 *     strength trust (target - level) within +-range -> gain_slew -> gain -> gain_line on the dry
 *     signal; trust in an average that few words made is small
 *
 * Everything but the filters runs once a hop of 5.33 ms. The gain is applied 200 ms late, so that
 * it moves ahead of what it answers to; the latency is a whole number of hops. */
#include "basic/decibel.h"
#include "basic/maths.h"
#include "detect/gain_hold.h"
#include "filter/k_weight.h"
#include "gain/gain_line.h"
#include "gain/gain_slew.h"
#include "plugin.h"
#include "voice/listener.h"
#include "voice/phrase_level.h"
#include "voice/scene.h"

static const double LOOK_AHEAD_S = 0.2;
/* Of a moment's `counts`: what counts not at all for a phrase, and wholly. */
static const float HARDLY_SUNG = 0.25f, SUNG = 0.75f;
static const SceneParams SCENE = {.sensitivity_db = 0.0f, .shortest_breath_ms = 100.0f};
/* What lies so far under a target, twice the most that it could be raised by, is no phrase: before
 * the voice is known noise may pass for one. */
static const float NO_PHRASE_DB = 24.0f;
/* How much of a phrase is remembered, in paces, and its bounds. */
static const double MEMORY_PACES = 15.0, SHORTEST_MEMORY_MS = 1000.0, LONGEST_MEMORY_MS = 10000.0;

enum { TARGET, HOLD_AVERAGE, RANGE, PACE, STRENGTH, GAP_GAIN_HOLD, CONTROLS };
enum { GAIN, LEVEL, METERS };

static const PortSpec CONTROL[CONTROLS] = {
    [TARGET] =
        {.symbol = "target",
         .name = "Target",
         .doc =
             "Loudness that phrases are brought to, in LUFS, with Keep average level off. Higher "
             "is louder; what lies over 24 dB under it counts as noise and is left alone.",
         .minimum = -40.0f,
         .initial = -20.0f,
         .maximum = -6.0f,
         .group = "Goal",
         .unit = UNIT_DB},
    [HOLD_AVERAGE] =
        {.symbol = "hold_average",
         .name = "Keep average level",
         .doc = "On: phrases go to the take's own average so far, so the take stays as loud as it "
                "is. Off: they go to Target, for a compressor that wants one known level.",
         .minimum = 0.0f,
         .initial = 1.0f,
         .maximum = 1.0f,
         .group = "Goal",
         .short_name = "Keep average",
         .kind = PORT_TOGGLE},
    [RANGE] = {.symbol = "range",
               .name = "Range",
               .doc = "The most that the gain moves up or down. Turn it up when phrases still lie "
                      "far apart, down when noise comes up with the quiet ones.",
               .minimum = 0.0f,
               .initial = 4.0f,
               .maximum = 12.0f,
               .group = "Gain",
               .unit = UNIT_DB},
    [PACE] = {.symbol = "pace",
              .name = "Pace",
              .doc = "How fast the gain moves: 12 dB a second at 300 ms, half that at 600 ms. "
                     "Short follows words, long only phrases; shorten it when phrases start too "
                     "loud or too soft.",
              .minimum = 50.0f,
              .initial = 300.0f,
              .maximum = 2000.0f,
              .group = "Gain",
              .unit = UNIT_MS,
              .kind = PORT_LOGARITHMIC},
    [STRENGTH] = {.symbol = "strength",
                  .name = "Strength",
                  .doc = "How much of the difference in loudness is taken away: 0 % none, 100 % "
                         "all that Range allows. Turn it down to keep more of the performance.",
                  .minimum = 0.0f,
                  .initial = 70.0f,
                  .maximum = 100.0f,
                  .group = "Gain",
                  .unit = UNIT_PERCENT},
    [GAP_GAIN_HOLD] =
        {.symbol = "gap_freeze",
         .name = "Hold gain in gaps",
         .doc = "On: the gain stands still in gaps, breaths and hiss, and moves again just before "
                "the next phrase. Off: it finishes its move there, and may lift breaths and noise.",
         .minimum = 0.0f,
         .initial = 1.0f,
         .maximum = 1.0f,
         .group = "Gain",
         .short_name = "Hold in gaps",
         .kind = PORT_TOGGLE},
};

static const PortSpec METER[METERS] = {
    [GAIN] = {.symbol = "gain",
              .name = "Gain",
              .doc = "Gain of what leaves the plugin now.",
              .minimum = -12.0f,
              .maximum = 12.0f,
              .unit = UNIT_DB},
    [LEVEL] = {.symbol = "level",
               .name = "Phrase loudness",
               .doc =
                   "Loudness of the phrase that comes in, in LUFS; in a gap, that of the last one.",
               .minimum = -80.0f,
               .initial = -80.0f,
               .maximum = 6.0f,
               .unit = UNIT_DB},
};

typedef struct {
    Listener listener;
    KWeight k_weight[PLUGIN_MAX_CHANNELS];
    Scene scene;
    PhraseLevel level;
    GainHold hold;
    GainSlew slew;
    GainLine line;
    size_t latency; /* frames */
    bool hold_average, gap_freeze;
    float target_db, range_db, strength;
    double power[PLUGIN_MAX_CHANNELS];   /* K-weighted, of this hop so far */
    float recent[VOICE_SENSE_DELAY + 1]; /* of the last hops, oldest first */
} PhraseLeveller;

static void reset(void *self) {
    PhraseLeveller *p = self;
    listener_reset(&p->listener);
    for (int c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        k_weight_reset(&p->k_weight[c]);
    scene_reset(&p->scene);
    phrase_level_reset(&p->level);
    gain_hold_reset(&p->hold);
    gain_slew_reset(&p->slew);
    gain_line_reset(&p->line);
    p->power[0] = p->power[1] = 0.0;
    for (int i = 0; i <= VOICE_SENSE_DELAY; i++)
        p->recent[i] = 0.0f;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    PhraseLeveller *p = self;
    (void)channels;
    (void)arena;
    listener_prepare(&p->listener, rate_hz);
    size_t hop = p->listener.sense.hop;
    double hops_per_second = rate_hz / (double)hop;
    size_t ahead = (size_t)(LOOK_AHEAD_S * hops_per_second);
    p->latency = ahead * hop;
    for (int c = 0; c < PLUGIN_MAX_CHANNELS; c++)
        k_weight_prepare(&p->k_weight[c], rate_hz);
    scene_prepare(&p->scene, rate_hz, hops_per_second);
    scene_set(&p->scene, &SCENE);
    phrase_level_prepare(&p->level, hops_per_second);
    /* A gain is reached one hop after it was found, from what was heard VOICE_SENSE_DELAY ago. */
    gain_hold_prepare(&p->hold, ahead - 1 - VOICE_SENSE_DELAY, scene_late(hops_per_second, &SCENE));
    gain_slew_prepare(&p->slew, hops_per_second);
    gain_line_prepare(&p->line, hop);
    reset(p);
    return true;
}

static void set(void *self, const float *control) {
    PhraseLeveller *p = self;
    p->target_db = control[TARGET];
    p->hold_average = control[HOLD_AVERAGE] > 0.0f;
    p->range_db = control[RANGE];
    p->strength = control[STRENGTH] / 100.0f;
    p->gap_freeze = control[GAP_GAIN_HOLD] > 0.0f;
    double memory_ms = MEMORY_PACES * (double)control[PACE];
    memory_ms = memory_ms < SHORTEST_MEMORY_MS ? SHORTEST_MEMORY_MS : memory_ms;
    memory_ms = memory_ms > LONGEST_MEMORY_MS ? LONGEST_MEMORY_MS : memory_ms;
    phrase_level_set(&p->level, memory_ms);
    gain_slew_set(&p->slew, (double)control[PACE]);
}

static void add_power(PhraseLeveller *p, const Io *io, size_t at, size_t n) {
    float weighted[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK];
    if (io->channels == 2)
        k_weight_process_two(p->k_weight, (const float *const[]){io->in[0] + at, io->in[1] + at},
                             (float *const[]){weighted[0], weighted[1]}, n);
    else
        k_weight_process(&p->k_weight[0], io->in[0] + at, weighted[0], n);
    for (unsigned c = 0; c < io->channels; c++)
        for (size_t i = 0; i < n; i++)
            p->power[c] += (double)weighted[c][i] * (double)weighted[c][i];
}

/* The K-weighted power of the hop that voice_sense now tells of. */
static float hop_power(PhraseLeveller *p) {
    for (int i = 0; i < VOICE_SENSE_DELAY; i++)
        p->recent[i] = p->recent[i + 1];
    p->recent[VOICE_SENSE_DELAY] = (float)((p->power[0] + p->power[1]) / (double)p->line.hop);
    p->power[0] = p->power[1] = 0.0;
    return p->recent[0];
}

static float wished_gain(const PhraseLeveller *p) {
    if (!phrase_level_known(&p->level))
        return 0.0f;
    float target = p->hold_average ? phrase_level_average(&p->level) : p->target_db;
    float under_db = target - phrase_level_now(&p->level);
    if (!p->hold_average && under_db > NO_PHRASE_DB)
        return 0.0f;
    float wish = p->strength * under_db;
    if (p->hold_average)
        wish *= phrase_level_trust(&p->level);
    wish = wish > p->range_db ? p->range_db : wish;
    return wish < -p->range_db ? -p->range_db : wish;
}

static void finish_hop(PhraseLeveller *p, const VoiceFrame *frame) {
    SceneMoment moment;
    scene_step(&p->scene, frame, &moment);
    float counts = maths_ramp(moment.counts, HARDLY_SUNG, SUNG);
    phrase_level_step(&p->level, hop_power(p), counts);
    bool may_move = gain_hold_step(&p->hold, &moment) || !p->gap_freeze;
    float gain_db = gain_slew_step(&p->slew, wished_gain(p), may_move);
    gain_line_next(&p->line, decibel_fast_gain(gain_db));
}

static float reduction_db(const PhraseLeveller *p) {
    return p->slew.state.gain_db < 0.0f ? -p->slew.state.gain_db : 0.0f;
}

static void process(void *self, const Io *io) {
    PhraseLeveller *p = self;
    *io->reduction_db = reduction_db(p);
    for (size_t at = 0; at < io->n;) {
        size_t n = listener_room(&p->listener);
        n = n < io->n - at ? n : io->n - at;
        VoiceFrame frame;
        gain_line_apply(&p->line, io->dry, io->out, io->channels, at, n);
        add_power(p, io, at, n);
        if (listener_hear(&p->listener, io->in, io->channels, at, n, &frame))
            finish_hop(p, &frame);
        float reduction = reduction_db(p);
        *io->reduction_db = reduction > *io->reduction_db ? reduction : *io->reduction_db;
        at += n;
    }
    io->meter[GAIN] = p->slew.state.gain_db;
    io->meter[LEVEL] = phrase_level_now(&p->level);
}

static size_t latency(const void *self, const float *control) {
    (void)control;
    return ((const PhraseLeveller *)self)->latency;
}

const PluginSpec plugin_spec = {
    .id = "phrase-leveller",
    .name = "Phrase Leveller",
    .controls = CONTROL,
    .n_controls = CONTROLS,
    .meters = METER,
    .n_meters = METERS,
    .most_reduction_db = 12.0f,
    .state_size = sizeof(PhraseLeveller),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
