/* SPDX-License-Identifier: ISC */
/* spectral_centre.h: where in a band the energy lies and how widely it is spread, with no transform
 * and no trigonometry.
 *
 * From the power P of a band signal, S of its first and C of its second difference (band_ratio.h):
 *     u  = S / 4P                       mean of sin^2(w/2) over the spectrum
 *     du = sqrt(C/P - (S/P)^2) / 4      its deviation
 *     g  = sqrt(u / (1 - u))            tan(w/2): the centre, as state-variable filters want it
 *     d  = du / (2 sqrt(u (1 - u)))     deviation of the angle w/2, to first order in du
 * The centre is the root of the mean square frequency (Kedem, Proc. IEEE 74(11), 1986): of a sine
 * its frequency; of noise between f1 and f2, both well under the Nyquist frequency,
 * sqrt((f1^2 + f1 f2 + f2^2) / 3).
 *
 * The three powers are summed with an exponential memory of 30 ms before they are divided. So each
 * moment counts by its energy: a sibilant takes the centre over as soon as it is louder than what
 * was there, and silence moves nothing. A gain before the unit changes nothing.
 * Valid for centres well inside 0 .. rate/2. Latency that of the powers. Cost: two square roots and
 * three divisions a step, two more divisions for the edges. */
#ifndef SISKIN_FILTER_SPECTRAL_CENTRE_H
#define SISKIN_FILTER_SPECTRAL_CENTRE_H

typedef struct {
    float memory;    /* pole */
    float low, high; /* limits of g */
    float top;       /* g of the highest edge */
    struct {
        float power, slope, curve;
    } state;
} SpectralCentre;

typedef struct {
    float g;      /* tan(pi centre / rate) */
    float spread; /* deviation of pi frequency / rate, radians, >= 0 */
} CentreAndSpread;

void spectral_centre_prepare(SpectralCentre *c, double steps_per_second);
void spectral_centre_reset(SpectralCentre *c);
/* The centre is kept within low_hz..high_hz, 0 < low_hz <= high_hz < 0.48 rate. */
void spectral_centre_set(SpectralCentre *c, double rate_hz, float low_hz, float high_hz);
/* Mean squares of the band, of its first and of its second difference at one moment. Where nothing
 * was heard yet: the middle of the limits, no spread. */
CentreAndSpread spectral_centre_step(SpectralCentre *c, float power, float slope, float curve);

/* The edges, as tangents like g, of what lies from `below` deviations under the centre to `above`
 * over it; the lower at least 0.4 g, the upper at most that of 0.48 rate; the spread is taken as at
 * least a tenth of the centre. below, above: 0..6. */
void spectral_centre_edges(const SpectralCentre *c, CentreAndSpread now, float below, float above,
                           float *low, float *high);

/* g as a frequency in Hz. */
float spectral_centre_hz(double rate_hz, float g);

#endif
