/* SPDX-License-Identifier: ISC */
/* Space: plate-reverb, slap-echo and make-room.
 *
 * Plate. An impulse at 48 kHz. Decay: T30 (ISO 3382-1) of the octaves from 500 Hz to 4 kHz over the
 * law of its header, T = decay / (1 + (f/damping)^2), mean of the mono result at three motions; the
 * worst of decays of 0.5, 0.9, 2 and 6 s, per cent. Dense: when the echo density of Abel and Huang
 * reaches 0.9, ms, the latest. Ring: over what is around it, at 2 and 6 s, dB. Sides: correlation
 * in the octaves from 250 Hz to 8 kHz of a mono impulse in the stereo one, at the default, the
 * farthest from 0.
 *
 * Slap. A burst of noise, feedback 70: the first echo's place, frames, and how far the level of the
 * first four is off feedback^(k-1), dB.
 *
 * Room. Each voice as the lead over the next one as backing, at the defaults (depth 6). How much
 * lower the backing is in the four strongest thirds of an octave of the lead, while it sounds
 * there, dB, the least of all leads; and what is still taken from it at the end of three seconds of
 * rest, dB. */
#include "quality/quality.h"

#include "reverb_measures.h"
#include "sound/plate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 48000, LONG = 9 * RATE, START = RATE / 5, ROOM = 1 << 22 };
static float in[LONG], out[LONG], low[LONG / 8];
static const double NONE = (double)NAN;

static bool farther(double *worst, double figure) {
    bool is = isnan(*worst) || fabs(figure) > fabs(*worst);
    *worst = is ? figure : *worst;
    return is;
}

/* ---- plate ---- */

static void impulse(Quality *quality, float decay, float motion) {
    const QualitySetting settings[] = {
        {"decay", decay}, {"motion", motion}, {"pre_delay", 0.0f}, {"low_cut", 20.0f}};
    QualityRun run = {.plugin = "plate-reverb",
                      .settings = settings,
                      .n_settings = 4,
                      .rate_hz = RATE,
                      .in = in,
                      .out = out,
                      .n = LONG};
    signals_silence(in, LONG);
    in[START] = 1.0f;
    quality_render(quality, &run);
}

/* From half the decay to all of it after the impulse, below 2.4 kHz, at an eighth of the rate. */
static double ring_db(double decay) {
    static float band[LONG];
    size_t from = START + (size_t)((0.1 + 0.5 * decay) * RATE),
           n = (size_t)(0.5 * decay * RATE) / 8;
    double at_hz = 0.0;
    signals_band_filter(out, band, LONG, RATE, 0.0, 2400.0);
    for (size_t t = 0; t < n; t++)
        low[t] = band[from + 8 * t];
    return reverb_tallest_db(low, n, RATE / 8.0, 200.0, 2000.0, &at_hz);
}

static void plate_rows(Quality *quality) {
    static const float decays[] = {0.5f, 0.9f, 2.0f, 6.0f}, motions[] = {10.0f, 20.0f, 30.0f};
    const double damping_hz = 6500.0;
    double off = NONE, dense = 0.0, ring = 0.0;
    for (size_t d = 0; d < 4; d++) {
        double t30[4] = {0.0};
        for (size_t m = 0; m < 3; m++) {
            impulse(quality, decays[d], motions[m]);
            for (size_t o = 0; o < 4; o++)
                t30[o] += reverb_t30_octave(out, LONG, RATE, 500.0 * pow(2.0, (double)o)) / 3.0;
            dense = fmax(dense, reverb_dense_ms(out, START, RATE));
            if (decays[d] >= 2.0f && m == 1)
                ring = fmax(ring, ring_db((double)decays[d]));
        }
        for (size_t o = 0; o < 4; o++) {
            double over = 500.0 * pow(2.0, (double)o) / damping_hz;
            double law = (double)decays[d] / (1.0 + over * over);
            farther(&off, 100.0 * (t30[o] / law - 1.0));
            quality_note(quality, 2, "    decay %g, %g Hz: %.3f s, set %.3f", (double)decays[d],
                         500.0 * pow(2.0, (double)o), t30[o], law);
        }
    }
    quality_row(quality, "plate: decay, worst octave", "%", (Figure){off, NONE}, QUALITY_WITHIN,
                10.0);
    quality_row(quality, "plate: dense after", "ms", (Figure){dense, NONE}, QUALITY_AT_MOST, 60.0);
    quality_row(quality, "plate: tallest late ring, 2 and 6 s", "dB", (Figure){ring, NONE},
                QUALITY_AT_MOST, 14.0);
}

static double sides(void) {
    static Plate plate;
    static float right[LONG];
    void *memory = calloc(1, ROOM);
    Arena arena = arena_over(memory, ROOM);
    double worst = 0.0;
    memset(&plate, 0, sizeof plate);
    if (!memory || !plate_prepare(&plate, RATE, 2, &arena))
        return NONE;
    plate_set(&plate, &(PlateParams){.decay_s = 0.9, .damping_hz = 6500.0, .motion = 0.2});
    plate_reset(&plate);
    signals_silence(in, LONG);
    in[START] = 1.0f;
    plate_process(&plate, (const float *const[2]){in, in}, (float *const[2]){out, right}, LONG);
    for (int octave = 0; octave < 6; octave++)
        farther(&worst, reverb_correlation(out, right, LONG, RATE, 250.0 * pow(2.0, octave)));
    free(memory);
    return worst;
}

/* ---- slap ---- */

static void slap_rows(Quality *quality) {
    enum { TIME = 5280, BURST = 2400 };
    const QualitySetting settings[] = {
        {"time", 110.0f}, {"feedback", 70.0f}, {"low_cut", 20.0f}, {"high_cut", 20000.0f}};
    QualityRun run = {.plugin = "slap-echo",
                      .settings = settings,
                      .n_settings = 4,
                      .rate_hz = RATE,
                      .in = in,
                      .out = out,
                      .n = RATE};
    Random random = random_seeded(61);
    double most = 0.0, place = 0.0, off = 0.0;
    signals_silence(in, RATE);
    signals_band_noise(in, BURST, RATE, 500.0, 4000.0, 0.05, &random);
    quality_render(quality, &run);
    for (int d = -50; d <= 50; d++) {
        double like = 0.0;
        for (size_t t = 0; t < BURST; t++)
            like += (double)in[t] * (double)out[(size_t)(TIME + d) + t];
        if (like > most) {
            most = like;
            place = d;
        }
    }
    for (size_t k = 1; k <= 4; k++)
        farther(&off, signals_rms_db(out + k * TIME, BURST) - signals_rms_db(in, BURST) -
                          20.0 * log10(0.7) * ((double)k - 1.0));
    quality_row(quality, "slap: first echo's place", "frames", (Figure){place, NONE},
                QUALITY_WITHIN, 1.0);
    quality_row(quality, "slap: level of echoes off the law", "dB", (Figure){off, NONE},
                QUALITY_WITHIN, 0.5);
}

/* ---- room ---- */

enum { BANDS = 12, STRONGEST = 4 };

/* A third of an octave of lead, backing and result, over the moments of 20 ms in which the lead is
 * within 15 dB of its loudest there. */
typedef struct {
    double lead, before, after; /* energies */
} Third;

static double energy(const float *audio, size_t n) {
    double sum = 0.0;
    for (size_t t = 0; t < n; t++)
        sum += (double)audio[t] * (double)audio[t];
    return sum;
}

static Third third(const float *const take[3], float *const band[3], size_t n, double rate_hz,
                   double hz) {
    size_t step = (size_t)(0.02 * rate_hz);
    double loudest = 0.0;
    Third sum = {0.0, 0.0, 0.0};
    for (int k = 0; k < 3; k++)
        signals_band_filter(take[k], band[k], n, rate_hz, hz * 0.891, hz * 1.122);
    for (size_t t = 0; t + step <= n; t += step)
        loudest = fmax(loudest, energy(band[0] + t, step));
    for (size_t t = 0; t + step <= n; t += step) {
        double lead = energy(band[0] + t, step);
        if (lead < 0.0316 * loudest)
            continue;
        sum.lead += lead;
        sum.before += energy(band[1] + t, step);
        sum.after += energy(band[2] + t, step);
    }
    return sum;
}

/* By how much the backing is lower in the strongest thirds of the lead, from 315 Hz to 4 kHz,
 * dB. */
static double room_made(const float *const take[3], float *const band[3], size_t n,
                        double rate_hz) {
    Third thirds[BANDS];
    double sum = 0.0;
    for (size_t b = 0; b < BANDS; b++)
        thirds[b] = third(take, band, n, rate_hz, 315.0 * pow(2.0, (double)b / 3.0));
    for (int k = 0; k < STRONGEST; k++) {
        size_t most = 0;
        for (size_t b = 1; b < BANDS; b++)
            most = thirds[b].lead > thirds[most].lead ? b : most;
        sum += 10.0 * log10(thirds[most].before / thirds[most].after) / STRONGEST;
        thirds[most].lead = 0.0;
    }
    return sum;
}

/* The lead over `back`, with three seconds of rest behind it; what is taken in the last of
 * these. */
static bool room_of(Quality *quality, const Voice *lead, const Voice *back, double *made,
                    double *rest_db) {
    size_t rest = (size_t)(3.0 * lead->rate_hz), n = lead->n + rest, last = rest / 10;
    float *key = calloc(6 * n, sizeof *key);
    if (!key)
        return false;
    float *backing = key + n, *to = key + 2 * n;
    float *const band[3] = {key + 3 * n, key + 4 * n, key + 5 * n};
    const float *const take[3] = {key, backing, to};
    QualityRun run = {.plugin = "make-room",
                      .rate_hz = lead->rate_hz,
                      .in = backing,
                      .key = key,
                      .out = to,
                      .n = n};
    memcpy(key, lead->audio, lead->n * sizeof *key);
    for (size_t t = 0; t < n; t++)
        backing[t] = back->audio[t % back->n];
    bool done = quality_render(quality, &run);
    *made = room_made(take, band, lead->n, lead->rate_hz);
    *rest_db = signals_rms_db(to + n - last, last) - signals_rms_db(backing + n - last, last);
    free(key);
    return done;
}

static void room_rows(Quality *quality) {
    Figure least = {NONE, NONE}, moved = {NONE, NONE};
    const Material *material = quality->material;
    for (size_t i = 0; i < material->count; i++) {
        const Voice *lead = &material->voices[i];
        const Voice *back = &material->voices[(i + 1) % material->count];
        double made = 0.0, rest_db = 0.0;
        if (!room_of(quality, lead, back, &made, &rest_db)) {
            quality->broken = true;
            continue;
        }
        double *of = lead->recorded ? &least.recorded : &least.sung;
        *of = isnan(*of) || made < *of ? made : *of;
        farther(lead->recorded ? &moved.recorded : &moved.sung, rest_db);
        quality_note(quality, 1, "  %-22s over %-22s %.2f dB; at rest %.4f dB", lead->name,
                     back->name, made, rest_db);
    }
    quality_row(quality, "room: made under the lead, its bands", "dB", least, QUALITY_AT_LEAST,
                3.0);
    quality_row(quality, "room: backing moved at rest", "dB", moved, QUALITY_WITHIN, 0.1);
}

static void rows(Quality *quality) {
    plate_rows(quality);
    quality_row(quality, "plate: sides' correlation, worst octave", "", (Figure){sides(), NONE},
                QUALITY_WITHIN, 0.15);
    slap_rows(quality);
    room_rows(quality);
}

extern const QualityPart quality_space;
const QualityPart quality_space = {
    .name = "space", .bundle = "plate-reverb", .run = rows, .voices = true};
