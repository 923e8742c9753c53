/* SPDX-License-Identifier: ISC */
/* hiss_spots.h: where a take has /s/ and its kin, as the de-esser hears them at its defaults. */
#ifndef SISKIN_MEASURE_HISS_SPOTS_H
#define SISKIN_MEASURE_HISS_SPOTS_H

#include "detect/sibilance.h"
#include "filter/band_ratio.h"
#include "filter/spectral_centre.h"
#include "siskin/measure/take.h"

enum { HISS_SPOTS_CENTRES = 256 };

typedef struct {
    double rate_hz;
    unsigned channels;
    BandRatio bands;
    SpectralCentre centre;
    Sibilance sibilance;
    float centres[HISS_SPOTS_CENTRES];
    uint64_t steps;
    bool hissing;
} HissSpots;

/* false: the arena is full. */
bool hiss_spots_prepare(HissSpots *spots, double rate_hz, unsigned channels, Arena *arena);
/* n frames of every channel, the first of them frame `from` of the take; adds to m->sibilants. */
void hiss_spots_hear(HissSpots *spots, const float *const *in, size_t n, uint64_t from,
                     Measures *m);
/* After the take: those too short to be one. */
void hiss_spots_drop_short(Measures *m);

#endif
