/* SPDX-License-Identifier: ISC */
/* matrix.h: gains from the channels of one bus to those of another. */
#ifndef SISKIN_RENDER_MATRIX_H
#define SISKIN_RENDER_MATRIX_H

#include "siskin/render/graph.h"

/* Amplitude of a level in dB. */
float matrix_linear(double db);

/* Between widths without a pan: mono goes to both sides as it is, stereo becomes the mean. */
GraphMatrix matrix_convert(unsigned from, unsigned to, float gain);

/* With a pan of -CHAIN_MAX_PAN..CHAIN_MAX_PAN. Equal power for a mono bus: its power over both
 * sides is the same wherever it stands, so -3 dB on each in the middle. A stereo bus is balanced:
 * the far side fades by the same curve, the near one stays. Into a mono bus there is nothing to
 * pan. */
GraphMatrix matrix_panned(unsigned from, unsigned to, float gain, double pan);

#endif
