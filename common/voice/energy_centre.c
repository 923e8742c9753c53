/* SPDX-License-Identifier: ISC */
#include "voice/energy_centre.h"

#include "basic/maths.h"

#include <math.h>

bool energy_windows_prepare(EnergyWindows *windows, Arena *arena) {
    const size_t n = ENERGY_CENTRE_STEPS + 1;
    windows->all = arena_take(arena, n, sizeof(float));
    windows->even = arena_take(arena, n, sizeof(float));
    windows->odd = arena_take(arena, n, sizeof(float));
    if (!windows->all || !windows->even || !windows->odd)
        return false;
    for (size_t k = 0; k < n; k++) {
        double u = (double)k / ENERGY_CENTRE_STEPS, w = 0.5 + 0.5 * cos(PI * u);
        windows->all[k] = (float)w;
        windows->even[k] = (float)(w * cos(2.0 * PI * u));
        windows->odd[k] = (float)(w * sin(2.0 * PI * u));
    }
    return true;
}

/* Turns, -0.5..0.5. */
static double turns(double y, double x) {
    double larger = fmax(fabs(x), fabs(y)), smaller = fmin(fabs(x), fabs(y));
    if (larger <= 0.0)
        return 0.0;
    double t = smaller / larger, eighth = t * (0.125 + 0.0434547 * (1.0 - t));
    double quarter = fabs(y) > fabs(x) ? 0.25 - eighth : eighth;
    double half = x < 0.0 ? 0.5 - quarter : quarter;
    return y < 0.0 ? -half : half;
}

EnergyCentre energy_centre(const EnergyWindows *windows, const float *x, double fraction,
                           double period) {
    const double step = ENERGY_CENTRE_STEPS / period;
    float all = 1e-30f, even = 0.0f, odd = 0.0f;
    for (int j = (int)ceil(fraction - period); (double)j < fraction + period; j++) {
        double at = ((double)j - fraction) * step;
        size_t k = (size_t)(fabs(at) + 0.5);
        float slope = x[j + 1] - x[j - 1], power = slope * slope;
        all += power * windows->all[k];
        even += power * windows->even[k];
        odd += at < 0.0 ? -power * windows->odd[k] : power * windows->odd[k];
    }
    double depth = sqrt((double)even * (double)even + (double)odd * (double)odd) / (double)all;
    return (EnergyCentre){turns((double)odd, (double)even), fmin(1.0, depth)};
}
