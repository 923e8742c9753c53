/* SPDX-License-Identifier: ISC */
/* The ceiling. True peaks are read at 16 places a frame by a sinc that is not the plugin's
 * (read_wave.h). Voices: driven by 18 dB into -6 dBTP, with no colour, half, and all of it; largest
 * over the ceiling. Below it: with nothing driven, frames that differ from the input by any bit, of
 * voices brought to -12 dBFS. Made signals: white noise, a quarter of the rate at 45 degrees, a
 * square, 0.45 of the rate, at 44.1 to 96 kHz. Held tone: 100 Hz, 6 dB over, what is not the
 * fundamental. */
#include "quality/quality.h"
#include "quality/worst.h"

#include "read_wave.h"

#include <string.h>

static const char bundle[] = "peak-ceiling";
static const double CEILING = -6.0, NONE = (double)NAN;
static ReadWave wave;

static double over(const Voice *voice, const float *out) {
    return read_wave_peak_db(&wave, out, voice->n, 1.3) - CEILING;
}

static void voices(Quality *quality, float colour, const char *what) {
    const QualitySetting settings[] = {
        {"drive", 18.0f}, {"colour", colour}, {"ceiling", (float)CEILING}};
    Figure worst = worst_of(quality, &(WorstOf){bundle, settings, 3, over, false});
    quality_row(quality, what, "dB", worst, QUALITY_AT_MOST, 0.05);
}

/* Frames of a voice at -12 dBFS and less that do not come out as they went in. */
static void below(Quality *quality) {
    Figure changed = {0.0, 0.0};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        float *in = calloc(2 * voice->n + 1, sizeof *in), *out = in + voice->n;
        memcpy(in, voice->audio, voice->n * sizeof *in);
        signals_scale(in, voice->n, 0.25 / signals_peak(in, voice->n));
        QualityRun run = {
            .plugin = bundle, .rate_hz = voice->rate_hz, .in = in, .out = out, .n = voice->n};
        quality_render(quality, &run);
        for (size_t t = 0; t < voice->n; t++)
            *(voice->recorded ? &changed.recorded : &changed.sung) +=
                signals_same_bits(in + t, out + t, 1) ? 0.0 : 1.0;
        free(in);
    }
    quality_row(quality, "ceiling: frames changed below it", "", changed, QUALITY_AT_MOST, 0.0);
}

enum { LENGTH = 16000, EDGE = 2000, KINDS = 4 };

static void fill(int kind, double rate_hz, float *out) {
    Random random = random_seeded(41);
    size_t n = LENGTH - (size_t)2 * EDGE;
    memset(out, 0, LENGTH * sizeof *out);
    out += EDGE; /* silence on either side, so that nothing begins at a cut */
    if (kind == 0)
        signals_noise(out, n, 0.3, &random);
    else if (kind == 1)
        signals_sine(out, n, 1.0, 0.25, 1.0, 3.14159265358979 / 4.0);
    else if (kind == 2)
        for (size_t t = 0; t < n; t++)
            out[t] = fmod(441.0 * (double)t / rate_hz, 1.0) < 0.5 ? 1.0f : -1.0f;
    else
        signals_sine(out, n, 1.0, 0.45, 1.0, 0.0);
}

static void made(Quality *quality) {
    static const double rates_hz[] = {44100.0, 48000.0, 88200.0, 96000.0};
    static const float driven[][2] = {{0.0f, 0.0f}, {12.0f, 50.0f}, {24.0f, 100.0f}};
    static float in[LENGTH], out[LENGTH];
    double worst = -100.0;
    for (int r = 0; r < 4; r++)
        for (int kind = 0; kind < KINDS; kind++)
            for (int d = 0; d < 3; d++) {
                const QualitySetting settings[] = {
                    {"drive", driven[d][0]}, {"colour", driven[d][1]}, {"ceiling", (float)CEILING}};
                QualityRun run = {bundle, settings, 3,      rates_hz[r], in,
                                  NULL,   out,      LENGTH, NULL,        NULL};
                fill(kind, rates_hz[r], in);
                quality_render(quality, &run);
                double db = read_wave_peak_db(&wave, out, LENGTH, 0.1) - CEILING;
                quality_note(quality, 2, "    %g Hz, kind %d, drive %g: %+.4f dB", rates_hz[r],
                             kind, (double)driven[d][0], db);
                worst = fmax(worst, db);
            }
    quality_row(quality, "ceiling: true peak over, noise and tones", "dB", (Figure){worst, NONE},
                QUALITY_AT_MOST, 0.05);
}

static void held_tone(Quality *quality) {
    enum { RATE = 48000, SECONDS = 3 };
    static float in[SECONDS * RATE], out[SECONDS * RATE];
    const QualitySetting setting = {"ceiling", -6.0206f};
    QualityRun run = {
        .plugin = bundle,
        .settings = &setting,
        .n_settings = 1,
        .rate_hz = RATE,
        .in = in,
        .out = out,
        .n = (size_t)SECONDS * RATE,
    };
    signals_sine(in, (size_t)SECONDS * RATE, RATE, 100.0, 1.0, 0.0);
    quality_render(quality, &run);
    const float *late = out + RATE; /* one second, whole periods */
    double re = 0.0, im = 0.0, all = 0.0;
    for (int t = 0; t < RATE; t++) {
        double angle = 2.0 * 3.14159265358979323846 * 100.0 / RATE * t, y = (double)late[t];
        re += 2.0 * y * cos(angle) / RATE;
        im += 2.0 * y * sin(angle) / RATE;
        all += 2.0 * y * y / RATE;
    }
    double db = 10.0 * log10(fabs(all - re * re - im * im) / all + 1e-15);
    quality_row(quality, "ceiling: distortion of 100 Hz held 6 dB", "dB", (Figure){db, NONE},
                QUALITY_AT_MOST, -50.0);
}

static void rows(Quality *quality) {
    read_wave_prepare(&wave);
    voices(quality, 0.0f, "ceiling: true peak over, driven 18 dB");
    voices(quality, 50.0f, "ceiling: the same, colour 50");
    voices(quality, 100.0f, "ceiling: the same, colour 100");
    made(quality);
    below(quality);
    held_tone(quality);
}

extern const QualityPart quality_ceiling;
const QualityPart quality_ceiling = {
    .name = "ceiling", .bundle = bundle, .run = rows, .voices = true};
