/* SPDX-License-Identifier: ISC */
/* The four bands. Idle: frames that differ from the take by any bit. Level: RMS of the whole voice,
 * result against take, worst, with every drive at 12 and at 24 dB. Crest: by how much peak over RMS
 * of a band falls when it alone is driven by 12, mean of the bands, the least of all voices.
 * Levels: a tone amid each band turned up by 6 and 12 dB, worst against the setting. Ripple: all
 * bands up by 6 dB, 40 Hz to 20 kHz, largest distance from 6. Aliases: 4999 Hz under every drive at
 * 24 dB. Tones at 48 kHz. */
#include "quality/quality.h"
#include "quality/worst.h"

#include "aliases.h"

enum { BANDS = 4, RATE = 48000, LENGTH = 3 * RATE };
static const char bundle[] = "band-colour";
static const char *const levels[BANDS] = {"level_1", "level_2", "level_3", "level_4"};
static const char *const drives[BANDS] = {"drive_1", "drive_2", "drive_3", "drive_4"};
static const double NONE = (double)NAN;

static double frames_changed(const Voice *voice, const float *out) {
    double changed = 0.0;
    for (size_t t = 0; t < voice->n; t++)
        changed += signals_same_bits(voice->audio + t, out + t, 1) ? 0.0 : 1.0;
    return changed;
}

static double level_off(const Voice *voice, const float *out) {
    return signals_rms_db(out, voice->n) - signals_rms_db(voice->audio, voice->n);
}

/* Where crest is measured: off the splits, for there the all-pass of the crossover turns phases,
 * which moves peaks by itself. */
static const double low_hz[BANDS] = {40.0, 250.0, 1500.0, 7000.0};
static const double high_hz[BANDS] = {140.0, 850.0, 4200.0, 15000.0};

/* Peak over RMS of what a band holds; NAN without memory. */
static double crest_db(const Voice *voice, const float *audio, int band) {
    float *held = calloc(voice->n + 1, sizeof *held);
    if (!held)
        return NONE;
    signals_band_filter(audio, held, voice->n, voice->rate_hz, low_hz[band], high_hz[band]);
    double crest = signals_peak_db(held, voice->n) - signals_rms_db(held, voice->n);
    free(held);
    return crest;
}

static void all(const char *const symbols[BANDS], float value, QualitySetting settings[BANDS]) {
    for (int b = 0; b < BANDS; b++)
        settings[b] = (QualitySetting){symbols[b], value};
}

/* Mean over the bands that the rate has. Each is driven alone: the harmonics of a band fall into
 * the one above, which in a dull recording is some 20 dB quieter, and would be its peaks. NAN if
 * broken. */
static double crest_taken(Quality *quality, const Voice *voice, float *out) {
    double taken = 0.0;
    int bands = 0;
    for (int b = 0; b < BANDS && high_hz[b] < 0.45 * voice->rate_hz; b++, bands++) {
        const QualitySetting setting = {drives[b], 12.0f};
        QualityRun run = {.plugin = bundle,
                          .settings = &setting,
                          .n_settings = 1,
                          .rate_hz = voice->rate_hz,
                          .in = voice->audio,
                          .out = out,
                          .n = voice->n};
        if (!quality_render(quality, &run))
            return NONE;
        double less = crest_db(voice, voice->audio, b) - crest_db(voice, out, b);
        quality_note(quality, 2, "    band %d %20.3f", b + 1, less);
        taken += less;
    }
    return taken / bands;
}

static void crests(Quality *quality) {
    Figure least = {NONE, NONE};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        float *out = calloc(voice->n + 1, sizeof *out);
        double taken = out ? crest_taken(quality, voice, out) : NONE;
        free(out);
        quality->broken |= isnan(taken);
        if (!isnan(taken))
            worst_take(voice->recorded ? &least.recorded : &least.sung, taken, true);
        quality_note(quality, 1, "  %-22s crest taken %8.3f", voice->name, taken);
    }
    quality_row(quality, "band colour: crest of bands taken, drive 12", "dB", least,
                QUALITY_AT_LEAST, 0.5);
}

/* A tone of hz through the plugin; valid until the next. */
static const float *render_tone(Quality *quality, const QualitySetting *settings, size_t count,
                                double hz) {
    static float in[LENGTH], out[LENGTH];
    QualityRun run = {.plugin = bundle,
                      .settings = settings,
                      .n_settings = count,
                      .rate_hz = RATE,
                      .in = in,
                      .out = out,
                      .n = LENGTH};
    signals_sine(in, LENGTH, RATE, hz, 0.1, 0.3);
    quality_render(quality, &run);
    return out;
}

static double gain_db(Quality *quality, const QualitySetting *settings, size_t count, double hz) {
    const float *out = render_tone(quality, settings, count, hz);
    return 20.0 * log10(signals_tone_amplitude(out + RATE, RATE, RATE, hz) / 0.1);
}

static void tones(Quality *quality) {
    static const double amid[BANDS] = {50.0, 450.0, 2500.0, 14000.0};
    QualitySetting settings[BANDS];
    double level = 0.0, ripple = 0.0;
    for (int b = 0; b < BANDS; b++)
        for (int up = 6; up <= 12; up += 6) {
            const QualitySetting setting = {levels[b], (float)up};
            level = fmax(level, fabs(gain_db(quality, &setting, 1, amid[b]) - up));
        }
    all(levels, 6.0f, settings);
    for (int third = 0; third < 27; third++) {
        double hz = 40.0 * pow(2.0, third / 3.0);
        ripple = fmax(ripple, fabs(gain_db(quality, settings, BANDS, hz) - 6.0));
    }
    quality_row(quality, "band colour: level amid a band, worst", "dB", (Figure){level, NONE},
                QUALITY_WITHIN, 0.5);
    quality_row(quality, "band colour: ripple, all bands +6", "dB", (Figure){ripple, NONE},
                QUALITY_WITHIN, 0.5);
    all(drives, 24.0f, settings);
    const float *out = render_tone(quality, settings, BANDS, 4999.0);
    quality_row(quality, "band colour: aliases of 5 kHz, drive 24", "dB",
                (Figure){aliases_db(out + RATE, RATE, 4999.0), NONE}, QUALITY_AT_MOST, -80.0);
}

static void rows(Quality *quality) {
    QualitySetting settings[BANDS];
    Figure idle = worst_of(quality, &(WorstOf){bundle, NULL, 0, frames_changed, false});
    quality_row(quality, "band colour: frames changed when idle", "", idle, QUALITY_AT_MOST, 0.0);
    for (int drive = 12; drive <= 24; drive += 12) {
        all(drives, (float)drive, settings);
        Figure off = worst_of(quality, &(WorstOf){bundle, settings, BANDS, level_off, false});
        quality_row(quality,
                    drive == 12 ? "band colour: RMS off, drives 12"
                                : "band colour: RMS off, drives 24",
                    "dB", off, QUALITY_WITHIN, 1.0);
    }
    crests(quality);
    tones(quality);
}

extern const QualityPart quality_band_colour;
const QualityPart quality_band_colour = {
    .name = "band_colour", .bundle = bundle, .run = rows, .voices = true};
