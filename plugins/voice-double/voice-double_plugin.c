/* SPDX-License-Identifier: ISC */
/* voice-double: one to four more takes of the same words, made from the one there is, left and
 * right of it.
 *
 *     in, its middle -> source: past sound and period marks -> voices, each off in pitch and time -> placed left to right
 *                    -> where it hisses, what takes it down ^
 *     -> low cut -> blended with dry
 *
 * Each voice wanders by itself, so that no two sides are alike. All of it is movement of its delay
 * (double_voice.h, by_delay): periods are marked for the formants alone, and where marks fall moves
 * no beat. Latency: that of the source; voices come later still. */
#include "basic/maths.h"
#include "filter/edge_filter.h"
#include "gain/dry_wet.h"
#include "gain/glide.h"
#include "gain/hiss_duck.h"
#include "gain/peak_change.h"
#include "plugin.h"
#include "sound/double_voice.h"
#include "sound/psola.h"

#include <math.h>
#include <string.h>

enum { VOICES, DETUNE, DELAY, DRIFT, FORMANT, WIDTH, BLEND, N_CONTROLS };
enum { MOST_VOICES = 4 };

static const double GLIDE_MS = 20.0, LOW_CUT_HZ = 120.0;

/* What each voice has of what is set. The second pair stands between lead and first pair. */
static const struct {
    double detune, delay, formant;
    uint64_t seed, turns; /* turns: of two that change over together */
} OWN[MOST_VOICES] = {{1.0, 0.8, 1.0, 101, 1},
                      {-1.0, 1.2, -1.0, 202, 1},
                      {0.5, 1.3, -0.5, 303, 2},
                      {-0.5, 0.65, 0.5, 404, 2}};

/* Where each of one to four voices stands, -1 left to 1 right. */
static const double PLACE[MOST_VOICES][MOST_VOICES] = {
    {0.0}, {-1.0, 1.0}, {-1.0, 1.0, 0.0}, {-1.0, 1.0, 0.5, -0.5}};

static const PortSpec CONTROLS[N_CONTROLS] = {
    [VOICES] = {.symbol = "voices",
                .name = "Voices",
                .group = "Voices",
                .doc = "How many more singers there are. Two stand left and right; the third comes "
                       "to the middle, and of four two stand half way out.",
                .minimum = 1.0f,
                .initial = 2.0f,
                .maximum = (float)MOST_VOICES,
                .kind = PORT_INTEGER},
    [DETUNE] = {.symbol = "detune",
                .name = "Detune",
                .group = "Apart",
                .doc = "How many cents the outer voices are off the lead, one above, one below; "
                       "they change sides every second or two. Under 5 they merge with it, over "
                       "20 they sound like a crowd.",
                .initial = 9.0f,
                .maximum = 50.0f,
                .unit = UNIT_CENTS},
    [DELAY] = {.symbol = "delay",
               .name = "Delay",
               .group = "Apart",
               .doc = "How much later than the lead they sing; one side a fifth earlier, the other "
                      "a fifth later than this. Over 35 ms they are heard as echoes.",
               .initial = 24.0f,
               .maximum = 60.0f,
               .unit = UNIT_MS},
    [DRIFT] = {.symbol = "drift",
               .name = "Drift",
               .group = "Apart",
               .doc = "How far each voice wanders by itself: at 100 up to 24 cents, and from no "
                      "delay to twice as much. At 0 only Detune moves them.",
               .initial = 50.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
    [FORMANT] = {.symbol = "formant",
                 .name = "Formants",
                 .group = "Voices",
                 .doc =
                     "How many semitones the formants of one side lie over the lead's, and those "
                     "of the other under it. At 0 all are the same singer.",
                 .initial = 0.6f,
                 .maximum = 6.0f,
                 .unit = UNIT_SEMITONES},
    [WIDTH] = {.symbol = "width",
               .name = "Width",
               .group = "Output",
               .doc = "How far apart the voices stand: at 100 from side to side, at 0 all in the "
                      "middle. In the mono version it does nothing.",
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
    [BLEND] = {.symbol = "blend",
               .name = "Blend",
               .group = "Output",
               .doc = "How much of the result is doubles; the rest is the take. 100 on a bus of "
                      "their own, 25 to 40 on the lead itself.",
               .initial = 100.0f,
               .maximum = 100.0f,
               .unit = UNIT_PERCENT},
};

typedef struct {
    double rate_hz;
    unsigned channels, count; /* of voices that sing */
    PsolaSource source;       /* of one channel */
    HissDuck duck;
    DoubleVoice voice[MOST_VOICES];
    Glide level[MOST_VOICES][PLUGIN_MAX_CHANNELS];
    EdgeFilter low_cut;
    Glide blend;
    PeakChange change;
} VoiceDouble;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    VoiceDouble *d = self;
    d->rate_hz = rate_hz;
    d->channels = channels;
    if (!psola_source_prepare(&d->source, rate_hz, 1, DOUBLE_VOICE_LATEST_MS, arena))
        return false;
    hiss_duck_prepare(&d->duck, rate_hz, d->source.marks.tick);
    for (size_t k = 0; k < MOST_VOICES; k++) {
        double_voice_prepare(&d->voice[k], rate_hz, d->source.marks.tick, OWN[k].seed,
                             OWN[k].turns);
        d->voice[k].voice.nearest = true;
        for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
            glide_prepare(&d->level[k][c], GLIDE_MS, rate_hz);
    }
    edge_filter_prepare(&d->low_cut, rate_hz, channels);
    glide_prepare(&d->blend, GLIDE_MS, rate_hz);
    peak_change_prepare(&d->change, rate_hz, channels);
    return true;
}

static void reset(void *self) {
    VoiceDouble *d = self;
    psola_source_reset(&d->source);
    hiss_duck_reset(&d->duck);
    for (size_t k = 0; k < MOST_VOICES; k++) {
        double_voice_reset(&d->voice[k]);
        for (unsigned c = 0; c < PLUGIN_MAX_CHANNELS; c++)
            glide_reset(&d->level[k][c]);
    }
    edge_filter_reset(&d->low_cut);
    glide_reset(&d->blend);
    peak_change_reset(&d->change);
}

/* Each side has the power of the take, however many voices there are: what they sing has no phase
 * in common. */
static void set_levels(VoiceDouble *d, double width) {
    const double *place = PLACE[d->count - 1];
    for (size_t k = 0; k < MOST_VOICES; k++) {
        bool sings = k < d->count;
        double angle = 0.25 * PI * (1.0 + width * place[k]);
        double level = sings ? sqrt(2.0 / d->count) : 0.0;
        glide_set(&d->level[k][0], level * (d->channels == 2 ? cos(angle) : sqrt(0.5)));
        glide_set(&d->level[k][1], level * sin(angle));
    }
}

static void set(void *self, const float *control) {
    VoiceDouble *d = self;
    d->count = control[VOICES] < 2.0f ? 1 : (unsigned)control[VOICES];
    for (size_t k = 0; k < MOST_VOICES; k++)
        double_voice_set(&d->voice[k], &(DoubleVoiceParams){
                                           .detune_cents = OWN[k].detune * (double)control[DETUNE],
                                           .delay_ms = OWN[k].delay * (double)control[DELAY],
                                           .drift = 0.01 * (double)control[DRIFT],
                                           .by_delay = true,
                                           .semitones = OWN[k].formant * (double)control[FORMANT],
                                       });
    set_levels(d, 0.01 * (double)control[WIDTH]);
    edge_filter_set(&d->low_cut, &(EdgeFilterParams){.low_hz = LOW_CUT_HZ, .pairs = 1});
    glide_set(&d->blend, 0.01 * (double)control[BLEND]);
}

/* One voice, put in its place. */
static void add_voice(VoiceDouble *d, size_t k, const float *voice, float sides[][PLUGIN_CHUNK],
                      size_t at, size_t n) {
    float level[PLUGIN_CHUNK];
    for (unsigned c = 0; c < d->channels; c++) {
        glide_process(&d->level[k][c], level, n);
        for (size_t i = 0; i < n; i++)
            sides[c][at + i] += level[i] * voice[i];
    }
}

/* n frames, at most to the end of a tick, of all voices into sides[channel] + at. */
static void sing(VoiceDouble *d, const float *heard, float sides[][PLUGIN_CHUNK], size_t at,
                 size_t n) {
    float voice[PLUGIN_CHUNK], *const to[] = {voice};
    for (size_t k = 0; k < MOST_VOICES; k++) {
        bool silent = k >= d->count && glide_rests(&d->level[k][0]) && glide_rests(&d->level[k][1]);
        double_voice_process(&d->voice[k], &d->source, &d->duck, silent ? NULL : to, 0, n);
        if (!silent)
            add_voice(d, k, voice, sides, at, n);
    }
    hiss_duck_hear(&d->duck, heard + at, n);
    if (psola_source_hear(&d->source, &heard, at, n))
        for (size_t k = 0; k < MOST_VOICES; k++)
            double_voice_plan(&d->voice[k], &d->source);
}

static void process(void *self, const Io *io) {
    VoiceDouble *d = self;
    float heard[PLUGIN_CHUNK], blend[PLUGIN_CHUNK];
    float sides[PLUGIN_MAX_CHANNELS][PLUGIN_CHUNK] = {{0.0f}};
    float *const to[PLUGIN_MAX_CHANNELS] = {sides[0], sides[1]};
    maths_middle(io->in, io->channels, 0, io->n, heard);
    for (size_t at = 0, n; at < io->n; at += n) {
        n = psola_source_room(&d->source);
        n = n < io->n - at ? n : io->n - at;
        sing(d, heard, sides, at, n);
    }
    edge_filter_process(&d->low_cut, (const float *const *)to, to, io->n);
    glide_process(&d->blend, blend, io->n);
    for (unsigned c = 0; c < io->channels; c++)
        dry_wet(io->dry[c], sides[c], blend, io->out[c], io->n);
    *io->reduction_db =
        peak_change_process(&d->change, io->dry, (const float *const *)io->out, io->n).down_db;
}

static size_t latency(const void *self, const float *control) {
    const VoiceDouble *d = self;
    (void)control;
    return psola_source_latency(d->rate_hz);
}

const PluginSpec plugin_spec = {
    .id = "voice-double",
    .name = "Voice Double",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .reduction = REDUCTION_PEAKS_LOWERED,
    .may = PLUGIN_SPREADS | PLUGIN_NEW_SOUND,
    .state_size = sizeof(VoiceDouble),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
