/* SPDX-License-Identifier: ISC */
/* Room resonances: found by measure/resonances, taken out by room-cut.
 *
 * In the first 15 s of each sung take a box is laid, a peaking filter (bilinear, cookbook) of 6 to
 * 8 dB, q 3 to 5, from 200 or the take's low notes up to 700 Hz; four draws for each. The measure
 * is told the true pitch of windows within one sound, and hears windows without voice as noise.
 * Found: within a sixth of an octave and 3 dB. One bell of room-cut is then set to what was found:
 * its frequency, its width at half its dB, and its height, but no more than 6 dB. Left: the largest
 * of box and bell together, up or down, from the plugin's response to an impulse; the box itself
 * where none was found. On the clean take the measure should find none.
 *
 * The notes of recordings are not known: not measured. */
#include "measure/mean_spectrum.h"
#include "measure/resonances.h"
#include "quality/quality.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char bundle[] = "room-cut";
static const double PI = 3.14159265358979323846;
static const double LONG_S = 15.0, MOST_CUT_DB = 6.0, LOWEST_HZ = 200.0, HIGHEST_HZ = 700.0;
enum { MEMORY = 1 << 23, DRAWS = 4, IMPULSE = 1 << 15, STEPS = 68 }; /* steps: 60 Hz to 3 kHz */

typedef struct {
    Samples found, clean; /* 1 or 0 */
    Samples left;         /* dB */
} Tally;

typedef struct {
    double hz, gain_db, q;
} Box;

typedef struct {
    unsigned char *memory;
    float *audio, *impulse, *response;
    Resonances peaks;
    MeanSpectrum spectrum;
} Bench;

/* ---- the box ---- */

/* b and a of the filter, a[0] = 1. */
static void design(const Box *box, double rate_hz, double b[3], double a[3]) {
    double amp = pow(10.0, box->gain_db / 40.0), w = 2.0 * PI * box->hz / rate_hz;
    double wide = 0.5 * sin(w) / box->q, norm = 1.0 + wide / amp;
    a[0] = 1.0;
    a[1] = b[1] = -2.0 * cos(w) / norm;
    a[2] = (1.0 - wide / amp) / norm;
    b[0] = (1.0 + wide * amp) / norm;
    b[2] = (1.0 - wide * amp) / norm;
}

static void lay(const Box *box, double rate_hz, const float *in, float *out, size_t n) {
    double b[3], a[3], x[2] = {0.0, 0.0}, y[2] = {0.0, 0.0};
    design(box, rate_hz, b, a);
    for (size_t i = 0; i < n; i++) {
        double now = (double)in[i];
        double value = b[0] * now + b[1] * x[0] + b[2] * x[1] - a[1] * y[0] - a[2] * y[1];
        x[1] = x[0], x[0] = now, y[1] = y[0], y[0] = value;
        out[i] = (float)value;
    }
}

static double box_db(const Box *box, double rate_hz, double hz) {
    double b[3], a[3];
    double complex z = cexp(-2.0 * I * PI * hz / rate_hz);
    design(box, rate_hz, b, a);
    return 20.0 * log10(cabs((b[0] + z * (b[1] + z * b[2])) / (a[0] + z * (a[1] + z * a[2]))));
}

/* ---- the measure ---- */

/* Of frames at..at + n: their mean pitch when all are voiced, 0 when none is, else -1. */
static double pitch_of(const Voice *voice, size_t at, size_t n) {
    double sum = 0.0;
    size_t voiced = 0;
    for (size_t i = at; i < at + n; i++) {
        voiced += voice->take.f0_hz[i] > 0.0f;
        sum += (double)voice->take.f0_hz[i];
    }
    return voiced == n ? sum / (double)n : voiced ? -1.0 : 0.0;
}

static bool find(Bench *bench, const Voice *voice, const float *audio, size_t n,
                 StandingPeak *peak) {
    Arena arena = arena_over(bench->memory, MEMORY);
    if (!mean_spectrum_prepare(&bench->spectrum, voice->rate_hz, &arena) ||
        !resonances_prepare(&bench->peaks, voice->rate_hz, bench->spectrum.size, &arena))
        return false;
    const size_t size = bench->spectrum.size;
    for (size_t at = 0; at < n;) {
        size_t room = mean_spectrum_room(&bench->spectrum), now = n - at < room ? n - at : room;
        bool full = mean_spectrum_feed(&bench->spectrum, audio + at, now);
        at += now;
        if (!full)
            continue;
        double f0_hz = pitch_of(voice, at - 3 * size / 4, size / 2);
        if (f0_hz > 0.0)
            resonances_voice(&bench->peaks, bench->spectrum.power, f0_hz,
                             bench->spectrum.state.windows);
        else if (pitch_of(voice, at - size, size) == 0.0)
            resonances_noise(&bench->peaks, bench->spectrum.power);
    }
    *peak = resonances_find(&bench->peaks);
    return true;
}

/* ---- the cut ---- */

static double response_db(const float *response, double rate_hz, double hz) {
    double complex sum = 0.0, turn = cexp(-2.0 * I * PI * hz / rate_hz), z = 1.0;
    for (size_t i = 0; i < IMPULSE; i++, z *= turn)
        sum += (double)response[i] * z;
    return 20.0 * log10(cabs(sum));
}

static bool cut(Quality *quality, Bench *bench, double rate_hz, const Box *box,
                const StandingPeak *peak, double *left_db) {
    const QualitySetting settings[] = {
        {"freq_1", (float)peak->hz},
        {"gain_1", (float)-fmin(peak->height_db, MOST_CUT_DB)},
        {"width_1", (float)log2(peak->high_hz / peak->low_hz)},
    };
    QualityRun run = {.plugin = bundle, .rate_hz = rate_hz, .in = bench->impulse, .n = IMPULSE};
    run.settings = settings;
    run.n_settings = peak->found ? sizeof settings / sizeof *settings : 0;
    run.out = bench->response;
    if (!quality_render(quality, &run))
        return false;
    *left_db = 0.0;
    for (int step = 0; step < STEPS; step++) {
        double hz = 60.0 * exp2(step / 12.0);
        double both_db = box_db(box, rate_hz, hz) + response_db(bench->response, rate_hz, hz);
        *left_db = fmax(*left_db, fabs(both_db));
    }
    return true;
}

/* ---- runs ---- */

static bool judge_box(Quality *quality, Bench *bench, const Voice *voice, size_t n, const Box *box,
                      Tally *tally) {
    StandingPeak peak;
    double left_db;
    lay(box, voice->rate_hz, voice->audio, bench->audio, n);
    if (!find(bench, voice, bench->audio, n, &peak) ||
        !cut(quality, bench, voice->rate_hz, box, &peak, &left_db))
        return false;
    bool placed = peak.found && fabs(log2(peak.hz / box->hz)) < 1.0 / 6.0;
    samples_add(&tally->found, placed && fabs(peak.height_db - box->gain_db) <= 3.0);
    samples_add(&tally->left, left_db);
    quality_note(quality, 1,
                 "  %-22s box %3.0f Hz %.1f dB, q %.1f: %s %3.0f Hz %4.1f dB; left %.1f dB",
                 voice->name, box->hz, box->gain_db, box->q,
                 peak.found   ? "found"
                 : peak.known ? "none "
                              : "not known",
                 peak.hz, peak.height_db, left_db);
    return true;
}

/* The notes above which 85 % of the time is sung. */
static double low_notes(const Voice *voice, size_t n) {
    double *hz = malloc((n + 1) * sizeof *hz), low = LOWEST_HZ;
    size_t count = 0;
    for (size_t i = 0; hz && i < n; i += 64)
        if (voice->take.f0_hz[i] > 0.0f)
            hz[count++] = (double)voice->take.f0_hz[i];
    if (count)
        low = fmax(low, signals_quantile(hz, count, 0.15));
    free(hz);
    return low;
}

static bool judge_voice(Quality *quality, Bench *bench, const Voice *voice, Random *random,
                        Tally *tally) {
    size_t longest = (size_t)(LONG_S * voice->rate_hz), n = voice->n < longest ? voice->n : longest;
    StandingPeak clean;
    bool ok = find(bench, voice, voice->audio, n, &clean);
    if (ok)
        samples_add(&tally->clean, clean.found);
    double low_hz = low_notes(voice, n);
    for (int draw = 0; ok && draw < DRAWS; draw++) {
        Box box;
        box.hz = low_hz * pow(HIGHEST_HZ / low_hz, random_unit(random));
        box.gain_db = random_range(random, 6.0, 8.0);
        box.q = random_range(random, 3.0, 5.0);
        ok = judge_box(quality, bench, voice, n, &box, tally);
    }
    return ok;
}

static size_t longest_of(const Material *material) {
    size_t most = 0;
    for (size_t i = 0; i < material->count; i++)
        most = material->voices[i].n > most ? material->voices[i].n : most;
    return most;
}

static void report(Quality *quality, Tally *t) {
    const double none = (double)NAN;
    quality_row(quality, "boxes of 6-8 dB in 15 s: found to within 3 dB", "%",
                (Figure){100.0 * samples_mean(&t->found), none}, QUALITY_AT_LEAST, 75.0);
    quality_row(quality, "room-cut set to what is found: left of the box, median", "dB",
                (Figure){samples_quantile(&t->left, 0.5), none}, QUALITY_AT_MOST, 2.5);
    quality_row(quality, "boxes found in clean takes of 15 s", "%",
                (Figure){100.0 * samples_mean(&t->clean), none}, QUALITY_AT_MOST, 0.0);
    samples_free(&t->found);
    samples_free(&t->left);
    samples_free(&t->clean);
}

static void run(Quality *quality) {
    static Bench bench;
    Tally tally = {.found = {NULL, 0, 0}};
    Random random = random_seeded(quality->set == MATERIAL_HELD ? 31 : 32);
    bench.memory = malloc(MEMORY);
    bench.audio = calloc(longest_of(quality->material) + 1, sizeof(float));
    bench.impulse = calloc(IMPULSE, sizeof(float));
    bench.response = calloc(IMPULSE, sizeof(float));
    bool ok = bench.memory && bench.audio && bench.impulse && bench.response;
    if (ok)
        bench.impulse[0] = 1.0f;
    for (size_t i = 0; ok && i < quality->material->count; i++)
        if (!quality->material->voices[i].recorded)
            ok = judge_voice(quality, &bench, &quality->material->voices[i], &random, &tally);
    quality->broken |= !ok;
    report(quality, &tally);
    free(bench.memory);
    free(bench.audio);
    free(bench.impulse);
    free(bench.response);
}

extern const QualityPart quality_roomcut;
const QualityPart quality_roomcut = {
    .name = "roomcut", .bundle = bundle, .run = run, .voices = true};
