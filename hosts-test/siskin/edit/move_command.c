/* SPDX-License-Identifier: ISC */
#include "siskin/edit/move_command.h"

#include "siskin/edit/shifts.h"
#include "siskin/text.h"

#include <stdlib.h>

bool move_write(const Whole *take, const Hearing *hearing, const TimeMap *map, size_t n_out,
                const char *out, const AudioFormat *format, Splices *splices, HostError *error) {
    float *made[AUDIO_CHANNELS] = {NULL};
    splices_plan(splices, map, hearing, take->mid);
    for (unsigned c = 0; c < take->channels; c++) {
        made[c] = text_take(n_out + 1, sizeof(float));
        splices_render(splices, take->channel[c], take->n, made[c], n_out);
    }
    const float *const channel[AUDIO_CHANNELS] = {made[0], made[1]};
    bool fine = whole_write(out, format, take, channel, n_out, error);
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(made[c]);
    return fine;
}

bool move_read(TimeMap *map, const char *path, const Hearing *take, HostError *error) {
    Lane lane;
    if (!lane_load(&lane, path, error))
        return false;
    bool fine = shifts_map(map, &lane, take, error);
    lane_free(&lane);
    return fine;
}
