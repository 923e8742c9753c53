/* SPDX-License-Identifier: ISC */
/* The same take a little later must come out the same: decisions may not hang on where a hop begins.
 *
 * Every bundle found, at its defaults; a key, where there is one, is the take itself. The take is
 * run as it is, and with 37, 101 and 229 frames of silence ahead. Levels, RMS over each 100 ms of the
 * aligned outputs: places are those within 60 dB of the loudest of the input. Given is how many of
 * 2000 places differ by over 1 dB. */
#include "quality/quality.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const size_t LATER[] = {37, 101, 229};
enum { SHIFTS = sizeof LATER / sizeof *LATER };

typedef struct {
    float *in, *as_it_is, *later; /* [n + the longest shift] */
} Takes;

static bool run(Quality *quality, const HostPlugin *plugin, const Voice *voice, const float *in,
                size_t n, float *out) {
    QualityRun r = {.plugin = plugin->id,
                    .rate_hz = voice->rate_hz,
                    .in = in,
                    .key = plugin->n_key ? in : NULL,
                    .n = n};
    r.out = out;
    return quality_render(quality, &r);
}

static void compare(const Quality *quality, const Voice *voice, const Takes *takes, size_t later,
                    Samples *differs) {
    size_t hop = (size_t)(0.1 * voice->rate_hz);
    double loudest = -200.0;
    for (size_t at = 0; at + hop <= voice->n; at += hop)
        loudest = fmax(loudest, signals_rms_db(voice->audio + at, hop));
    for (size_t at = 0; at + hop <= voice->n; at += hop) {
        if (signals_rms_db(voice->audio + at, hop) < loudest - 60.0)
            continue;
        double one = signals_rms_db(takes->as_it_is + at, hop);
        double other = signals_rms_db(takes->later + later + at, hop);
        samples_add(differs, fabs(one - other) > 1.0 ? 2000.0 : 0.0);
        if (fabs(one - other) > 1.0)
            quality_note(quality, 2, "    %-20s %8.3f s, %3zu frames later: %6.1f, not %6.1f dB",
                         voice->name, (double)at / voice->rate_hz, later, other, one);
    }
}

static void judge_voice(Quality *quality, const HostPlugin *plugin, const Voice *voice,
                        Samples *differs) {
    size_t room = voice->n + LATER[SHIFTS - 1];
    float *memory = calloc(3 * room, sizeof *memory);
    if (!memory) {
        quality->broken = true;
        return;
    }
    Takes takes = {memory, memory + room, memory + 2 * room};
    bool fine = run(quality, plugin, voice, voice->audio, voice->n, takes.as_it_is);
    for (size_t k = 0; k < SHIFTS && fine; k++) {
        memset(takes.in, 0, LATER[k] * sizeof *takes.in);
        memcpy(takes.in + LATER[k], voice->audio, voice->n * sizeof *takes.in);
        fine = run(quality, plugin, voice, takes.in, voice->n + LATER[k], takes.later);
        if (fine)
            compare(quality, voice, &takes, LATER[k], differs);
    }
    free(memory);
}

static void judge_plugin(Quality *quality, const HostPlugin *plugin) {
    Samples differs[2] = {{NULL, 0, 0}, {NULL, 0, 0}};
    char what[128];
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, plugin, voice, &differs[voice->recorded]);
    }
    snprintf(what, sizeof what, "%s a few frames later: of 2000 places, differ", plugin->id);
    quality_row(quality, what, "", (Figure){samples_mean(&differs[0]), samples_mean(&differs[1])},
                QUALITY_AT_MOST, 1.0);
    samples_free(&differs[0]);
    samples_free(&differs[1]);
}

static void rows(Quality *quality) {
    size_t n = 0;
    const char *const *uris = host_own_uris(quality->host, &n);
    for (size_t i = 0; i < n; i++) {
        const HostPlugin *plugin = host_find(quality->host, uris[i], 0, NULL);
        if (plugin && plugin->id && plugin->n_in == 1)
            judge_plugin(quality, plugin);
    }
}

extern const QualityPart quality_phase;
const QualityPart quality_phase = {
    .name = "phase", .bundle = "rumble-filter", .run = rows, .voices = true};
