/* SPDX-License-Identifier: ISC */
/* take.h: everything that is measured of one take, in one pass over its file.
 *
 * Sounds are found by the very units that the plugins use, at the plugins' defaults: what is
 * counted here is what they would act on. What cannot be told of a take is NAN, or its `known` or
 * count says so. Times are in seconds from the start of the file, levels in dB re full scale (mean
 * square: a full-scale sine is -3.0 dB) unless the name says otherwise. Spectra and pitch
 * are those of the mean of both channels. */
#ifndef SISKIN_MEASURE_TAKE_H
#define SISKIN_MEASURE_TAKE_H

#include "host/host.h"
#include "measure/band_crest.h"
#include "measure/hum.h"
#include "measure/intonation.h"
#include "measure/notes.h"
#include "measure/resonances.h"
#include "measure/tonality.h"

typedef struct {
    double start_s, end_s; /* first and last sung moment */
    double lufs;           /* K-weighted, over its sung moments */
    /* Of its notes against the semitones of the take, as of intonation.h; NAN where it has none. */
    double off_cents;  /* mean of the size of the error */
    double lean_cents; /* mean of the error: > 0 sharp */
} MeasurePhrase;

typedef struct {
    double start_s, end_s;
    double under_db; /* level under the voice of the nearest phrase, 359..5745 Hz */
} MeasureBreath;

typedef struct {
    double start_s, end_s;
    double ratio_db;  /* most of its 4.5..12 kHz over the vowels lately */
    double centre_hz; /* of its energy in that band */
} MeasureSibilant;

typedef struct {
    double at_s;
    double low_hz, high_hz; /* the band in which it stands out most */
    double height_db;       /* over what surrounds it */
} MeasureClick;

typedef struct {
    double start_s, end_s;
    double over_db; /* most of its level below 90 Hz over the voice's usual one below 300 Hz */
} MeasureThump;

/* As of band_crest.h. The levels are those of a channel: the mean over channels. */
typedef struct {
    double level_db, level_error_db;
    double spread_db, spread_error_db; /* of the levels of 20 ms; less is denser */
    double crest_db;
} MeasureBand;

#define MEASURE_PITCH_STEP_S 0.02

typedef struct {
    char *path;
    double rate_hz, length_s;
    unsigned channels;
    uint64_t cleaned; /* samples that were not finite */
    char notes[2048]; /* what to know about the file, a line each */

    double integrated_lufs, short_most_lufs, momentary_most_lufs, range_lu;
    double true_peak_db, sample_peak_db; /* dBTP, dBFS, amplitude */

    double dc[2]; /* of each channel, full scale 1 */
    uint64_t full_scale, flat_tops;
    double longest_top_ms;

    double noise_db; /* of what is quiet for 0.3 s and more, 20 Hz..20 kHz */
    double gap_db;   /* median level in gaps of 0.25 s and more, breaths apart, 359..5745 Hz */
    double noise_slope_db; /* of their spectrum's density, dB an octave, 100 Hz..10 kHz */
    bool hum_known;
    HumReading hum;
    double rumble_db, rumble_below_hz; /* of all below the voice, without the hum */

    double sung_s; /* time */
    MeasurePhrase *phrases;
    size_t n_phrases;
    double spread_db; /* deviation of phrases from their mean, dB; NAN for less than two */
    MeasureBreath *breaths;
    size_t n_breaths;
    MeasureSibilant *sibilants;
    size_t n_sibilants;
    MeasureClick *clicks;
    size_t n_clicks;
    MeasureThump *thumps; /* of /p/ and /b/ */
    size_t n_thumps;

    double air_db;    /* 8..16 kHz over 200 Hz..2 kHz of vowels; NAN when the rate hides it */
    double sung_lufs; /* loudness while sung, of a channel: the mean over channels, not their sum */
    MeasureBand band[BAND_CREST_BANDS]; /* while sung, sibilants apart */

    float *pitch_hz; /* every MEASURE_PITCH_STEP_S, from 0; 0: not voiced */
    size_t n_pitch;
    double voiced_s;
    double low_hz, middle_hz, high_hz; /* 2nd, 50th and 98th percentile of voiced time */
    SungNote *sung;                    /* notes */
    size_t n_sung;
    Intonation intonation;
    bool
        key_known; /* it is sung, and there are notes enough; whether it is sure is another thing */
    Tonality key;
    double off_cents, lean_cents; /* over the take; NAN when intonation is not known */

    double t60_s; /* NAN: no phrase ended freely enough */
    size_t n_decays;
    StandingPeak peak[STANDING_PEAKS]; /* of the room or the mount, 150 Hz..1 kHz: surest first */
    size_t n_peaks;
} Measures;

/* Called with the share of the file that is done, 0..1. */
typedef void MeasureProgress(void *user, double done);

/* Fails as audio_open and audio_read do, and when memory is out. `progress` may be NULL. */
bool measure_take(const char *path, Measures *measures, MeasureProgress *progress, void *user,
                  HostError *error);
void measures_free(Measures *measures);

/* Clicks in gaps stand 12 dB and more over what surrounds them, those in words 10 to 20 (as they
 * are laid in where the tamer is judged); lower ones, and what is left of mended ones, are hard to
 * tell from the voice's own. How many are that high. */
#define MEASURE_CLEAR_CLICK_DB 12.0
size_t measures_clear_clicks(const Measures *measures);

/* A thump further under the voice's low end is seldom heard. How many are not. */
#define MEASURE_CLEAR_THUMP_DB (-6.0)
size_t measures_clear_thumps(const Measures *measures);

/* Whether the key is told, and not just the better one of two. */
bool measures_key_sure(const Measures *measures);
/* "Bb minor (0.87)", "unsure: G major or C major", or "unknown". */
const char *measures_key_text(char buffer[64], const Measures *measures);

/* LUFS of the loudest phrase less that of the softest; NAN without phrases. */
double measures_phrase_reach(const Measures *measures);

#endif
