/* SPDX-License-Identifier: ISC */
/* worst.h: one figure of every voice under one setting of a plugin, and the worst of them. */
#ifndef SISKIN_QUALITY_WORST_H
#define SISKIN_QUALITY_WORST_H

#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>

/* What is asked of one voice and its result, aligned. */
typedef double (*VoiceFigure)(const Voice *voice, const float *out);

typedef struct {
    const char *plugin;
    const QualitySetting *settings;
    size_t n_settings;
    VoiceFigure figure;
    bool lowest; /* the worst is the lowest; else the one farthest from 0 */
} WorstOf;

static inline void worst_take(double *worst, double figure, bool lowest) {
    if (isnan(*worst) || (lowest ? figure < *worst : fabs(figure) > fabs(*worst)))
        *worst = figure;
}

static inline Figure worst_of(Quality *quality, const WorstOf *of) {
    Figure worst = {(double)NAN, (double)NAN};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        float *out = calloc(voice->n + 1, sizeof *out);
        QualityRun run = {.plugin = of->plugin,
                          .settings = of->settings,
                          .n_settings = of->n_settings,
                          .rate_hz = voice->rate_hz,
                          .in = voice->audio,
                          .out = out,
                          .n = voice->n};
        if (out && quality_render(quality, &run)) {
            double figure = of->figure(voice, out);
            worst_take(voice->recorded ? &worst.recorded : &worst.sung, figure, of->lowest);
            quality_note(quality, 1, "  %-22s %s %8.3f", voice->name, of->plugin, figure);
        } else {
            quality->broken = true;
        }
        free(out);
    }
    return worst;
}

#endif
