/* SPDX-License-Identifier: ISC */
/* match: siskin match on voices of one kind, in pairs: each is brought to the colour of the next.
 * The worst of the four bands is read off its own table, which the suite test_match holds to what a
 * render measures. */
#include "quality/quality.h"
#include "siskin/edit/match.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

typedef struct {
    char path[32];
    Measures measures;
    bool there;
} Heard;

static bool write_file(int fd, const Voice *voice) {
    SF_INFO info = {.samplerate = (int)voice->rate_hz,
                    .channels = 1,
                    .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *file = sf_open_fd(fd, SFM_WRITE, &info, SF_FALSE);
    bool ok =
        file && sf_writef_float(file, voice->audio, (sf_count_t)voice->n) == (sf_count_t)voice->n;
    return file && sf_close(file) == 0 && ok;
}

static void open_voice(Quality *quality, const Voice *voice, Heard *heard) {
    HostError error = {""};
    snprintf(heard->path, sizeof heard->path, "/tmp/siskin-quality-XXXXXX");
    int fd = mkstemp(heard->path);
    heard->there = fd >= 0 && write_file(fd, voice) &&
                   measure_take(heard->path, &heard->measures, NULL, NULL, &error);
    if (fd >= 0)
        close(fd);
    if (!heard->there)
        fprintf(stderr, "siskin-quality: %s: %s\n", voice->name, error.text);
    quality->broken |= !heard->there;
}

static void close_voice(Heard *heard) {
    if (heard->there)
        measures_free(&heard->measures);
    unlink(heard->path);
}

/* Voices that hold a second of steady pitch; words alone do not. */
static void judge(Quality *quality, const Voice *take, const Heard *a, const Heard *b,
                  Samples *after_db) {
    HostError error = {""};
    Match match = {.any = false};
    if (!match_find(&match, quality->host, &a->measures, &b->measures, NULL, NULL, &error)) {
        quality_note(quality, 1, "  %-22s match   %s", take->name, error.text);
        return;
    }
    double before = match_worst_off(&match.take, &match.reference);
    double after = match_worst_off(&match.after, &match.reference);
    samples_add(after_db, after);
    quality_note(quality, 1, "  %-22s match   worst band off by %5.2f -> %5.2f dB", take->name,
                 before, after);
}

static void judge_kind(Quality *quality, bool recorded, Samples *after_db) {
    const Material *material = quality->material;
    size_t n = 0;
    const Voice **voice = calloc(material->count + 1, sizeof(const Voice *));
    Heard *heard = calloc(material->count + 1, sizeof *heard);
    for (size_t i = 0; voice && heard && i < material->count; i++)
        if (material->voices[i].recorded == recorded) {
            voice[n] = &material->voices[i];
            open_voice(quality, voice[n], &heard[n]);
            n++;
        }
    for (size_t i = 0; n > 1 && i < n; i++)
        if (heard[i].there && heard[(i + 1) % n].there)
            judge(quality, voice[i], &heard[i], &heard[(i + 1) % n], after_db);
    for (size_t i = 0; i < n; i++)
        close_voice(&heard[i]);
    quality->broken |= !voice || !heard;
    free(voice);
    free(heard);
}

static void rows(Quality *quality) {
    Samples after_db[2] = {{0}};
    for (int k = 0; k < 2; k++)
        judge_kind(quality, k == 1, &after_db[k]);
    quality_row(quality, "match: worst of four bands off after, mean", "dB",
                (Figure){samples_mean(&after_db[0]), samples_mean(&after_db[1])}, QUALITY_AT_MOST,
                1.5);
    for (int k = 0; k < 2; k++)
        samples_free(&after_db[k]);
}

extern const QualityPart quality_match;
const QualityPart quality_match = {
    .name = "match", .bundle = "band-colour", .run = rows, .voices = true};
