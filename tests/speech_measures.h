/* SPDX-License-Identifier: ISC */
/* speech_measures.h: how near a processed voice is to the clean one, all in double inside.
 *
 * Nothing here uses the code under test. The clean and the processed are aligned to the sample. */
#ifndef SISKIN_TESTS_SPEECH_MEASURES_H
#define SISKIN_TESTS_SPEECH_MEASURES_H

#include <stddef.h>

/* Scale-invariant ratio of voice to distortion, dB (Le Roux et al., "SDR - half-baked or well
 * done?", ICASSP 2019): 10 log10(|a s|^2 / |a s - y|^2), a = <y, s> / <s, s>. At most 200. */
double speech_si_sdr(const float *clean, const float *processed, size_t n);

/* Short-time objective intelligibility, 0..1 (Taal, Hendriks, Heusdens, Jensen, IEEE TASLP 19(7),
 * 2011): 15 third-octave bands from 150 Hz of frames of 25.6 ms under a Hann window, one half
 * apart, frames over 40 dB under the loudest left out; correlations over 30 frames, clipped at -15
 * dB. The bands are read from a spectrum at the take's own rate, where the paper resamples to 10
 * kHz; nothing in it reaches above 4.3 kHz. NaN: fewer than 30 frames, or out of memory. rate_hz
 * 8.7 kHz and more. */
double speech_stoi(const float *clean, const float *processed, size_t n, double rate_hz);

/* Log-spectral distance, dB (Gray and Markel, IEEE Trans. ASSP 24(5), 1976): root mean square over
 * bins of the difference in level, averaged over frames of some 20..43 ms, one half apart; levels
 * no lower than 60 dB under the clean take's loudest bin. NaN as above. */
double speech_lsd(const float *clean, const float *processed, size_t n, double rate_hz);

#endif
