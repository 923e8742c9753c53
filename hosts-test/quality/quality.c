/* SPDX-License-Identifier: ISC */
/* siskin-quality: runs the built bundles over labelled voices and prints what they reach beside the
 * target. Judged on the held set unless told otherwise. */
#include "quality/quality.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void samples_add(Samples *samples, double value) {
    if (samples->n == samples->room) {
        size_t room = 2 * samples->room + 64;
        double *grown = realloc(samples->value, room * sizeof *grown);
        if (!grown) {
            perror("siskin-quality");
            exit(2);
        }
        samples->value = grown;
        samples->room = room;
    }
    samples->value[samples->n++] = value;
}

double samples_quantile(Samples *samples, double p) {
    return signals_quantile(samples->value, samples->n, p);
}

double samples_mean(const Samples *samples) {
    double sum = 0.0;
    for (size_t i = 0; i < samples->n; i++)
        sum += samples->value[i];
    return samples->n ? sum / (double)samples->n : (double)NAN;
}

double samples_spread(Samples *samples) {
    return (samples_quantile(samples, 0.75) - samples_quantile(samples, 0.25)) / 1.349;
}

void samples_free(Samples *samples) {
    free(samples->value);
    *samples = (Samples){NULL, 0, 0};
}

void samples_pour(Samples *from, Samples *to) {
    for (size_t i = 0; i < from->n; i++)
        samples_add(to, from->value[i]);
    samples_free(from);
}

static bool reached(double figure, QualityBound bound, double target) {
    if (isnan(figure))
        return true;
    if (bound == QUALITY_AT_LEAST)
        return figure >= target;
    return (bound == QUALITY_AT_MOST ? figure : fabs(figure)) <= target;
}

static void print_figure(double figure) {
    if (isnan(figure))
        printf(" %10s", "-");
    else
        printf(" %10.4g", figure);
}

void quality_row(Quality *quality, const char *what, const char *unit, Figure figure,
                 QualityBound bound, double target) {
    static const char *const sign[] = {">=", "<=", "+-"};
    bool measured = !isnan(figure.sung) || !isnan(figure.recorded);
    bool ok =
        measured && reached(figure.sung, bound, target) && reached(figure.recorded, bound, target);
    printf("%-58s", what);
    print_figure(figure.sung);
    print_figure(figure.recorded);
    printf("  %s %7.2f %-2s %s\n", sign[bound], target, unit,
           !measured ? "not measured"
           : ok      ? "pass"
                     : "short");
    fflush(stdout);
    quality->rows++;
    quality->failed += !ok;
}

void quality_note(const Quality *quality, int level, const char *format, ...) {
    if (quality->verbose < level)
        return;
    va_list arguments;
    va_start(arguments, format);
    vprintf(format, arguments);
    va_end(arguments);
    putchar('\n');
}

bool quality_render(Quality *quality, const QualityRun *run) {
    enum { BLOCK = 512 };
    HostError error;
    const HostPlugin *plugin = host_find(quality->host, run->plugin, 1, &error);
    HostInstance *instance =
        plugin ? host_instantiate(quality->host, plugin, run->rate_hz, BLOCK, &error) : NULL;
    bool ok = instance != NULL;
    for (size_t i = 0; ok && i < run->n_settings; i++)
        ok = host_set(instance, run->settings[i].symbol, run->settings[i].value, &error);
    HostRender render = {.in = &run->in,
                         .key = run->key ? &run->key : NULL,
                         .out = &run->out,
                         .frames = run->n,
                         .block = BLOCK,
                         .after_run = run->after_run,
                         .user = run->user};
    ok = ok && host_render_aligned(instance, &render, &error);
    if (!ok) {
        fprintf(stderr, "siskin-quality: %s: %s\n", run->plugin, error.text);
        quality->broken = true;
    }
    host_free(instance);
    return ok;
}

static bool wanted(const QualityPart *part, const char *only) {
    return !only || strcmp(only, part->name) == 0;
}

typedef struct {
    const char *bundles, *only;
    MaterialSet set;
    int verbose;
    bool gate;
} Options;

static const char usage[] =
    "usage: siskin-quality [options]\n"
    "  --set tune|held   the voices to tune on, or those held back to judge (held)\n"
    "  --only PART       one processor's rows: the name of a file here, breath for breath_part.c\n"
    "  -v, -vv           a row for each voice; also for each event\n"
    "  --bundles DIR     where the bundles are (build/lv2)\n"
    "  --gate            exit 1 when a figure falls short\n";

static bool read_set(const char *name, MaterialSet *set) {
    *set = strcmp(name, "tune") == 0 ? MATERIAL_TUNE : MATERIAL_HELD;
    return *set == MATERIAL_TUNE || strcmp(name, "held") == 0;
}

static bool read_options(int argc, char **argv, Options *o) {
    for (int i = 1; i < argc; i++) {
        bool more = i + 1 < argc, ok = true;
        if (strcmp(argv[i], "-v") == 0)
            o->verbose++;
        else if (strcmp(argv[i], "-vv") == 0)
            o->verbose += 2;
        else if (strcmp(argv[i], "--gate") == 0)
            o->gate = true;
        else if (more && strcmp(argv[i], "--bundles") == 0)
            o->bundles = argv[++i];
        else if (more && strcmp(argv[i], "--only") == 0)
            o->only = argv[++i];
        else if (more && strcmp(argv[i], "--set") == 0)
            ok = read_set(argv[++i], &o->set);
        else
            ok = false;
        if (!ok)
            return false;
    }
    for (const QualityPart *const *part = quality_parts; *part; part++)
        if (wanted(*part, o->only))
            return true;
    return false;
}

static void say(const char *line) {
    printf("  %s\n", line);
}

static void run_parts(Quality *quality, const char *only) {
    printf("%-58s %10s %10s  %s\n", "", "sung", "recorded", "target");
    for (const QualityPart *const *part = quality_parts; *part; part++) {
        HostError error;
        if (!wanted(*part, only))
            continue;
        if ((*part)->bundle && !host_find(quality->host, (*part)->bundle, 1, &error)) {
            printf("%s: %s\n", (*part)->bundle, error.text);
            quality->broken = true;
            continue;
        }
        (*part)->run(quality);
    }
}

static bool needs_voices(const char *only) {
    for (const QualityPart *const *part = quality_parts; *part; part++)
        if ((*part)->voices && wanted(*part, only))
            return true;
    return false;
}

int main(int argc, char **argv) {
    Options options = {.bundles = "build/lv2", .set = MATERIAL_HELD};
    if (!read_options(argc, argv, &options)) {
        fputs(usage, stderr);
        return 2;
    }
    HostError error;
    Host *host = host_open(options.bundles, &error);
    if (!host) {
        fprintf(stderr, "siskin-quality: %s\n", error.text);
        return 2;
    }
    Material material = {NULL, 0};
    if (needs_voices(options.only) && !material_load(options.set, say, &material)) {
        fputs("siskin-quality: out of memory\n", stderr);
        return 2;
    }
    Quality quality = {
        .host = host, .material = &material, .set = options.set, .verbose = options.verbose};
    run_parts(&quality, options.only);
    printf("%zu of %zu figures reach their targets (%s set)\n", quality.rows - quality.failed,
           quality.rows, options.set == MATERIAL_HELD ? "held" : "tuning");
    material_free(&material);
    host_close(host);
    return quality.broken ? 2 : options.gate && quality.failed ? 1 : 0;
}
