/* SPDX-License-Identifier: ISC */
/* The rumble filter, at its defaults.
 *
 * Peak added: largest sample of an utterance, output over input, dB; given is the 95th percentile.
 * Corner falls: octaves in a minute of the material, all falls together. Each is hum let through
 * that comes and goes. A voice that keeps its lowest note has none, and a tune has some: the corner
 * must follow it down. Every take is heard with 3 s of
 * its loudest utterance ahead, so that the corner is up from the start. */
#include "quality/quality.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double AHEAD_S = 3.0;

typedef struct {
    Samples peak;
    double falls, minutes;
} Tally;

/* The corner, once a run. */
typedef struct {
    Samples corner_hz, at_s;
    double rate_hz;
} Trace;

static void note_corner(void *user, HostInstance *instance, size_t from, size_t n) {
    Trace *trace = user;
    samples_add(&trace->corner_hz, (double)host_get(instance, "cutoff"));
    samples_add(&trace->at_s, (double)(from + n) / trace->rate_hz);
}

/* Octaves by which the corner falls, all falls together, once the voice ahead is over. */
static double octaves_fallen(const Trace *trace) {
    double octaves = 0.0;
    for (size_t i = 1; i < trace->at_s.n; i++)
        if (trace->at_s.value[i] > AHEAD_S)
            octaves += fmax(0.0, log2(trace->corner_hz.value[i - 1] / trace->corner_hz.value[i]));
    return octaves;
}

static const SingerLabel *loudest(const Voice *voice, const Energy *energy) {
    const SingerLabel *best = NULL;
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *label = &voice->labels[i];
        if (label->kind == SINGER_PHRASE &&
            (!best || energy_between(energy, label->start, label->end) >
                          energy_between(energy, best->start, best->end)))
            best = label;
    }
    return best;
}

static void judge_peaks(const Voice *voice, const float *out, Tally *tally) {
    for (size_t i = 0; i < voice->n_labels; i++) {
        const SingerLabel *label = &voice->labels[i];
        size_t n = label->end - label->start;
        if (label->kind == SINGER_PHRASE)
            samples_add(&tally->peak, signals_peak_db(out + label->start, n) -
                                          signals_peak_db(voice->audio + label->start, n));
    }
}

static void judge_voice(Quality *quality, const Voice *voice, Tally *tally) {
    Energy energy = {NULL, 0};
    size_t ahead = (size_t)(AHEAD_S * voice->rate_hz), n = ahead + voice->n;
    float *in = calloc(2 * n, sizeof *in);
    Trace trace = {.rate_hz = voice->rate_hz};
    if (in && energy_of(voice->audio, voice->n, voice->rate_hz, 80.0, 4000.0, &energy)) {
        const SingerLabel *phrase = loudest(voice, &energy);
        for (size_t i = 0; phrase && i < ahead; i++)
            in[i] = voice->audio[phrase->start + i % (phrase->end - phrase->start)];
        memcpy(in + ahead, voice->audio, voice->n * sizeof *in);
        QualityRun run = {.plugin = "rumble-filter",
                          .rate_hz = voice->rate_hz,
                          .in = in,
                          .out = in + n,
                          .n = n,
                          .after_run = note_corner,
                          .user = &trace};
        if (quality_render(quality, &run)) {
            double falls = octaves_fallen(&trace);
            judge_peaks(voice, in + n + ahead, tally);
            tally->falls += falls;
            tally->minutes += (double)voice->n / voice->rate_hz / 60.0;
            quality_note(quality, 1, "  %-22s %.2f octaves in %.1f s", voice->name, falls,
                         (double)voice->n / voice->rate_hz);
        }
    } else {
        quality->broken = true;
    }
    energy_free(&energy);
    samples_free(&trace.corner_hz);
    samples_free(&trace.at_s);
    free(in);
}

static double a_minute(const Tally *tally) {
    return tally->minutes > 0.0 ? tally->falls / tally->minutes : (double)NAN;
}

static void rows(Quality *quality) {
    Tally tally[2] = {{.falls = 0.0}, {.falls = 0.0}};
    for (size_t i = 0; i < quality->material->count; i++) {
        const Voice *voice = &quality->material->voices[i];
        judge_voice(quality, voice, &tally[voice->recorded]);
    }
    Figure peak = {samples_quantile(&tally[0].peak, 0.95), samples_quantile(&tally[1].peak, 0.95)};
    quality_row(quality, "rumble-filter: peak added, 95th percentile", "dB", peak, QUALITY_AT_MOST,
                3.0);
    quality_row(quality, "rumble-filter: corner falls, octaves a minute", "",
                (Figure){a_minute(&tally[0]), a_minute(&tally[1])}, QUALITY_AT_MOST, 1.5);
    samples_free(&tally[0].peak);
    samples_free(&tally[1].peak);
}

extern const QualityPart quality_rumble;
const QualityPart quality_rumble = {
    .name = "rumble", .bundle = "rumble-filter", .run = rows, .voices = true};
