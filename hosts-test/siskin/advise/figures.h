/* SPDX-License-Identifier: ISC */
/* figures.h: what rules judge a take by, each a number made of its measures, and the
 * limits that settings aim for.
 *
 * Figures are NAN when they cannot be told, and +-INFINITY where there is nothing at all of what is
 * looked for. Levels are in dB; "under" counts downwards from the voice, so more is better. */
#ifndef SISKIN_ADVISE_FIGURES_H
#define SISKIN_ADVISE_FIGURES_H

#include "siskin/measure/take.h"

/* With the voice played at 78 dB SPL: 37.5 dB SPL is the threshold of hearing at 63 Hz, and it is
 * higher below (ISO 226:2003, from memory). */
#define ADVICE_LOW_END_UNDER_DB 40.0
/* The same voice, and the 23..26 dB SPL of a quiet living room at night (common practice); 26.5 dB
 * SPL is also the threshold of hearing at 100 Hz (ISO 226:2003, from memory). */
#define ADVICE_NOISE_UNDER_DB 55.0
/* Under a lead that is compressed by 6 to 10 dB it is then 30 to 35 dB under the voice, where it
 * shows between words and in their upper octaves (common practice). */
#define ADVICE_HISS_UNDER_DB 40.0
/* No figure is published for sung breaths; as the ready chain lead-gently leaves them: common
 * breaths lie 20 dB and more under the voice, and it takes 8 dB off, net of what it compresses. */
#define ADVICE_BREATH_UNDER_DB 30.0
/* The share of the breaths that is let be, since one in ten may be no breath. */
#define ADVICE_BREATH_SHARE 0.1
/* Singers whose /s/ is as loud as published (Jongman, Wayland and Wong, JASA 108(3), 2000: 11.0 dB
 * under the vowel) read -7 dB here in the upper quarter of all sibilants, at their strongest
 * moment, and -4.8 at most; made 10 dB too hot, from -2.9 on. 5 dB is the least change in level
 * that is heard around 8 kHz (Monson, Lotto and Story, JASA 135, 2014). */
#define ADVICE_SIBILANT_MOST_DB (-3.0)
#define ADVICE_SIBILANT_SHARE 0.75
/* "A couple of dB" is what is ridden by hand (common practice). */
#define ADVICE_SPREAD_MOST_DB 2.0

/* Of the notes' time, over INTONATION_FAR_CENTS off. */
#define ADVICE_FAR_OFF_PERCENT 25.0
/* Tuned to its middle, a take that drifts by so much is 15 cents off at its ends; what reads more
 * may be no drift at all. */
#define ADVICE_MOST_DRIFT_CENTS 30.0

/* What lies below the voice, with the hum there; that hum alone; and hum where the voice is. */
double figure_rumble_under_db(const Measures *m);
double figure_low_hum_under_db(const Measures *m);
double figure_high_hum_under_db(const Measures *m);
/* dBFS, of the worse channel. */
double figure_dc_db(const Measures *m);
/* Of those that are clear (MEASURE_CLEAR_CLICK_DB). */
double figure_clicks_a_minute(const Measures *m);
double figure_thumps_a_minute(const Measures *m);
/* The loud breaths, as riding would leave them. */
double figure_breath_under_db(const Measures *m);
/* The hot sibilants re the vowels, as riding would leave them; and any quantile as recorded. */
double figure_sibilant_db(const Measures *m);
double figure_sibilant_quantile_db(const Measures *m, double p);
/* The noise of the gaps, under the softest phrase. */
double figure_noise_under_db(const Measures *m);
/* Deviation of the loudness of phrases, and whether it is more than ADVICE_SPREAD_MOST_DB. */
double figure_spread_db(const Measures *m);
bool figure_needs_riding(const Measures *m);
double figure_clipped_tops(const Measures *m);
/* Reverberation time of the room. */
double figure_t60_s(const Measures *m);
double figure_standing_peak_db(const Measures *m);
/* Percent of the notes' time that is over INTONATION_FAR_CENTS off, of a take whose semitones are
 * known and stay where they are; NAN of any other. */
double figure_far_off_percent(const Measures *m);
/* How far off a take is that fits no semitones, or leaves them: mean size of the error, or the
 * least it can be. */
double figure_no_scale_cents(const Measures *m);

#endif
