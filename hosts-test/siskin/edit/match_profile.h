/* SPDX-License-Identifier: ISC */
/* match_profile.h: the colour of a voice: four bands and a spectrum, of what is sung alone. */
#ifndef SISKIN_EDIT_MATCH_PROFILE_H
#define SISKIN_EDIT_MATCH_PROFILE_H

#include "host/host.h"
#include "measure/voice_bands.h"
#include "siskin/measure/take.h"

enum { MATCH_BANDS = CROSSOVER_BANDS, MATCH_THIRDS = 24 };

/* Centres of the spectrum's thirds of an octave: 100 Hz 2^(k / 3), up to 20 kHz. */
double match_third_hz(size_t third);

/* As band-colour is set. */
typedef struct {
    CrossoverParams splits;
    double level_db[MATCH_BANDS], drive_db[MATCH_BANDS];
} MatchSetting;

typedef struct {
    double sung_s, lufs; /* that counted; their loudness */
    double level_db[MATCH_BANDS], crest_db[MATCH_BANDS];
    double third_db[MATCH_THIRDS]; /* NAN where the rate ends */
} MatchProfile;

/* The splits that band-colour has at first; but the lowest lies over the fundamentals of most notes
 * of both takes, as far as it goes, so that what is told of the lowest band is no matter of who
 * sings higher. */
CrossoverParams match_splits(const Measures *take, const Measures *reference);

/* Of a take that was measured; or of what band-colour makes of it with the setting, when `host` is
 * given; without it only the splits of the setting matter. Counted are the 20 ms that are voiced
 * and within a phrase; breaths, gaps, noise and /s/ are no colour. A stereo take is judged by the
 * mean of its channels. Fails as audio_open, audio_read and host_instantiate do. */
bool match_profile(MatchProfile *profile, const Measures *measures, Host *host,
                   const MatchSetting *setting, HostError *error);

#endif
