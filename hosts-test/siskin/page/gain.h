/* SPDX-License-Identifier: ISC */
/* gain.h: the gain of each processor over a take, from a trace (trace.h).
 *
 * A processor has a curve when it has the meter `reduction`; one that also has a meter `gain`,
 * which can raise level as well, is drawn by that. A fader that moves has one, too. */
#ifndef SISKIN_PAGE_GAIN_H
#define SISKIN_PAGE_GAIN_H

#include "host/host.h"
#include "siskin/edit/lane.h"

typedef struct {
    char *label;
    float *db; /* [rows] under 0: taken down; NAN: not known */
} GainCurve;

typedef struct {
    double step_s;
    size_t rows;
    GainCurve *curves;
    size_t n_curves;
} Gains;

/* Fails when the file cannot be read. step_s is that of its rows. */
bool gains_read(Gains *gains, const char *path, double step_s, HostError *error);
/* A fader that moves, as one more curve; of a take of length_s where no trace says how long. */
void gains_add_lane(Gains *gains, const char *label, const Lane *lane, double length_s);
void gains_free(Gains *gains); /* fine on a zeroed one */

/* The largest reduction of a curve within the times, dB >= 0. */
double gains_most_cut(const Gains *gains, const GainCurve *curve, double from_s, double to_s);

/* The curve in `columns` columns, each the value furthest from 0 dB; NAN as 0. */
void gains_fold(const Gains *gains, const GainCurve *curve, float *db, size_t columns);

/* The first curve of a processor of that name, or NULL: labels say "BUS: NAME 2". */
const GainCurve *gains_of(const Gains *gains, const char *name);

#endif
