/* SPDX-License-Identifier: ISC */
/* look.h: what is drawn of one sound: its waveform, loudness and spectrogram.
 *
 * Heard in blocks, kept in columns whose number is limited, so that memory does not grow with the
 * sound beyond that. Waveform and spectrogram keep the extremes of a column, so that a click is
 * seen however long the sound is. */
#ifndef SISKIN_PAGE_LOOK_H
#define SISKIN_PAGE_LOOK_H

#include "basic/fft.h"
#include "measure/loudness.h"

enum {
    LOOK_WAVES = 8000,    /* most columns */
    LOOK_LOUDNESS = 6000, /* most points */
    LOOK_SPECTRA = 6000,  /* most columns */
    LOOK_ROWS = 144,
    LOOK_LEVELS = 64, /* of a spectrogram, from LOOK_LOW_DB up */
};

#define LOOK_LOW_DB (-100.0)   /* mean square: a full-scale sine is -3 dB */
#define LOOK_LEVEL_STEP_DB 1.5 /* of one level */

/* Short-term loudness (EBU Tech 3341: over 3 s), a point every step_s; point k belongs to the
 * window around k step_s. NAN: no whole window there. */
typedef struct {
    Loudness meter;
    double step_s;
    size_t step, count, used; /* frames a step; points; points done */
    uint64_t frame;
    float *lufs;
} LookLoudness;

/* Power of a Hann window of 32 to 64 ms, hop by hop; the largest of a column. Rows are equally wide
 * on the mel scale, m = 1127 ln(1 + f / 700 Hz) (O'Shaughnessy, Speech Communication, 1987), from
 * LOOK_LOWEST_HZ up to half the rate or LOOK_HIGHEST_HZ; row 0 is the highest. */
typedef struct {
    Fft fft;
    float *window, *ring, *frames, *power;
    double rate_hz, hop; /* frames */
    uint64_t frame, total, hops;
    size_t columns;
    double edge_bin[LOOK_ROWS + 1]; /* from the lowest up */
    uint8_t *level;                 /* [LOOK_ROWS][columns] */
} LookSpectrum;

#define LOOK_LOWEST_HZ 60.0
#define LOOK_HIGHEST_HZ 20000.0

typedef struct {
    double rate_hz;
    unsigned channels;
    uint64_t frame, total;
    void *memory; /* of the arena */
    float *mid;
    size_t n_waves;
    float *least, *most; /* [n_waves] over all channels */
    LookLoudness loudness;
    LookSpectrum spectrum;
} Look;

/* false: out of memory. `frames` >= 1 is how many will come. */
bool look_open(Look *look, double rate_hz, unsigned channels, uint64_t frames);
void look_hear(Look *look, const float *const *in, size_t n);
/* After the last frame. */
void look_finish(Look *look);
void look_close(Look *look); /* fine on a zeroed one */

/* The frequency of the top of the spectrogram. */
double look_top_hz(double rate_hz);

#endif
