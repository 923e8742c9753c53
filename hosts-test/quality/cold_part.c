/* SPDX-License-Identifier: ISC */
/* Playback that begins at a word, or in it: nothing that was heard before helps, and nothing of the
 * word may be lost.
 *
 * Every bundle found that takes no key (to make way is what a key is for) and passes the take on (a
 * reverb's tail is not the word), at its defaults, made
 * anew for each entry: 0, 10 and 50 ms before each word, and once within each word of 0.4 s or
 * more, at a place drawn at random, which may be any sound of it. Half a second is played. A word
 * counts as bitten when, of the first 200 ms of it that are played, a stretch of 20 ms that lies
 * within 30 dB of the loudest of them, and 10 dB over the take's floor, loses over 6 dB, and over 3
 * dB more than when the take is played from its start: to cut a loud /s/ is a de-esser's work. (All
 * levels from 120 Hz up: taking rumble away is no bite.) The first 2 ms after an entry do not
 * count: there the take is cut, and what filters make of a step is theirs. */
#include "quality/quality.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double AHEAD_S[] = {0.0, 0.01, 0.05};
enum { AHEADS = sizeof AHEAD_S / sizeof *AHEAD_S };
static const double WITHIN_DB = 30.0, OVER_FLOOR_DB = 10.0, BITTEN_DB = 6.0, OVER_WARM_DB = 3.0;
static const double PLAYED_S = 0.5, JUDGED_S = 0.2, STRETCH_S = 0.02, CUT_S = 0.002;

typedef struct {
    Quality *quality;
    const HostPlugin *plugin;
    const Voice *voice;
    double floor_db;
    float *out;
    Energy in, warm; /* of the take, and of what is made of it from its start on */
    Samples *bitten; /* 0 or 1 for each entry */
} Judged;

static double find_floor_db(const Voice *voice) {
    Samples levels = {NULL, 0, 0};
    Energy energy;
    size_t hop = (size_t)(STRETCH_S * voice->rate_hz);
    if (!energy_of(voice->audio, voice->n, voice->rate_hz, 120.0, 1e9, &energy))
        return 0.0;
    for (size_t at = 0; at + hop <= voice->n; at += hop)
        samples_add(&levels, energy_db(&energy, at, at + hop));
    double db = samples_quantile(&levels, 0.1);
    samples_free(&levels);
    energy_free(&energy);
    return db;
}

/* The most that a stretch within start..end loses, of those that count; entered at frame `from`. */
static double most_lost_db(const Judged *j, const Energy *in, const Energy *out, size_t from,
                           size_t start, size_t end) {
    size_t stretch = (size_t)(STRETCH_S * j->voice->rate_hz);
    double loudest = ENERGY_FLOOR_DB, most = 0.0;
    for (size_t at = start; at + stretch <= end; at += stretch / 2)
        loudest = fmax(loudest, energy_db(in, at, at + stretch));
    for (size_t at = start; at + stretch <= end; at += stretch / 2) {
        double db = energy_db(in, at, at + stretch);
        size_t a = from + at, b = a + stretch;
        double lost = db - energy_db(out, at, at + stretch);
        double warm = energy_db(&j->in, a, b) - energy_db(&j->warm, a, b);
        bool counts = db > loudest - WITHIN_DB && db > j->floor_db + OVER_FLOOR_DB;
        if (counts && lost > warm + OVER_WARM_DB)
            most = fmax(most, lost);
    }
    return most;
}

/* Plays from frame `from` on; the word begins there or later, at frame `word`. */
static void enter(const Judged *j, size_t from, size_t word) {
    const Voice *voice = j->voice;
    size_t cut = (size_t)(CUT_S * voice->rate_hz), n = (size_t)(PLAYED_S * voice->rate_hz);
    size_t start = word > from + cut ? word - from : cut;
    size_t end = start + (size_t)(JUDGED_S * voice->rate_hz);
    n = n < voice->n - from ? n : voice->n - from;
    QualityRun run = {.plugin = j->plugin->id,
                      .rate_hz = voice->rate_hz,
                      .in = voice->audio + from,
                      .out = j->out,
                      .n = n};
    Energy in = {NULL, 0}, out = {NULL, 0};
    if (quality_render(j->quality, &run) && energy_of(run.in, n, voice->rate_hz, 120.0, 1e9, &in) &&
        energy_of(j->out, n, voice->rate_hz, 120.0, 1e9, &out)) {
        double lost = most_lost_db(j, &in, &out, from, start, end < n ? end : n);
        samples_add(j->bitten, lost > BITTEN_DB);
        if (lost > BITTEN_DB)
            quality_note(j->quality, 2, "    %-20s %8.3f s, entered at %8.3f: loses %5.1f dB",
                         voice->name, (double)word / voice->rate_hz, (double)from / voice->rate_hz,
                         lost);
    }
    energy_free(&in);
    energy_free(&out);
}

static void judge_voice(const Judged *j, uint64_t seed) {
    Random random = random_seeded(seed);
    for (size_t i = 0; i < j->voice->n_labels; i++) {
        const SingerLabel *word = &j->voice->labels[i];
        if (word->kind != SINGER_WORD)
            continue;
        for (int k = 0; k < AHEADS; k++) {
            size_t ahead = (size_t)(AHEAD_S[k] * j->voice->rate_hz);
            if (word->start >= ahead)
                enter(j, word->start - ahead, word->start);
        }
        double spare = (double)(word->end - word->start) - 0.2 * j->voice->rate_hz;
        size_t within = word->start + (size_t)(random_unit(&random) * fmax(spare, 0.0));
        if (spare >= 0.2 * j->voice->rate_hz)
            enter(j, within, within);
    }
}

/* Plays the whole take. */
static bool play(Judged *j) {
    const Voice *voice = j->voice;
    float *out = malloc((voice->n + 1) * sizeof *out);
    QualityRun run = {.plugin = j->plugin->id,
                      .rate_hz = voice->rate_hz,
                      .in = voice->audio,
                      .out = out,
                      .n = voice->n};
    bool ok = out && j->out && quality_render(j->quality, &run) &&
              energy_of(voice->audio, voice->n, voice->rate_hz, 120.0, 1e9, &j->in) &&
              energy_of(out, voice->n, voice->rate_hz, 120.0, 1e9, &j->warm);
    free(out);
    return ok;
}

static void judge_plugin(Quality *quality, const HostPlugin *plugin) {
    Samples bitten[2] = {{NULL, 0, 0}, {NULL, 0, 0}};
    char what[128];
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        Judged j = {.quality = quality,
                    .plugin = plugin,
                    .voice = voice,
                    .floor_db = find_floor_db(voice),
                    .out = malloc(((size_t)voice->rate_hz + 1) * sizeof(float)),
                    .bitten = &bitten[voice->recorded]};
        if (play(&j))
            judge_voice(&j, 8000ull + i);
        else
            quality->broken = true;
        energy_free(&j.in);
        energy_free(&j.warm);
        free(j.out);
    }
    quality_note(quality, 1, "  %s: %zu entries sung, %zu recorded", plugin->id, bitten[0].n,
                 bitten[1].n);
    snprintf(what, sizeof what, "%s entered cold: words bitten", plugin->id);
    quality_row(quality, what, "%",
                (Figure){100.0 * samples_mean(&bitten[0]), 100.0 * samples_mean(&bitten[1])},
                QUALITY_AT_MOST, 0.0);
    samples_free(&bitten[0]);
    samples_free(&bitten[1]);
}

static void rows(Quality *quality) {
    size_t n = 0;
    const char *const *uris = host_own_uris(quality->host, &n);
    for (size_t i = 0; i < n; i++) {
        const HostPlugin *plugin = host_find(quality->host, uris[i], 0, NULL);
        if (plugin && plugin->id && plugin->n_in == 1 && plugin->n_key == 0 &&
            !(host_may(plugin, "sound anew") && host_may(plugin, "spread")))
            judge_plugin(quality, plugin);
    }
}

extern const QualityPart quality_cold;
const QualityPart quality_cold = {
    .name = "cold", .bundle = "gap-trimmer", .run = rows, .voices = true};
