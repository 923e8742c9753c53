/* SPDX-License-Identifier: ISC */
#include "siskin/render/stamp.h"

#include "siskin/text.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#ifndef SISKIN_VERSION
#define SISKIN_VERSION "unknown"
#endif

static uint64_t hash_text(uint64_t hash, const char *text) {
    return text ? text_hash(hash, text, strlen(text) + 1) : text_hash(hash, "\xff", 1);
}

static uint64_t hash_tap(uint64_t hash, const ChainTap *tap) {
    return hash_text(hash, tap->name);
}

static uint64_t hash_bus(uint64_t hash, const ChainBus *bus) {
    const double numbers[] = {bus->fader_db, bus->pan, bus->channels, bus->panned};
    hash = hash_text(hash_text(hash, bus->name), bus->to_name);
    hash = text_hash(hash, numbers, sizeof numbers);
    hash = hash_text(hash_text(hash, bus->fader_move.name), bus->pan_move.name);
    for (size_t i = 0; i < bus->n_sends; i++) {
        hash = hash_tap(hash, &bus->sends[i].from);
        hash = text_hash(hash, &bus->sends[i].gain_db, sizeof bus->sends[i].gain_db);
    }
    for (size_t i = 0; i < bus->n_processors; i++) {
        const ChainProcessor *processor = &bus->processors[i];
        hash = hash_text(hash_text(hash, processor->name), processor->preset);
        hash = hash_tap(hash, &processor->key);
        for (size_t s = 0; s < processor->n_settings; s++)
            hash = hash_text(hash_text(hash, processor->settings[s].control),
                             processor->settings[s].value);
    }
    return hash;
}

static uint64_t hash_lane(uint64_t hash, const Lane *lane) {
    hash = text_hash(hash_text(hash, lane->name), &lane->line, sizeof lane->line);
    return text_hash(hash, lane->points, lane->n * sizeof *lane->points);
}

static uint64_t hash_job(const TakeJob *job) {
    const double numbers[] = {job->format.bits,
                              job->format.no_dither,
                              job->stereo,
                              job->tail_s,
                              job->from_s,
                              job->to_s,
                              job->how.salvage,
                              job->how.full_scale,
                              job->finish.by_loudness,
                              job->finish.by_peak,
                              job->finish.loudness_lufs,
                              job->finish.peak_db};
    uint64_t hash = text_hash(TEXT_HASH_BEGIN, numbers, sizeof numbers);
    for (size_t b = 0; b < job->chain->n_busses; b++)
        hash = hash_bus(hash, &job->chain->busses[b]);
    for (size_t i = 0; i < job->chain->n_lanes; i++)
        hash = hash_lane(hash, &job->chain->lanes[i]);
    return job->events ? events_hash(hash, job->events, job->take) : hash;
}

uint64_t stamp_file(uint64_t hash, uint64_t bytes, const struct timespec *changed) {
    const uint64_t numbers[] = {bytes, (uint64_t)changed->tv_sec, (uint64_t)changed->tv_nsec};
    return text_hash(hash, numbers, sizeof numbers);
}

void stamp_write(char stamp[TAKE_STAMP], const TakeJob *job, uint64_t files) {
    snprintf(stamp, TAKE_STAMP, "siskin " SISKIN_VERSION ", settings %016llx, files %016llx",
             (unsigned long long)hash_job(job), (unsigned long long)files);
}

void stamp_job(const TakeJob *job, char stamp[TAKE_STAMP]) {
    uint64_t files = TEXT_HASH_BEGIN;
    for (size_t i = 0; i < job->chain->n_busses; i++) {
        struct stat status = {0};
        const char *path = take_input(job, i);
        if (path && stat(path, &status) == 0)
            files = stamp_file(files, (uint64_t)status.st_size, &status.st_mtim);
    }
    stamp_write(stamp, job, files);
}
