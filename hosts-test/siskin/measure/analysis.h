/* SPDX-License-Identifier: ISC */
/* analysis.h: the units that listen to a take for `siskin measure`, side by side, and the
 * tracks they leave for what can only be told at the end. Tracks grow by some 14 KB a second. */
#ifndef SISKIN_MEASURE_ANALYSIS_H
#define SISKIN_MEASURE_ANALYSIS_H

#include "detect/breath_finder.h"
#include "detect/thumps.h"
#include "measure/band_crest.h"
#include "measure/clipping.h"
#include "measure/hum.h"
#include "measure/loudness.h"
#include "measure/mean_spectrum.h"
#include "measure/pitch_candidates.h"
#include "measure/resonances.h"
#include "measure/true_peak.h"
#include "siskin/measure/click_spots.h"
#include "siskin/measure/hiss_spots.h"
#include "siskin/measure/take.h"
#include "voice/listener.h"
#include "voice/phrase_level.h"
#include "voice/pitch.h"
#include "voice/pitch_floor.h"
#include "voice/scene.h"

enum { ANALYSIS_BLOCK = 4096 };
typedef enum {
    SPECTRUM_ALL,
    SPECTRUM_SUNG,
    SPECTRUM_QUIET,
    SPECTRUM_VOWEL
} SpectrumKind; /* of mean spectra */

/* One hop of voice_sense. */
typedef struct {
    float power;      /* mean square, 359..5745 Hz */
    float k_power;    /* K-weighted, sum over channels */
    bool sung, quiet; /* as scene.h has it; only the room */
} EarHop;

/* There is one at a time: its padding does not matter. */
typedef struct { /* NOLINT(clang-analyzer-optin.performance.Padding) */
    double rate_hz;
    unsigned channels;
    void *memory;    /* of the arena */
    uint64_t frames; /* heard */
    float dc;        /* to be taken off the mean of the channels */
    float mid[ANALYSIS_BLOCK];

    Loudness loudness;
    TruePeak peak;
    Clipping tops;
    Hum hum;

    Listener listener;
    PhraseLevel phrase;
    KWeight k[2];
    double k_sum;
    float k_late[VOICE_SENSE_DELAY];
    BandCrest profile[2];
    size_t window_hops, window_sung;
    MeanSpectrum spectrum;
    Resonances standing;
    bool window_waits; /* a spectrum whose kind is not yet known */
    uint64_t window_end;
    EarHop *hops;
    size_t n_hops, room_hops;
    bool phrase_counts; /* the last phrase, so far */

    Pitch pitch;
    PitchFloor voiced;
    Thumps thumps;
    bool thumping;
    float *readings; /* Hz, 0 unvoiced */
    size_t n_readings, room_readings;
    PitchCandidates candidates;
    PitchMoment *moments; /* from which the pitch is told in the end */
    size_t n_moments, room_moments;

    Scene scene;
    SceneParams scene_params;
    BreathFinder breath;
    size_t breath_late; /* hops */
    bool breathing;

    HissSpots hisses;
    ClickSpots clicks;

    Measures *measures; /* events go there */
} Analysis;

/* false: out of memory. */
bool analysis_open(Analysis *analysis, double rate_hz, unsigned channels, Measures *measures);
/* n <= ANALYSIS_BLOCK frames. */
void analysis_hear(Analysis *analysis, const float *const *in, size_t n);
/* After the take: silence to the detectors, so that what they hold back comes out. */
void analysis_finish(Analysis *analysis);
void analysis_close(Analysis *analysis);

/* Seconds of the middle of a hop, and of a reading. */
double analysis_hop_s(const Analysis *analysis, size_t hop);
double analysis_reading_s(const Analysis *analysis, size_t reading);

#endif
