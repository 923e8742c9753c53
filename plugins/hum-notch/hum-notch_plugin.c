/* SPDX-License-Identifier: ISC */
/* hum-notch: takes hum of the mains out, and leaves the voice.
 *
 *     in -> room_watch -> in gaps: mains -> frequency and harmonics -> tone_cancel on in
 *
 * What hum there is, is learned in gaps: quickly adapted there, hardly while anything else sounds.
 * No look-ahead; where no hum is found the output is the input bit for bit. */
#include "basic/decibel.h"
#include "basic/one_pole.h"
#include "detect/mains.h"
#include "filter/tone_cancel.h"
#include "plugin.h"
#include "voice/room_watch.h"

enum { DEPTH, MAINS, HARMONICS, N_CONTROLS };
enum { FREQUENCY, HUM, N_METERS };

/* Time constants of the notches: in a gap, and while a voice sounds, when one that held a
 * harmonic's frequency exactly for a second would lose 0.4 dB of it. */
static const double GAP_MS = 250.0, VOICE_MS = 20000.0;
static const double METER_MS = 100.0;

static const ScalePoint MAINS_POINTS[] = {
    {0.0f, "Whichever is found"}, {50.0f, "50 Hz"}, {60.0f, "60 Hz"}};

static const PortSpec CONTROLS[N_CONTROLS] = {
    [DEPTH] = {.symbol = "depth",
               .name = "Depth",
               .doc = "How far down the hum goes. At 0 nothing is done.",
               .minimum = 0.0f,
               .initial = 40.0f,
               .maximum = 60.0f,
               .unit = UNIT_DB},
    [MAINS] = {.symbol = "mains",
               .name = "Mains",
               .doc = "The frequency of the mains where the take was made. It is followed half a "
                      "hertz up and down. When it is given, work begins before the first gap.",
               .minimum = 0.0f,
               .initial = 0.0f,
               .maximum = 60.0f,
               .kind = PORT_ENUMERATION,
               .points = MAINS_POINTS,
               .n_points = sizeof MAINS_POINTS / sizeof *MAINS_POINTS},
    [HARMONICS] = {.symbol = "harmonics",
                   .name = "Harmonics",
                   .doc = "How many harmonics are looked for, the fundamental with them. Only "
                          "those that stand out of the room are taken down.",
                   .minimum = 1.0f,
                   .initial = 12.0f,
                   .maximum = MAINS_HARMONICS,
                   .kind = PORT_INTEGER},
};

static const PortSpec METERS[N_METERS] = {
    [FREQUENCY] = {.symbol = "frequency",
                   .name = "Frequency",
                   .doc = "Of the mains as found; 0 when there is no hum.",
                   .minimum = 0.0f,
                   .maximum = 61.0f,
                   .unit = UNIT_HZ},
    [HUM] = {.symbol = "hum",
             .name = "Hum",
             .doc = "Level of the hum as known, re full scale.",
             .minimum = -120.0f,
             .maximum = 0.0f,
             .unit = UNIT_DB},
};

typedef struct {
    RoomWatch watch;
    Mains mains;
    ToneCancel cancel;
    double nominal_hz;
    size_t harmonics;
    float forget; /* of the meter's powers, a frame */
    bool found;
    float calm;                /* as of the last hop */
    float power_in, power_out; /* for the meter */
} HumNotch;

static void reset(void *self) {
    HumNotch *h = self;
    room_watch_reset(&h->watch);
    mains_reset(&h->mains);
    tone_cancel_reset(&h->cancel);
    h->found = false;
    h->calm = 0.0f;
    h->power_in = h->power_out = 0.0f;
}

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    HumNotch *h = self;
    room_watch_prepare(&h->watch, rate_hz);
    tone_cancel_prepare(&h->cancel, rate_hz, channels);
    h->forget = (float)one_pole_coefficient(METER_MS, rate_hz);
    h->harmonics = MAINS_HARMONICS;
    if (!mains_prepare(&h->mains, rate_hz, room_watch_heard(&h->watch), arena))
        return false;
    reset(h);
    return true;
}

static void set(void *self, const float *control) {
    HumNotch *h = self;
    h->nominal_hz = (double)control[MAINS];
    h->harmonics = (size_t)control[HARMONICS];
    tone_cancel_set(&h->cancel, control[DEPTH]);
}

/* What both channels have in common is what hum is looked for in. */
static void mix(const Io *io, float *mono) {
    const float *left = io->in[0], *right = io->in[io->channels - 1];
    for (size_t i = 0; i < io->n; i++)
        mono[i] = 0.5f * (left[i] + right[i]);
}

/* A word that begins is heard late, and what it did to the tones is taken back; by as much as calm
 * is lost, so that a moment that is a word by half is undone by half. A gap too short to learn in
 * brings back what was known in the one before it. */
static void take_back(HumNotch *h, float calm) {
    if (calm < h->calm)
        tone_cancel_recall(&h->cancel, 1.0f - calm / h->calm);
    h->calm = calm;
    if (calm > 0.0f)
        tone_cancel_keep(&h->cancel);
}

static double time_constant_ms(float calm) {
    return 1.0 / ((double)calm / GAP_MS + (1.0 - (double)calm) / VOICE_MS);
}

/* Once a hop of room_watch. What the user says of the mains is believed until gaps have told which
 * harmonics there are. */
static void adapt(HumNotch *h) {
    float share[TONE_CANCEL_TONES] = {0.0f}, most[TONE_CANCEL_TONES] = {0.0f};
    const MainsSeries *series = mains_found(&h->mains, h->nominal_hz);
    bool believed = h->nominal_hz > 0.0 && !mains_judged(&h->mains);
    double hz = series ? series->hz : h->nominal_hz;
    h->found = series != NULL || believed;
    if (h->found && hz != h->cancel.base_hz)
        tone_cancel_aim(&h->cancel, hz);
    for (size_t k = 0; k < h->harmonics; k++)
        share[k] = believed ? 1.0f : series ? mains_sure(series, k) : 0.0f;
    for (size_t k = 0; k < TONE_CANCEL_TONES; k++)
        most[k] = mains_most(&h->mains, hz, k);
    float calm = room_watch_low_calm(&h->watch);
    take_back(h, calm);
    tone_cancel_adapt(&h->cancel, share, time_constant_ms(calm));
    tone_cancel_limit(&h->cancel, most);
}

/* By how much the level of the last METER_MS had fallen, dB: the most of this stretch, so that it
 * does not matter how stretches are cut. */
static float level_lost(HumNotch *h, const Io *io) {
    float most = 1.0f;
    for (size_t i = 0; i < io->n; i++) {
        float in = 0.0f, out = 0.0f;
        for (unsigned c = 0; c < io->channels; c++) {
            in += io->in[c][i] * io->in[c][i];
            out += io->out[c][i] * io->out[c][i];
        }
        h->power_in = one_pole_step(h->power_in, in, h->forget);
        h->power_out = one_pole_step(h->power_out, out, h->forget);
        float ratio = (h->power_in + DECIBEL_POWER_FLOOR) / (h->power_out + DECIBEL_POWER_FLOOR);
        most = ratio > most ? ratio : most;
    }
    return most > 1.0f ? decibel_from_power(most) : 0.0f;
}

static void process(void *self, const Io *io) {
    HumNotch *h = self;
    float mono[PLUGIN_CHUNK];
    mix(io, mono);
    for (size_t at = 0; at < io->n;) {
        size_t n = io->n - at, group = room_watch_room(&h->watch);
        n = n < group ? n : group;
        const float *in[PLUGIN_MAX_CHANNELS];
        float *out[PLUGIN_MAX_CHANNELS];
        for (unsigned c = 0; c < io->channels; c++) {
            in[c] = io->dry[c] + at;
            out[c] = io->out[c] + at;
        }
        tone_cancel_process(&h->cancel, in, out, n);
        mains_process(&h->mains, mono + at, n, room_watch_low_quiet(&h->watch));
        if (room_watch_hear(&h->watch, io->in, io->channels, at, n))
            adapt(h);
        at += n;
    }
    io->meter[FREQUENCY] = h->found ? (float)h->cancel.base_hz : 0.0f;
    io->meter[HUM] = decibel_from_power(tone_cancel_power(&h->cancel));
    *io->reduction_db = level_lost(h, io);
}

const PluginSpec plugin_spec = {
    .id = "hum-notch",
    .name = "Hum Notch",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .state_size = sizeof(HumNotch),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = plugin_no_latency,
};
