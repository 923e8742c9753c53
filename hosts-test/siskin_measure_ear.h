/* SPDX-License-Identifier: ISC */
/* siskin_measure_ear.h: the units that listen to a take for `siskin measure`, side by side, and the
 * tracks they leave for what can only be told at the end. A track grows by some 3 KB a second. */
#ifndef SISKIN_MEASURE_EAR_H
#define SISKIN_MEASURE_EAR_H

#include "band_levels.h"
#include "band_profile.h"
#include "band_ratio.h"
#include "breath_finder.h"
#include "click_finder.h"
#include "flat_tops.h"
#include "hum.h"
#include "listener.h"
#include "loudness.h"
#include "mean_spectrum.h"
#include "phrase_level.h"
#include "pitch.h"
#include "pitch_floor.h"
#include "sibilance.h"
#include "siskin_measure_take.h"
#include "spectral_centre.h"
#include "standing_peaks.h"
#include "sung_gate.h"
#include "true_peak.h"

enum { EAR_BLOCK = 4096, EAR_CENTRES = 256 };
typedef enum { EAR_ALL, EAR_SUNG, EAR_QUIET } EarKind; /* of mean spectra */

/* One hop of voice_sense. */
typedef struct {
    float power;        /* mean square, 359..5745 Hz */
    float k_power;      /* K-weighted, sum over channels */
    unsigned char kind; /* MomentKind */
} EarHop;

/* There is one at a time: its padding does not matter. */
typedef struct { /* NOLINT(clang-analyzer-optin.performance.Padding) */
    double rate_hz;
    unsigned channels;
    void *memory;    /* of the arena */
    uint64_t frames; /* heard */
    float mid[EAR_BLOCK];

    Loudness loudness;
    TruePeak peak;
    FlatTops tops;
    Hum hum;

    Listener listener;
    SungGate gate;
    PhraseLevel phrase;
    KWeight k[2];
    double k_sum;
    float k_late[VOICE_SENSE_DELAY];
    BandProfile profile;
    size_t window_hops, window_sung;
    MeanSpectrum spectrum;
    StandingPeaks standing;
    bool window_waits; /* a spectrum whose kind is not yet known */
    uint64_t window_end;
    EarHop *hops;
    size_t n_hops, room_hops;
    bool phrase_counts; /* the last phrase, so far */

    Pitch pitch;
    PitchFloor voiced;
    float *readings; /* Hz, 0 unvoiced */
    size_t n_readings, room_readings;

    BreathFinder breath;
    size_t breath_late; /* hops */
    bool breathing;

    BandRatio bands;
    SpectralCentre centre;
    Sibilance sibilance;
    float centres[EAR_CENTRES];
    uint64_t steps;
    bool hissing;

    BandLevels levels;
    ClickFinder clicks;
    size_t click_late;
    double click_s; /* when there was one last */

    Measures *measures; /* events go there */
} Ear;

/* false: out of memory. */
bool ear_open(Ear *ear, double rate_hz, unsigned channels, Measures *measures);
/* n <= EAR_BLOCK frames. */
void ear_hear(Ear *ear, const float *const *in, size_t n);
/* After the take: silence to the detectors, so that what they hold back comes out. */
void ear_finish(Ear *ear);
void ear_close(Ear *ear);

/* Seconds of the middle of a hop, and of a reading. */
double ear_hop_s(const Ear *ear, size_t hop);
double ear_reading_s(const Ear *ear, size_t reading);

#endif
