/* SPDX-License-Identifier: ISC */
/* room-cut: three bells for what the room adds, and a shelf for air.
 *
 *     in -> bell 1 -> bell 2 -> bell 3 -> air -> out
 *
 * The filters follow the analogue ones up to the top of the band, have no latency and are minimum
 * phase. What stands at 0 dB is left out: at the defaults the input passes bit for bit. */
#include "basic/decibel.h"
#include "filter/eq_sections.h"
#include "filter/matched.h"
#include "plugin.h"

#include <math.h>

enum { BELLS = 3, AIR_SECTION = BELLS };
enum { FREQ_1, FREQ_2, FREQ_3, GAIN_1, GAIN_2, GAIN_3, WIDTH_1, WIDTH_2, WIDTH_3 };
enum { AIR = WIDTH_3 + 1, AIR_FREQ, N_CONTROLS };

/* How long the level lost is averaged over. */
static const double METER_MS = 100.0;

#define BELL_FREQ(number, hz)                                                                      \
    {                                                                                              \
        .symbol = "freq_" number, .group = "Bell " number, .name = "Frequency " number,            \
        .doc = "Centre of bell " number ".", .minimum = 60.0f, .initial = (hz),                    \
        .maximum = 3000.0f, .unit = UNIT_HZ, .kind = PORT_LOGARITHMIC                              \
    }
#define BELL_GAIN(number)                                                                          \
    {                                                                                              \
        .symbol = "gain_" number, .group = "Bell " number, .name = "Gain " number,                 \
        .doc = "Gain at the centre of bell " number ". Below 0 cuts; at 0 the bell is left out.",  \
        .minimum = -15.0f, .initial = 0.0f, .maximum = 6.0f, .unit = UNIT_DB                       \
    }
#define BELL_WIDTH(number)                                                                         \
    {                                                                                              \
        .symbol = "width_" number, .group = "Bell " number, .name = "Width " number,               \
        .doc = "Octaves over which bell " number " does at least half of its gain. 0.7 is a Q "    \
               "of 2, 0.35 one of 4.",                                                             \
        .minimum = 0.1f, .initial = 0.7f, .maximum = 3.0f, .unit = UNIT_OCTAVES,                   \
        .kind = PORT_LOGARITHMIC                                                                   \
    }

static const PortSpec CONTROLS[N_CONTROLS] = {
    [FREQ_1] = BELL_FREQ("1", 250.0f),
    [FREQ_2] = BELL_FREQ("2", 400.0f),
    [FREQ_3] = BELL_FREQ("3", 800.0f),
    [GAIN_1] = BELL_GAIN("1"),
    [GAIN_2] = BELL_GAIN("2"),
    [GAIN_3] = BELL_GAIN("3"),
    [WIDTH_1] = BELL_WIDTH("1"),
    [WIDTH_2] = BELL_WIDTH("2"),
    [WIDTH_3] = BELL_WIDTH("3"),
    [AIR] = {.symbol = "air",
             .group = "Air",
             .name = "Air",
             .doc = "Gain of everything far above the air frequency. At 0 the shelf is left out.",
             .minimum = -6.0f,
             .initial = 0.0f,
             .maximum = 9.0f,
             .unit = UNIT_DB},
    [AIR_FREQ] = {.symbol = "air_freq",
                  .group = "Air",
                  .name = "Air frequency",
                  .doc = "Where the shelf has half of its gain. Higher lets in more of the "
                         "breath of a voice and less of its sibilants.",
                  .minimum = 4000.0f,
                  .initial = 10000.0f,
                  .maximum = 16000.0f,
                  .unit = UNIT_HZ,
                  .kind = PORT_LOGARITHMIC},
};

typedef struct {
    double rate_hz;
    size_t meter_frames;
    EqSections eq;
    float control[N_CONTROLS]; /* as last set */
    struct {
        size_t at;     /* frames of the sums */
        float in, out; /* energy */
        float lost_db; /* of the last whole sum */
    } state;
} RoomCut;

static void reset(void *self) {
    RoomCut *r = self;
    eq_sections_reset(&r->eq);
    r->state.at = 0;
    r->state.in = r->state.out = r->state.lost_db = 0.0f;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    RoomCut *r = self;
    (void)channels, (void)arena;
    r->rate_hz = rate_hz;
    r->meter_frames = (size_t)lrint(METER_MS * 1e-3 * rate_hz);
    eq_sections_prepare(&r->eq, rate_hz);
    for (int i = 0; i < N_CONTROLS; i++)
        r->control[i] = CONTROLS[i].initial;
    reset(r);
    return true;
}

/* Whether one of these controls has another value than at the last set. */
static bool changed(const RoomCut *r, const float *control, const int *which, size_t n) {
    bool other = false;
    for (size_t i = 0; i < n; i++)
        other |= control[which[i]] != r->control[which[i]];
    return other;
}

static void set_bell(RoomCut *r, const float *control, int bell) {
    const int mine[] = {FREQ_1 + bell, GAIN_1 + bell, WIDTH_1 + bell};
    if (!changed(r, control, mine, 3))
        return;
    double gain_db = (double)control[mine[1]];
    Matched filter = matched_bell(r->rate_hz, (double)control[mine[0]],
                                  matched_q((double)control[mine[2]]), gain_db);
    eq_sections_aim(&r->eq, (unsigned)bell, gain_db != 0.0 ? &filter : NULL);
}

static void set_air(RoomCut *r, const float *control) {
    const int mine[] = {AIR, AIR_FREQ};
    if (!changed(r, control, mine, 2))
        return;
    double gain_db = (double)control[AIR];
    Matched filter = matched_high_shelf(r->rate_hz, (double)control[AIR_FREQ], gain_db);
    eq_sections_aim(&r->eq, AIR_SECTION, gain_db != 0.0 ? &filter : NULL);
}

static void set(void *self, const float *control) {
    RoomCut *r = self;
    for (int bell = 0; bell < BELLS; bell++)
        set_bell(r, control, bell);
    set_air(r, control);
    for (int i = 0; i < N_CONTROLS; i++)
        r->control[i] = control[i];
}

/* The level lost over each METER_MS, of both channels together. */
static void measure(RoomCut *r, const float *const *in, float *const *out, size_t n) {
    const float *in0 = in[0], *in1 = in[1], *out0 = out[0], *out1 = out[1];
    for (size_t i = 0; i < n; i++) {
        r->state.in += in0[i] * in0[i] + in1[i] * in1[i];
        r->state.out += out0[i] * out0[i] + out1[i] * out1[i];
        if (++r->state.at < r->meter_frames)
            continue;
        float lost = decibel_from_power(r->state.in) - decibel_from_power(r->state.out);
        r->state.lost_db = lost > 0.0f ? lost : 0.0f;
        r->state.at = 0;
        r->state.in = r->state.out = 0.0f;
    }
}

static void process(void *self, const Io *io) {
    RoomCut *r = self;
    const unsigned right = io->channels - 1;
    const float *in[EQ_CHANNELS] = {io->dry[0], io->dry[right]};
    float *out[EQ_CHANNELS] = {io->out[0], io->out[right]};
    *io->reduction_db = r->state.lost_db;
    eq_sections_process(&r->eq, in, out, io->n);
    measure(r, in, out, io->n);
    *io->reduction_db = fmaxf(*io->reduction_db, r->state.lost_db);
}

const PluginSpec plugin_spec = {
    .id = "room-cut",
    .name = "Room Cut",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .most_gain_db = 3.0f * 6.0f + 9.0f, /* three bells and the air, should they meet */
    .state_size = sizeof(RoomCut),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
