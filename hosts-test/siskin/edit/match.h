/* SPDX-License-Identifier: ISC */
/* match.h: the setting of band-colour that brings a take to the colour of a reference.
 *
 * Both are compared at equal loudness, over sung time (match_profile.h). Levels: that of each band
 * is moved by what it lacks, the take is heard through the processor again, and so on;
 * the loudness stays as it was. Density: where the crest of a band is over that of the
 * reference by MATCH_CREST_DB and more, its drive is sought by halving, since more drive means less
 * crest; a drive that did not help is taken back, and drives are eased where their harmonics would
 * put the levels of the bands above out of reach. Where the take is the denser one, nothing can be
 * done. What is apart by less than MATCH_LEVEL_DB in every band and MATCH_CREST_DB in density is
 * alike: no less is heard of a band in a voice (common practice: 1 dB). */
#ifndef SISKIN_EDIT_MATCH_H
#define SISKIN_EDIT_MATCH_H

#include "siskin/edit/match_profile.h"

#include <stdio.h>

#define MATCH_LEVEL_DB 0.3
#define MATCH_CREST_DB 1.0
#define MATCH_LEAST_SUNG_S 1.0 /* of either, to tell a colour at all */

typedef struct {
    MatchProfile take, reference, after; /* `after` is `take` where nothing is to be done */
    MatchSetting setting;
    bool any; /* there is something to be done */
} Match;

/* Called with the share that is done. */
typedef void MatchProgress(void *user, double done);

/* Fails as match_profile does, and where either has too little singing. */
bool match_find(Match *match, Host *host, const Measures *take, const Measures *reference,
                MatchProgress *progress, void *user, HostError *error);

/* As a line of a chain: "  band-colour split_1=180 level_2=1.5". */
void match_print_setting(FILE *file, const MatchSetting *setting);

/* "below 180 Hz", "180..1100 Hz"; the caller frees each. */
void match_band_names(const Match *match, char *name[MATCH_BANDS]);

/* How far a band of the take lies over that of the reference, at equal loudness; and how far the
 * worst does. */
double match_level_off(const MatchProfile *take, const MatchProfile *reference, unsigned band);
double match_worst_off(const MatchProfile *take, const MatchProfile *reference);

#endif
