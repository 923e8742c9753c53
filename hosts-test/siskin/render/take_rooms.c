/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

/* What learns from a take, and from what of it: the noise of the room, in gaps, and nothing else of
 * the voice; or the voice's usual level. hum-notch is none: a hum that is repeated loses its phase
 * at each joint. */
enum { FROM_ROOM, FROM_VOICE, N_LEARNERS };
static const char *const LEARNERS[N_LEARNERS] = {"noise-reducer", "smooth-compressor"};

/* Played behind the voice to what learned it, so that it holds nothing down any more: five times
 * the slowest release of smooth-compressor, 12 s. */
static const double REST_S = 60.0;

/* The number of the first learner of that kind on a bus; -1: there is none, or its file is not what
 * it hears. */
static int learner_on(const ChainBus *bus, int kind) {
    for (size_t i = 0; i < bus->n_processors && bus->wants_file; i++)
        if (strcmp(bus->processors[i].name, LEARNERS[kind]) == 0)
            return (int)i;
    return -1;
}

bool take_find_rooms(Take *take) {
    for (size_t b = 0; b < take->chain->n_busses && !take->job->live; b++) {
        const ChainBus *bus = &take->chain->busses[b];
        Placed *placed = &take->placed[b];
        const char *path = placed->reader.path;
        const AudioHow *how = &take->job->how;
        if (!path || placed->reader.channels != placed->in_channels ||
            placed->reader.file_rate_hz != take->rate_hz)
            continue;
        if (learner_on(bus, FROM_ROOM) >= 0 && !room_read(&placed->room, path, how, take->error))
            return false;
        if (learner_on(bus, FROM_VOICE) >= 0 &&
            !room_read_voice(&placed->voice, path, how, take->error))
            return false;
    }
    return true;
}

/* In place, in blocks. */
static void play(HostInstance *instance, const Room *room) {
    for (size_t at = 0; at < room->frames; at += AUDIO_BLOCK) {
        size_t n = room->frames - at < AUDIO_BLOCK ? room->frames - at : AUDIO_BLOCK;
        float *audio[AUDIO_CHANNELS] = {NULL};
        for (unsigned c = 0; c < room->channels; c++)
            audio[c] = room->audio[c] + at;
        host_run(instance, n, (const float *const *)audio, NULL, audio);
    }
}

static void play_rest(HostInstance *instance, double rate_hz) {
    float *audio = text_take((size_t)AUDIO_CHANNELS * AUDIO_BLOCK, sizeof *audio);
    float *const out[] = {audio, audio + AUDIO_BLOCK};
    const size_t frames = (size_t)(REST_S * rate_hz);
    for (size_t at = 0; at < frames; at += AUDIO_BLOCK) {
        memset(audio, 0, (size_t)AUDIO_CHANNELS * AUDIO_BLOCK * sizeof *audio);
        host_run(instance, AUDIO_BLOCK, (const float *const *)out, NULL, out);
    }
    free(audio);
}

/* What stands before the learner hears what it is to learn too, so that it gets what it will get,
 * and then begins anew. Latencies leave a little silence at its start. */
static void teach(Take *take, size_t first, int learner, const Room *room) {
    for (int i = 0; i <= learner; i++) {
        HostInstance *instance = take->instances[first + (size_t)i];
        atomic_store(&take->report->status.running, (int)first + i + 1);
        play(instance, room);
        if (i < learner) {
            host_deactivate(instance);
            host_activate(instance);
        }
    }
}

/* The last of a bus first: whoever stands before it begins anew. */
void take_play_rooms(void *user) {
    Take *take = user;
    size_t first = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++) {
        const ChainBus *bus = &take->chain->busses[b];
        const Placed *placed = &take->placed[b];
        int of_room = placed->room.frames > 0 ? learner_on(bus, FROM_ROOM) : -1;
        int of_voice = placed->voice.frames > 0 ? learner_on(bus, FROM_VOICE) : -1;
        if (of_room > of_voice)
            teach(take, first, of_room, &placed->room);
        if (of_voice >= 0) {
            teach(take, first, of_voice, &placed->voice);
            play_rest(take->instances[first + (size_t)of_voice], take->rate_hz);
        }
        if (of_room >= 0 && of_room < of_voice)
            teach(take, first, of_room, &placed->room);
        atomic_store(&take->report->status.running, 0);
        first += bus->n_processors;
    }
}
