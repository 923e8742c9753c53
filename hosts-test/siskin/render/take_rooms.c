/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"

#include <string.h>

/* What learns the noise of the room in gaps, and nothing else of the voice. hum-notch is none: a hum
 * that is repeated loses its phase at each joint. */
static const char LEARNER[] = "noise-reducer";

/* The number of the learner on a bus; -1: there is none, or its file is not what it hears. */
static int learner_on(const ChainBus *bus) {
    for (size_t i = 0; i < bus->n_processors && bus->wants_file; i++)
        if (strcmp(bus->processors[i].name, LEARNER) == 0)
            return (int)i;
    return -1;
}

bool take_find_rooms(Take *take) {
    for (size_t b = 0; b < take->chain->n_busses && !take->job->live; b++) {
        Placed *placed = &take->placed[b];
        bool alike = placed->reader.path && placed->reader.channels == placed->in_channels &&
                     placed->reader.file_rate_hz == take->rate_hz;
        if (learner_on(&take->chain->busses[b]) >= 0 && alike &&
            !room_read(&placed->room, placed->reader.path, &take->job->how, take->error))
            return false;
    }
    return true;
}

/* In place, in blocks. */
static void play_room(HostInstance *instance, const Room *room) {
    for (size_t at = 0; at < room->frames; at += AUDIO_BLOCK) {
        size_t n = room->frames - at < AUDIO_BLOCK ? room->frames - at : AUDIO_BLOCK;
        float *audio[AUDIO_CHANNELS] = {NULL};
        for (unsigned c = 0; c < room->channels; c++)
            audio[c] = room->audio[c] + at;
        host_run(instance, n, (const float *const *)audio, NULL, audio);
    }
}

/* What stands before the learner hears the room too, so that it gets what it will get, and then
 * begins anew. Latencies leave a little silence at its start. */
void take_play_rooms(void *user) {
    Take *take = user;
    size_t index = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++) {
        const Room *room = &take->placed[b].room;
        int learner = room->frames > 0 ? learner_on(&take->chain->busses[b]) : -1;
        for (int i = 0; i <= learner; i++) {
            HostInstance *instance = take->instances[index + (size_t)i];
            atomic_store(&take->report->status.running, (int)index + i + 1);
            play_room(instance, room);
            if (i < learner) {
                host_deactivate(instance);
                host_activate(instance);
            }
        }
        atomic_store(&take->report->status.running, 0);
        index += take->chain->busses[b].n_processors;
    }
}
