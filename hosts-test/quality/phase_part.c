/* SPDX-License-Identifier: ISC */
/* The same take a little later must come out the same: decisions may not hang on where a hop
 * begins.
 *
 * Every bundle found, at its defaults; a key, where there is one, is the take itself. The take is
 * run with one frame ahead, and with 37 to 229 more. These hold noise at -120 dBFS: after
 * silence all comes out the same, bit for bit, as the contract asks. Levels, RMS over each 100 ms
 * of the aligned outputs: places are those within 60 dB of the loudest of the input. Given is how
 * many of 2000 places differ by over 1 dB, where that can be heard: where the louder of the two
 * outputs lies within 45 dB of the loudest of the input, since what is quieter lies under the room
 * of most takes. Places that differ below that count in a row of their own, the worst plugin's. */
#include "quality/quality.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const size_t LATER[] = {37, 71, 101, 163, 229};
enum { SHIFTS = sizeof LATER / sizeof *LATER };
static const double HEARD_DB = 45.0; /* under the loudest */
static const double AHEAD_LEVEL = 1e-6;
/* Frames ahead of the first run, without which clocks would start at the take's own first sound. */
enum { FIRST = 1 };

typedef struct {
    Samples heard, unheard; /* 2000 for each place that differs, else 0 */
} Differs;

typedef struct {
    float *in, *first, *later; /* [n + the most frames ahead] */
} Takes;

/* The take, `ahead` frames later, into out. */
static bool run(Quality *quality, const HostPlugin *plugin, const Voice *voice, size_t ahead,
                float *in, float *out) {
    Random random = random_seeded(37);
    for (size_t t = 0; t < ahead; t++)
        in[t] = (float)(AHEAD_LEVEL * random_normal(&random));
    memcpy(in + ahead, voice->audio, voice->n * sizeof *in);
    QualityRun r = {.plugin = plugin->id,
                    .rate_hz = voice->rate_hz,
                    .in = in,
                    .key = plugin->n_key ? in : NULL,
                    .n = voice->n + ahead};
    r.out = out;
    return quality_render(quality, &r);
}

static void compare(const Quality *quality, const Voice *voice, const Takes *takes, size_t later,
                    Differs *differs) {
    size_t hop = (size_t)(0.1 * voice->rate_hz);
    double loudest = -200.0;
    for (size_t at = 0; at + hop <= voice->n; at += hop)
        loudest = fmax(loudest, signals_rms_db(voice->audio + at, hop));
    for (size_t at = 0; at + hop <= voice->n; at += hop) {
        if (signals_rms_db(voice->audio + at, hop) < loudest - 60.0)
            continue;
        double one = signals_rms_db(takes->first + FIRST + at, hop);
        double other = signals_rms_db(takes->later + FIRST + later + at, hop);
        bool apart = fabs(one - other) > 1.0, heard = fmax(one, other) > loudest - HEARD_DB;
        samples_add(&differs->heard, apart && heard ? 2000.0 : 0.0);
        samples_add(&differs->unheard, apart && !heard ? 2000.0 : 0.0);
        if (fabs(one - other) > 1.0)
            quality_note(quality, 2, "    %-20s %8.3f s, %3zu frames later: %6.1f, not %6.1f dB%s",
                         voice->name, (double)at / voice->rate_hz, later, other, one,
                         heard ? "" : " (not heard)");
    }
}

static void judge_voice(Quality *quality, const HostPlugin *plugin, const Voice *voice,
                        Differs *differs) {
    size_t room = voice->n + FIRST + LATER[SHIFTS - 1];
    float *memory = calloc(3 * room, sizeof *memory);
    if (!memory) {
        quality->broken = true;
        return;
    }
    Takes takes = {memory, memory + room, memory + 2 * room};
    bool fine = run(quality, plugin, voice, FIRST, takes.in, takes.first);
    for (size_t k = 0; k < SHIFTS && fine; k++) {
        fine = run(quality, plugin, voice, FIRST + LATER[k], takes.in, takes.later);
        if (fine)
            compare(quality, voice, &takes, LATER[k], differs);
    }
    free(memory);
}

/* Raises *worst to this plugin's places that differ where it is not heard. */
static void judge_plugin(Quality *quality, const HostPlugin *plugin, Figure *worst) {
    Differs differs[2];
    memset(differs, 0, sizeof differs);
    char what[128];
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, plugin, voice, &differs[voice->recorded]);
    }
    snprintf(what, sizeof what, "%s a few frames later: of 2000 places, differ", plugin->id);
    quality_row(quality, what, "",
                (Figure){samples_mean(&differs[0].heard), samples_mean(&differs[1].heard)},
                QUALITY_AT_MOST, 1.0);
    worst->sung = fmax(worst->sung, samples_mean(&differs[0].unheard));
    worst->recorded = fmax(worst->recorded, samples_mean(&differs[1].unheard));
    quality_note(quality, 1, "  %s: %.3g sung, %.3g recorded where it is not heard", plugin->id,
                 samples_mean(&differs[0].unheard), samples_mean(&differs[1].unheard));
    for (int k = 0; k < 2; k++) {
        samples_free(&differs[k].heard);
        samples_free(&differs[k].unheard);
    }
}

static void rows(Quality *quality) {
    size_t n = 0;
    Figure worst = {(double)NAN, (double)NAN}; /* fmax() takes the other */
    const char *const *uris = host_own_uris(quality->host, &n);
    for (size_t i = 0; i < n; i++) {
        const HostPlugin *plugin = host_find(quality->host, uris[i], 0, NULL);
        if (plugin && plugin->id && plugin->n_in == 1)
            judge_plugin(quality, plugin, &worst);
    }
    quality_row(quality, "the same where it is not heard, worst plugin", "", worst, QUALITY_AT_MOST,
                1.0);
}

extern const QualityPart quality_phase;
const QualityPart quality_phase = {
    .name = "phase", .bundle = "rumble-filter", .run = rows, .voices = true};
