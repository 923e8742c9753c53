/* SPDX-License-Identifier: ISC */
/* The soft drive. Level: RMS of the whole voice, result against take, worst, at drive 6 (the
 * default), 18 and 36. Crest: by how much peak over RMS falls at drive 18, the least of all voices.
 * Aliases: 4999 Hz at full scale under 24 dB, at 48 kHz. */
#include "quality/quality.h"
#include "quality/worst.h"

#include "aliases.h"

static const char bundle[] = "soft-drive";

static double level_off(const Voice *voice, const float *out) {
    return signals_rms_db(out, voice->n) - signals_rms_db(voice->audio, voice->n);
}

static double crest_taken(const Voice *voice, const float *out) {
    return signals_peak_db(voice->audio, voice->n) - signals_peak_db(out, voice->n) +
           level_off(voice, out);
}

static void voices(Quality *quality, float drive, const char *what) {
    const QualitySetting setting = {"drive", drive};
    Figure worst = worst_of(quality, &(WorstOf){bundle, &setting, 1, level_off, false});
    quality_row(quality, what, "dB", worst, QUALITY_WITHIN, 1.0);
}

static void rows(Quality *quality) {
    voices(quality, 6.0f, "soft drive: RMS off, drive 6");
    voices(quality, 18.0f, "soft drive: RMS off, drive 18");
    voices(quality, 36.0f, "soft drive: RMS off, drive 36");
    const QualitySetting settings[] = {{"drive", 18.0f}, {"drive", 24.0f}};
    Figure least = worst_of(quality, &(WorstOf){bundle, settings, 1, crest_taken, true});
    quality_row(quality, "soft drive: crest taken, drive 18, least", "dB", least, QUALITY_AT_LEAST,
                1.0);

    enum { RATE = 48000, SECONDS = 3 };
    static float in[SECONDS * RATE], out[SECONDS * RATE];
    QualityRun run = {.plugin = bundle,
                      .settings = settings + 1,
                      .n_settings = 1,
                      .rate_hz = RATE,
                      .in = in,
                      .out = out,
                      .n = (size_t)SECONDS * RATE};
    signals_sine(in, (size_t)SECONDS * RATE, RATE, 4999.0, 1.0, 0.0);
    quality_render(quality, &run);
    quality_row(quality, "soft drive: aliases of 5 kHz, drive 24", "dB",
                (Figure){aliases_db(out + RATE, RATE, 4999.0), (double)NAN}, QUALITY_AT_MOST,
                -80.0);
}

extern const QualityPart quality_soft_drive;
const QualityPart quality_soft_drive = {
    .name = "soft_drive", .bundle = bundle, .run = rows, .voices = true};
