/* SPDX-License-Identifier: ISC */
/* The return ducker. The return is a constant, so that output over input is the gain of each frame;
 * the key is a 1 kHz sine, whose level is its peak.
 *
 * Static law: reduction after 2 s of steady key against eq. 4 of Giannoulis, Massberg, Reiss, JAES
 * 60(6), 2012, for three settings and keys from -60 to 0 dB; largest error, dB.
 * Start: first frame reduced by 0.1 dB or more, against the key's onset less the look-ahead, at
 * look-aheads of 0, 10 and 50 ms, the key 30 dB over the threshold; farthest from 0, ms.
 * Release: time from 80 % of the full reduction, in dB, to 80 %/e, against the setting, for 50, 400
 * and 2000 ms; farthest from 0, per cent. All at 44.1, 48 and 96 kHz. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>

static const char bundle[] = "return-ducker";
static const double rates_hz[] = {44100.0, 48000.0, 96000.0};
enum { RATES = 3 };

typedef struct {
    double rate_hz;
    size_t n;
    float *in, *key, *out;
} Bench;

static bool bench_prepare(Bench *b, double rate_hz, double length_s) {
    *b = (Bench){.rate_hz = rate_hz, .n = (size_t)(length_s * rate_hz)};
    b->in = malloc(3 * b->n * sizeof *b->in);
    if (!b->in)
        return false;
    b->key = b->in + b->n;
    b->out = b->key + b->n;
    for (size_t i = 0; i < b->n; i++)
        b->in[i] = 0.5f;
    return true;
}

/* Key: silence, then from start_s to end_s a sine that begins at its peak. */
static void set_key(Bench *b, double start_s, double end_s, double peak_db) {
    const double pi = 3.14159265358979323846;
    size_t start = (size_t)(start_s * b->rate_hz + 0.5), end = (size_t)(end_s * b->rate_hz + 0.5);
    signals_silence(b->key, b->n);
    end = end < b->n ? end : b->n;
    signals_sine(b->key + start, end - start, b->rate_hz, 1000.0, pow(10.0, peak_db / 20.0),
                 pi / 2.0);
}

static bool run(Quality *quality, const Bench *b, const QualitySetting *settings, size_t count) {
    QualityRun r = {.plugin = bundle,
                    .settings = settings,
                    .n_settings = count,
                    .rate_hz = b->rate_hz,
                    .in = b->in,
                    .key = b->key,
                    .out = b->out,
                    .n = b->n};
    return quality_render(quality, &r);
}

static double reduction_db(const Bench *b, size_t i) {
    return 20.0 * log10((double)b->in[i] / (double)b->out[i]);
}

/* The first frame from `at` on where the reduction is at least (or at most) `db`; n: never. */
static size_t when(const Bench *b, size_t at, bool at_least, double db) {
    while (at < b->n && (at_least ? reduction_db(b, at) < db : reduction_db(b, at) > db))
        at++;
    return at;
}

static double farther(double a, double b) {
    return fabs(b) > fabs(a) ? b : a;
}

/* Level out of eq. 4 for a level x in, all in dB. */
static double published_law(double x, double threshold, double ratio, double knee) {
    double over = x - threshold;
    if (2.0 * over < -knee)
        return x;
    if (2.0 * fabs(over) <= knee && knee > 0.0) {
        double t = over + knee / 2.0;
        return x + (1.0 / ratio - 1.0) * t * t / (2.0 * knee);
    }
    return threshold + over / ratio;
}

static double law_error(Quality *quality, double rate_hz) {
    static const float cases[3][3] = {{-20, 4, 10}, {-36, 4, 6}, {-18, 20, 0}};
    double worst = 0.0;
    Bench b;
    if (!bench_prepare(&b, rate_hz, 2.0))
        return (double)NAN;
    for (int c = 0; c < 3; c++)
        for (int step = 0; step <= 12; step++) {
            double level = -60.0 + 5.0 * step;
            QualitySetting settings[] = {{"threshold", cases[c][0]}, {"ratio", cases[c][1]},
                                         {"knee", cases[c][2]},      {"range", 60.0f},
                                         {"attack", 10.0f},          {"key_low_cut", 20.0f}};
            set_key(&b, 0.0, 2.0, level);
            if (!run(quality, &b, settings, sizeof settings / sizeof *settings))
                break;
            double out =
                published_law(level, (double)cases[c][0], (double)cases[c][1], (double)cases[c][2]);
            double error = reduction_db(&b, b.n - 1) - (level - out);
            worst = farther(worst, error);
            quality_note(quality, 2, "    T %g R %g W %g: key %5.1f dB, %7.3f dB off",
                         (double)cases[c][0], (double)cases[c][1], (double)cases[c][2], level,
                         error);
        }
    free(b.in);
    return worst;
}

static double start_error(Quality *quality, double rate_hz) {
    static const float lookaheads_ms[] = {0.0f, 10.0f, 50.0f};
    double worst = 0.0;
    Bench b;
    if (!bench_prepare(&b, rate_hz, 1.0))
        return (double)NAN;
    for (int k = 0; k < 3; k++) {
        QualitySetting setting = {"lookahead", lookaheads_ms[k]};
        set_key(&b, 0.5, 0.8, -6.0);
        if (!run(quality, &b, &setting, 1))
            break;
        double start_ms = 1000.0 * (double)when(&b, 0, true, 0.1) / rate_hz;
        double error = start_ms - (500.0 - (double)lookaheads_ms[k]);
        worst = farther(worst, error);
        quality_note(quality, 2, "    look-ahead %g ms: begins %.3f ms off",
                     (double)lookaheads_ms[k], error);
    }
    free(b.in);
    return worst;
}

static double release_error(Quality *quality, double rate_hz) {
    static const float releases_ms[] = {50.0f, 400.0f, 2000.0f};
    double worst = 0.0;
    Bench b;
    if (!bench_prepare(&b, rate_hz, 6.0))
        return (double)NAN;
    for (int k = 0; k < 3; k++) {
        QualitySetting setting = {"release", releases_ms[k]};
        set_key(&b, 0.1, 0.8, -6.0);
        if (!run(quality, &b, &setting, 1))
            break;
        size_t end = (size_t)(0.78 * rate_hz);
        double full = reduction_db(&b, end);
        size_t from = when(&b, end, false, 0.8 * full);
        size_t to = when(&b, from, false, 0.8 * full / exp(1.0));
        double tau_ms = 1000.0 * (double)(to - from) / rate_hz;
        double error = 100.0 * (tau_ms / (double)releases_ms[k] - 1.0);
        worst = farther(worst, error);
        quality_note(quality, 2, "    release %g ms: %.2f ms measured", (double)releases_ms[k],
                     tau_ms);
    }
    free(b.in);
    return worst;
}

static void rows(Quality *quality) {
    double law = 0.0, start = 0.0, release = 0.0;
    for (int r = 0; r < RATES; r++) {
        law = farther(law, law_error(quality, rates_hz[r]));
        start = farther(start, start_error(quality, rates_hz[r]));
        release = farther(release, release_error(quality, rates_hz[r]));
    }
    const double none = (double)NAN;
    quality_row(quality, "ducker: static law, worst", "dB", (Figure){law, none}, QUALITY_WITHIN,
                0.1);
    quality_row(quality, "ducker: start against look-ahead, worst", "ms", (Figure){start, none},
                QUALITY_WITHIN, 1.0);
    quality_row(quality, "ducker: release time constant, worst", "%", (Figure){release, none},
                QUALITY_WITHIN, 5.0);
}

extern const QualityPart quality_ducker;
const QualityPart quality_ducker = {
    .name = "ducker", .bundle = "return-ducker", .run = rows, .voices = false};
