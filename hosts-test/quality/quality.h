/* SPDX-License-Identifier: ISC */
/* quality.h: shared by the parts of siskin-quality, one part a processor. */
#ifndef SISKIN_QUALITY_QUALITY_H
#define SISKIN_QUALITY_QUALITY_H

#include "host/host.h"
#include "quality/material.h"

#include <stdbool.h>
#include <stddef.h>

/* ---- Collected figures, apart for sung and recorded voices ---- */

typedef struct {
    double *value;
    size_t n, room;
} Samples;

void samples_add(Samples *samples, double value);
double samples_quantile(Samples *samples, double p); /* NaN when there are none */
double samples_mean(const Samples *samples);
/* Interquartile range / 1.349: the deviation of a Gaussian with these quartiles. */
double samples_spread(Samples *samples);
/* Moves all of `from` to `to`. */
void samples_pour(Samples *from, Samples *to);
void samples_free(Samples *samples);

typedef struct {
    double sung, recorded;
} Figure;

typedef enum { QUALITY_AT_LEAST, QUALITY_AT_MOST, QUALITY_WITHIN } QualityBound;

/* ---- The run ---- */

typedef struct {
    Host *host;
    const Material *material;
    MaterialSet set;
    int verbose; /* 1: a row for each voice; 2: for each event */
    size_t rows, failed;
    bool broken; /* something could not be measured at all */
} Quality;

/* One line of the table. Both kinds of voice must reach the target; NaN: not measured on these.
 * QUALITY_WITHIN: |figure| <= target. */
void quality_row(Quality *quality, const char *what, const char *unit, Figure figure,
                 QualityBound bound, double target);
/* A line only with -v (level 1) or -vv (level 2). */
void quality_note(const Quality *quality, int level, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

typedef struct {
    const char *symbol;
    float value;
} QualitySetting;

typedef struct {
    const char *plugin;             /* short name; the mono variant is run */
    const QualitySetting *settings; /* others at their defaults */
    size_t n_settings;
    double rate_hz;
    const float *in, *key; /* key may be NULL */
    float *out;            /* aligned with in */
    size_t n;
    void (*after_run)(void *user, HostInstance *instance, size_t from, size_t n); /* or NULL */
    void *user;
} QualityRun;

/* Runs the built bundle as a host would, in blocks of 512. false: said why, quality->broken set. */
bool quality_render(Quality *quality, const QualityRun *run);

/* A part of the table. Each file <name>_part.c defines one as quality_<name>; the Makefile finds
 * it. It prints its rows; nothing when its bundle is not built, which is said. */
typedef struct {
    const char *name, *bundle; /* NULL: it needs none */
    void (*run)(Quality *);
    bool voices; /* needs them loaded */
} QualityPart;

/* All, and NULL: written by the Makefile. */
extern const QualityPart *const quality_parts[];

#endif
