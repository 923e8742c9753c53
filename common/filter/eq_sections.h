/* SPDX-License-Identifier: ISC */
/* eq_sections.h: up to four second-order filters in a row on one or two channels, each of which may
 * be changed at any time: the coefficients go to the new ones on a straight line of EQ_FADE_MS.
 *
 * The form is the trapezoidal state-variable filter of svf.h, which any stable second-order H(z)
 * can be brought into:
 *     g^2 = (1 + a1 + a2) / (1 - a1 + a2),  g k = 2 (1 - a2) / (1 - a1 + a2)
 *     y = h x + (band - h k) v1 + (low - h) v2,   h = H(-1), low = H(1), band likewise
 * written so that d = 1 - 1/(1 + g(g + k)) is kept and not its complement, which at 60 Hz would
 * lose three digits of the damping:
 *     v3 = x - ic2;  r1 = a2 v3 - d ic1;  r2 = a2 ic1 + a3 v3
 *     v1 = ic1 + r1;  v2 = ic2 + r2;  ic1 = v1 + r1;  ic2 = v2 + r2
 *
 * Why a fade is safe: from frame to frame the states go by the matrix I - 2N,
 * N = [d a2; -a2 a3], and for every g, k > 0 N + N' - 2 N'N is positive semidefinite (its
 * determinant is 0, its diagonal a1^2 g k (1, g^2) > 0), so that ic1^2 + ic2^2 never grows without
 * input. The matrix is linear in the coefficients, and a mixture of matrices that do not lengthen a
 * vector does not either: any mixture of any two designs, changed at every frame, is stable.
 * The output is linear in the coefficients too, and has no jump where they have none.
 *
 * A section that does nothing is left out: with none at work the input passes bit for bit. One that
 * comes to work starts from rest at its own frequency, its effect faded in.
 * Latency 0. Cost 16 operations a frame and section at work, for two channels as for one; 22 while
 * something moves. */
#ifndef SISKIN_FILTER_EQ_SECTIONS_H
#define SISKIN_FILTER_EQ_SECTIONS_H

#include "basic/simd.h"
#include "filter/matched.h"

#include <stdbool.h>
#include <stddef.h>

#define EQ_FADE_MS 30.0

enum { EQ_SECTIONS = 4, EQ_CHANNELS = 2, EQ_COEFFICIENTS = 6 };

/* d, a2, a3, m0, m1, m2 */
typedef struct {
    float of[EQ_COEFFICIENTS];
} EqSection;

typedef struct {
    size_t fade; /* frames */
    struct {
        bool fresh;  /* nothing has run yet: goals are met at once */
        size_t left; /* frames of the fade to come */
        bool works[EQ_SECTIONS],
            goes[EQ_SECTIONS]; /* at work; and will be left out after the fade */
        EqSection now[EQ_SECTIONS], step[EQ_SECTIONS], goal[EQ_SECTIONS];
        Simd ic1[EQ_SECTIONS], ic2[EQ_SECTIONS];
    } state;
} EqSections;

/* All sections pass. */
void eq_sections_prepare(EqSections *eq, double rate_hz);
/* History := silence; the goals stay, and are met from the first frame on. */
void eq_sections_reset(EqSections *eq);
/* Starts a fade of section `which` to that filter; NULL: to none. Computes in double; call it when
 * something has changed. A fade under way goes on from where it is, and takes its full time. */
void eq_sections_aim(EqSections *eq, unsigned which, const Matched *filter);
/* n frames of two channels; for mono give the same twice. in may equal out. */
void eq_sections_process(EqSections *eq, const float *const in[EQ_CHANNELS],
                         float *const out[EQ_CHANNELS], size_t n);

#endif
