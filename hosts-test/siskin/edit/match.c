/* SPDX-License-Identifier: ISC */
#include "siskin/edit/match.h"

#include "siskin/measure/controls.h"
#include "siskin/text.h"

#include <math.h>
#include <string.h>

enum { HALVINGS = 6, LEVELLINGS = 10, EASINGS = 3, PASSES = HALVINGS + 2 * LEVELLINGS };

/* Of drive: more is heard as an effect, and fills the bands above with harmonics. */
static const double MOST_DRIVE_DB = 12.0;
/* What drives may leave of the worst band's level. */
static const double LEVEL_FIRST_DB = 1.0;

typedef struct {
    Match *match;
    Host *host;
    const Measures *take;
    MatchProgress *progress;
    void *user;
    unsigned pass;
    HostError *error;
} Search;

double match_level_off(const MatchProfile *take, const MatchProfile *reference, unsigned band) {
    return (take->level_db[band] - take->lufs) - (reference->level_db[band] - reference->lufs);
}

double match_worst_off(const MatchProfile *take, const MatchProfile *reference) {
    double worst = 0.0;
    for (unsigned b = 0; b < MATCH_BANDS; b++)
        worst = fmax(worst, fabs(match_level_off(take, reference, b))); /* NAN: not known */
    return worst;
}

void match_band_names(const Match *match, char *name[MATCH_BANDS]) {
    const float *split = match->setting.splits.split_hz;
    name[0] = text_print("below %.0f Hz", (double)split[0]);
    for (int b = 1; b < MATCH_BANDS - 1; b++)
        name[b] = text_print("%.0f..%.0f Hz", (double)split[b - 1], (double)split[b]);
    name[MATCH_BANDS - 1] = text_print("above %.0f Hz", (double)split[MATCH_BANDS - 2]);
}

static double crest_over(const MatchProfile *take, const MatchProfile *reference, unsigned band) {
    return take->crest_db[band] - reference->crest_db[band];
}

static double most(const char *kind) {
    return (double)controls_find("band-colour", kind)->maximum;
}

/* Hears the take with the setting as it is. */
static bool try(Search *search) {
    Match *match = search->match;
    if (search->progress)
        search->progress(search->user, fmin(1.0, (double)search->pass++ / PASSES));
    return match_profile(&match->after, search->take, search->host, &match->setting, search->error);
}

/* ---- levels ---- */

/* To the tenths that are printed. */
static double tenth(double db) {
    return round(10.0 * db) / 10.0 + 0.0;
}

/* Whether any was moved. */
static bool level(Match *match) {
    const MatchProfile *reference = &match->reference;
    double top = most("level_1");
    bool moved = false;
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        double goal_db = match->take.lufs + reference->level_db[b] - reference->lufs;
        double lacking = goal_db - match->after.level_db[b];
        double *level_db = &match->setting.level_db[b], was_db = *level_db;
        if (isfinite(lacking))
            *level_db = tenth(fmin(top, fmax(-top, was_db + lacking)));
        moved = moved || *level_db != was_db;
    }
    return moved;
}

/* A band that is soft beside its neighbours holds much of these, and comes to its level in several
 * steps. */
static bool level_off(Search *search) {
    for (int i = 0; i < LEVELLINGS; i++) {
        if (!level(search->match))
            break;
        if (!try(search))
            return false;
    }
    return true;
}

/* ---- density ---- */

typedef struct {
    bool wanted;
    double least, most;
} Bounds;

static bool find_drives(Search *search) {
    Match *match = search->match;
    Bounds bounds[MATCH_BANDS];
    bool any = false;
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        bool wanted = crest_over(&match->after, &match->reference, b) > MATCH_CREST_DB;
        bounds[b] = (Bounds){wanted, 0.0, MOST_DRIVE_DB};
        any = any || wanted;
    }
    for (int i = 0; any && i < HALVINGS; i++) {
        for (unsigned b = 0; b < MATCH_BANDS; b++)
            if (bounds[b].wanted)
                match->setting.drive_db[b] = tenth(0.5 * (bounds[b].least + bounds[b].most));
        if (!try(search))
            return false;
        for (unsigned b = 0; b < MATCH_BANDS; b++) {
            bool more = crest_over(&match->after, &match->reference, b) > 0.0;
            *(more ? &bounds[b].least : &bounds[b].most) = match->setting.drive_db[b];
        }
        level(match);
    }
    return true;
}

/* A drive that leaves a band no nearer than it was is of no use. Whether there was one. */
static bool take_back_what_did_not_help(Match *match, const MatchProfile *undriven) {
    const double hardly_db = 0.2;
    bool any = false;
    for (unsigned b = 0; b < MATCH_BANDS; b++) {
        double before = fabs(crest_over(undriven, &match->reference, b));
        double after = fabs(crest_over(&match->after, &match->reference, b));
        if (after < before - hardly_db || match->setting.drive_db[b] == 0.0)
            continue;
        match->setting.drive_db[b] = 0.0;
        any = true;
    }
    return any;
}

/* Halves the drives, and at last lets go of them, until the levels are as near as without. */
static bool ease_drives(Search *search, const MatchProfile *undriven) {
    Match *match = search->match;
    double best_db = match_worst_off(undriven, &match->reference);
    for (int i = 0; i <= EASINGS; i++) {
        bool driven = false;
        double off_db = match_worst_off(&match->after, &match->reference);
        for (unsigned b = 0; b < MATCH_BANDS; b++)
            driven = driven || match->setting.drive_db[b] > 0.0;
        if (!driven || !(off_db > fmax(LEVEL_FIRST_DB, best_db + MATCH_LEVEL_DB)))
            break;
        for (unsigned b = 0; b < MATCH_BANDS; b++)
            match->setting.drive_db[b] =
                i < EASINGS ? tenth(0.5 * match->setting.drive_db[b]) : 0.0;
        if (!try(search) || !level_off(search))
            return false;
    }
    return true;
}

static bool match_both(Search *search) {
    Match *match = search->match;
    match->after = match->take;
    if (!level_off(search))
        return false;
    MatchProfile undriven = match->after;
    if (!find_drives(search))
        return false;
    take_back_what_did_not_help(match, &undriven);
    if (!try(search) || !level_off(search) || !ease_drives(search, &undriven))
        return false;
    /* Levels and other drives moved since: once more, as it will be. */
    return !take_back_what_did_not_help(match, &undriven) || (try(search) && level_off(search));
}

/* ---- the whole ---- */

static bool is_alike(const Match *match) {
    bool alike = match_worst_off(&match->take, &match->reference) < MATCH_LEVEL_DB;
    for (unsigned b = 0; b < MATCH_BANDS; b++)
        alike = alike && !(crest_over(&match->take, &match->reference, b) > MATCH_CREST_DB);
    return alike;
}

static bool enough(const Measures *m, const MatchProfile *profile, HostError *error) {
    return profile->sung_s >= MATCH_LEAST_SUNG_S ||
           host_fail(error,
                     "%s: %.1f s of steady singing are too little to tell its colour; it "
                     "takes %g s",
                     m->path, profile->sung_s, MATCH_LEAST_SUNG_S);
}

bool match_find(Match *match, Host *host, const Measures *take, const Measures *reference,
                MatchProgress *progress, void *user, HostError *error) {
    Search search = {match, host, take, progress, user, 0, error};
    memset(match, 0, sizeof *match);
    match->setting.splits = match_splits(take, reference);
    if (!match_profile(&match->take, take, NULL, &match->setting, error) ||
        !enough(take, &match->take, error) ||
        !match_profile(&match->reference, reference, NULL, &match->setting, error) ||
        !enough(reference, &match->reference, error))
        return false;
    match->after = match->take;
    match->any = !is_alike(match);
    return !match->any || match_both(&search);
}

void match_print_setting(FILE *file, const MatchSetting *setting) {
    fprintf(file, "  band-colour split_1=%g", (double)setting->splits.split_hz[0]);
    for (int b = 0; b < MATCH_BANDS; b++)
        if (setting->level_db[b] != 0.0)
            fprintf(file, " level_%d=%g", b + 1, setting->level_db[b]);
    for (int b = 0; b < MATCH_BANDS; b++)
        if (setting->drive_db[b] != 0.0)
            fprintf(file, " drive_%d=%g", b + 1, setting->drive_db[b]);
    fputc('\n', file);
}
