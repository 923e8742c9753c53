/* SPDX-License-Identifier: ISC */
/* de-esser: takes sibilants down by how far they stand over the singer's own vowels.
 *
 *     in -> band and voice powers -+-> ratio to the vowels lately -> law, attack, release -+
 *                                  '-> centre and spread ----------------------------------+
 *     dry ------------------------------------------------------------------------> cut <--+--> out
 *
 * No absolute level is known to any of these, so that a gain before the plugin is a gain after it.
 * The take is delayed by what the detectors need to see a sibilant whole, so that the cut stands
 * when it begins. */
#include "detect/sibilance.h"
#include "filter/band_cut.h"
#include "filter/band_ratio.h"
#include "filter/spectral_centre.h"
#include "gain/sibilance_gain.h"
#include "plugin.h"

#include <math.h>
#include <string.h>

enum { BAND_LOW, BAND_HIGH, RATIO, STRENGTH, RANGE, ATTACK, RELEASE, N_CONTROLS };
enum { SIBILANCE, CENTRE, N_METERS };

/* /s/ lies 11.0 dB under the vowel (Jongman, Wayland and Wong, JASA 108(3), 2000); 1.2 dB more in
 * the band from 4.5 to 12 kHz alone (by the poles and the zero of Heinz and Stevens, JASA 33, 1961,
 * as tests/singer.c makes them); 2 dB more against the remembered level, which leans to the louder
 * vowels. The threshold lies 1.25 dB under that, -15.45, rounded: by the law of sibilance_gain.h an
 * ordinary /s/ is then left alone, and one that is 10 dB too hot loses 8.6 dB. */
#define DEFAULT_RATIO_DB (-15.5f)

static const PortSpec CONTROLS[N_CONTROLS] = {
    [BAND_LOW] = {.symbol = "band_low",
                  .name = "Band low",
                  .doc = "Bottom of the band in which sibilants are looked for. Lower it to catch "
                         "/sh/ as well.",
                  .minimum = 2000.0f,
                  .initial = 4500.0f,
                  .maximum = 10000.0f,
                  .group = "Detection",
                  .unit = UNIT_HZ,
                  .kind = PORT_LOGARITHMIC},
    [BAND_HIGH] = {.symbol = "band_high",
                   .name = "Band high",
                   .doc = "Top of that band, at least a quarter above Band low. Raise it when "
                          "sizzle above the band gets through.",
                   .minimum = 6000.0f,
                   .initial = 12000.0f,
                   .maximum = 20000.0f,
                   .group = "Detection",
                   .unit = UNIT_HZ,
                   .kind = PORT_LOGARITHMIC},
    [RATIO] = {.symbol = "ratio",
               .name = "Threshold over vowels",
               .doc = "Cutting starts when the sibilant band rises this far over the singer's "
                      "recent vowels; how loud the take is does not matter. Lower cuts milder "
                      "sibilants: set it to what the meter Sibilance shows on a good /s/.",
               .minimum = -24.0f,
               .initial = DEFAULT_RATIO_DB,
               .maximum = 24.0f,
               .group = "Detection",
               .short_name = "Threshold",
               .unit = UNIT_DB},
    [STRENGTH] = {.symbol = "strength",
                  .name = "Strength",
                  .doc = "Share of what stands far over the threshold that is taken off; what is "
                         "just over it keeps more. At 100 % a sibilant ends at the threshold. Turn "
                         "it down when words begin to lisp.",
                  .minimum = 0.0f,
                  .initial = 80.0f,
                  .maximum = 100.0f,
                  .group = "Cut",
                  .unit = UNIT_PERCENT},
    [RANGE] = {.symbol = "range",
               .name = "Range",
               .doc = "The most that is ever cut; its last part comes slowly. Turn it up when the "
                      "worst sibilants still hurt, "
                      "down when they go dull.",
               .minimum = 0.0f,
               .initial = 10.0f,
               .maximum = 24.0f,
               .group = "Cut",
               .unit = UNIT_DB},
    [ATTACK] = {.symbol = "attack",
                .advanced = true,
                .name = "Attack",
                .doc = "How fast the cut sets in (time constant). Longer lets the edge of each "
                       "sibilant through; under 0.5 ms it acts as 0.5 ms.",
                .minimum = 0.1f,
                .initial = 1.0f,
                .maximum = 20.0f,
                .group = "Cut",
                .unit = UNIT_MS,
                .kind = PORT_LOGARITHMIC},
    [RELEASE] = {.symbol = "release",
                 .advanced = true,
                 .name = "Release",
                 .doc = "How fast the cut lets go as a sibilant dies away (time constant). Longer "
                        "is smoother; where a vowel follows, it lets go twelve times faster.",
                 .minimum = 10.0f,
                 .initial = 60.0f,
                 .maximum = 500.0f,
                 .group = "Cut",
                 .unit = UNIT_MS,
                 .kind = PORT_LOGARITHMIC},
};

static const PortSpec METERS[N_METERS] = {
    [SIBILANCE] = {.symbol = "sibilance",
                   .against = "ratio",
                   .name = "Sibilance",
                   .doc = "Level of the sibilant band over the singer's recent vowels. Cutting "
                          "starts where it passes Threshold over vowels.",
                   .minimum = -60.0f,
                   .maximum = 40.0f,
                   .unit = UNIT_DB,
                   .meter = METER_HELD},
    [CENTRE] = {.symbol = "centre",
                .name = "Centre",
                .doc = "Where the energy of the band is centred; the cut follows it.",
                .minimum = 1000.0f,
                .maximum = 20000.0f,
                .unit = UNIT_HZ},
};

/* From under the lowest note to where no sibilant has its energy. Voiced and unvoiced fricatives
 * differ only below some 700..1000 Hz (Hughes and Halle, JASA 28, 1956). */
static const float VOICE_LOW_HZ = 100.0f, VOICE_HIGH_HZ = 1500.0f;
/* How long before a sibilant the cut starts to set in: what the default attack needs. */
static const double LEAD_MS = 1.5;
/* The cut reaches from 2.75 deviations under the centre to 4.25 over it, so that its flat part
 * holds the sibilant: there is little under its lowest resonance, and a long tail above. */
static const float BELOW = 4.0f, ABOVE = 5.0f;

typedef struct {
    double rate_hz;
    size_t latency;
    BandRatio bands;
    Sibilance sibilance;
    SpectralCentre centre;
    SibilanceGain gain;
    BandCut cut;
    struct {
        float reduction_db; /* where the line of this hop leads */
        float largest_db;   /* on that line */
        float ratio_db, g;  /* for the meters */
        size_t idle;        /* hops since the ratio was exceeded */
    } state;
} DeEsser;

static bool prepare(void *self, double rate_hz, unsigned channels, Arena *arena) {
    DeEsser *d = self;
    (void)channels;
    d->rate_hz = rate_hz;
    band_ratio_prepare(&d->bands, rate_hz);
    double steps = d->bands.hop_rate;
    spectral_centre_prepare(&d->centre, steps);
    sibilance_gain_prepare(&d->gain, steps);
    if (!sibilance_prepare(&d->sibilance, steps, arena))
        return false;
    /* What is found out at the end of one hop is reached at the end of the next. */
    d->latency = band_ratio_age(&d->bands) + d->bands.hop * (sibilance_latency(&d->sibilance) + 1) +
                 (size_t)lrint(LEAD_MS * 1e-3 * rate_hz);
    return true;
}

static void reset(void *self) {
    DeEsser *d = self;
    band_ratio_reset(&d->bands);
    sibilance_reset(&d->sibilance);
    spectral_centre_reset(&d->centre);
    sibilance_gain_reset(&d->gain);
    band_cut_reset(&d->cut);
    memset(&d->state, 0, sizeof d->state);
    d->state.ratio_db = SIBILANCE_NONE_DB;
}

static void set(void *self, const float *control) {
    DeEsser *d = self;
    band_ratio_set(&d->bands, &(BandRatioParams){.band_low_hz = control[BAND_LOW],
                                                 .band_high_hz = control[BAND_HIGH],
                                                 .voice_low_hz = VOICE_LOW_HZ,
                                                 .voice_high_hz = VOICE_HIGH_HZ});
    spectral_centre_set(&d->centre, d->rate_hz, d->bands.low_hz, d->bands.high_hz);
    sibilance_set(&d->sibilance, control[RATIO], d->bands.missing_db);
    sibilance_gain_set(&d->gain, &(SibilanceGainParams){.threshold_db = control[RATIO],
                                                        .strength = 0.01f * control[STRENGTH],
                                                        .range_db = control[RANGE],
                                                        .attack_ms = control[ATTACK],
                                                        .release_ms = control[RELEASE]});
}

static void hop(DeEsser *d, const BandPowers *powers) {
    SibilanceNow now = sibilance_step(&d->sibilance, powers->band, powers->voice, powers->whole);
    CentreAndSpread centre =
        spectral_centre_step(&d->centre, powers->band, powers->slope, powers->curve);
    float reduction_db = sibilance_gain_step(&d->gain, now.lasting_db,
                                             sibilance_in_vowel(now.lasting_db), now.doubt);
    /* What is cut was over the ratio a latency ago; the edges follow from a little before that. */
    d->state.idle = now.ratio_db > d->gain.params.threshold_db ? 0 : d->state.idle + 1;
    if (reduction_db > 0.0f || d->state.reduction_db > 0.0f ||
        d->state.idle < 2 * sibilance_latency(&d->sibilance)) {
        float low, high;
        spectral_centre_edges(&d->centre, centre, BELOW, ABOVE, &low, &high);
        band_cut_aim(&d->cut, low, high, reduction_db, d->bands.hop);
    } else {
        band_cut_rest(&d->cut);
    }
    d->state.largest_db = fmaxf(reduction_db, d->state.reduction_db);
    d->state.reduction_db = reduction_db;
    d->state.ratio_db = now.ratio_db;
    d->state.g = centre.g;
}

static void process(void *self, const Io *io) {
    DeEsser *d = self;
    const unsigned right = io->channels - 1;
    float largest = 0.0f, sibilance = d->state.ratio_db;
    for (size_t at = 0; at < io->n;) {
        size_t room = band_ratio_room(&d->bands), left = io->n - at;
        size_t n = left < room ? left : room;
        const float *dry[2] = {io->dry[0] + at, io->dry[right] + at};
        float *out[2] = {io->out[0] + at, io->out[right] + at};
        band_cut_process(&d->cut, dry, out, n);
        largest = fmaxf(largest, d->state.largest_db);
        band_ratio_feed(&d->bands, io->in[0] + at, io->in[right] + at, n);
        BandPowers powers;
        if (band_ratio_hop(&d->bands, &powers))
            hop(d, &powers);
        sibilance = fmaxf(sibilance, d->state.ratio_db);
        at += n;
    }
    *io->reduction_db = largest;
    io->meter[SIBILANCE] = sibilance;
    /* of what is cut; with nothing to cut it has no meaning, and rests */
    io->meter[CENTRE] = d->state.largest_db > 0.0f ? spectral_centre_hz(d->rate_hz, d->state.g)
                                                   : METERS[CENTRE].minimum;
}

static size_t latency(const void *self, const float *control) {
    (void)control;
    return ((const DeEsser *)self)->latency;
}

const PluginSpec plugin_spec = {
    .id = "de-esser",
    .name = "De-Esser",
    .controls = CONTROLS,
    .n_controls = N_CONTROLS,
    .meters = METERS,
    .n_meters = N_METERS,
    .state_size = sizeof(DeEsser),
    .prepare = prepare,
    .reset = reset,
    .set = set,
    .process = process,
    .latency = latency,
};
