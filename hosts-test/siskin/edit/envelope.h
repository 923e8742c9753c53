/* SPDX-License-Identifier: ISC */
/* envelope.h: how loud a file is and how high it peaks, every 5 ms: what gains are drawn by. */
#ifndef SISKIN_EDIT_ENVELOPE_H
#define SISKIN_EDIT_ENVELOPE_H

#include "host/host.h"

typedef struct {
    double hop_s, length_s;
    size_t n;     /* hops; hop k covers k hop_s .. (k + 1) hop_s */
    float *power; /* K-weighted mean square, summed over channels */
    float *voice; /* mean square of 500 Hz .. 3 kHz, where vowels are, summed */
    float *peak;  /* true peak, amplitude, the largest over channels */
} Envelope;

/* Fails as audio_open and audio_read do. */
bool envelope_read(Envelope *envelope, const char *path, HostError *error);
void envelope_free(Envelope *envelope);

/* Of hops first..last - 1: the loudness in LUFS (-INFINITY for silence), and the true peak,
 * dBTP. */
double envelope_lufs(const Envelope *envelope, size_t first, size_t last);
double envelope_peak_db(const Envelope *envelope, size_t first, size_t last);
/* The hop at a time, 0..n. */
size_t envelope_hop(const Envelope *envelope, double at_s);

#endif
