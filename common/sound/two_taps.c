/* SPDX-License-Identifier: ISC */
#include "sound/two_taps.h"

#include <math.h>
#include <string.h>

/* Half of the longest kernel, which a reading needs beyond its place, and some. */
static const double KERNEL = 20.0;

void two_taps_prepare(TwoTaps *taps, double rate_hz) {
    taps->half = rint(TWO_TAPS_HALF_MS * 1e-3 * rate_hz);
    two_taps_reset(taps);
}

void two_taps_reset(TwoTaps *taps) {
    grains_reset(&taps->grains);
    taps->state.next = -1.0;
}

void two_taps_plan(TwoTaps *taps, const PsolaSource *source, double ratio) {
    const double now = (double)psola_source_now(source), half = taps->half;
    const double until = (double)psola_source_until(source);
    if (taps->state.next < now + half)
        taps->state.next = half * ceil((now + half) / half);
    while (taps->state.next - half < until) {
        double ahead =
            half * (ratio - 1.0) + KERNEL + (double)source->marks.tick - (double)source->latency;
        grains_add(&taps->grains, &(Grain){.centre = taps->state.next,
                                           .source = taps->state.next - fmax(0.0, ahead),
                                           .left = half,
                                           .right = half,
                                           .speed = ratio,
                                           .gain = 1.0f});
        taps->state.next += half;
    }
}

void two_taps_process(TwoTaps *taps, const PsolaSource *source, float *const *out, size_t at,
                      size_t n) {
    for (unsigned c = 0; c < source->past.channels; c++)
        memset(out[c] + at, 0, n * sizeof(float));
    grains_process(&taps->grains, &source->past, psola_source_now(source), out, at, n);
}
