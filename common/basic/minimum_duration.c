/* SPDX-License-Identifier: ISC */
#include "basic/minimum_duration.h"

bool minimum_duration_prepare(MinimumDuration *l, size_t width, float slack, Arena *arena) {
    l->width = width;
    l->slack = slack;
    if (!sliding_max_prepare(&l->least, width, arena) ||
        !sliding_max_prepare(&l->most, width, arena) || !delay_prepare(&l->delay, width - 1, arena))
        return false;
    sliding_max_set(&l->least, width);
    sliding_max_set(&l->most, width);
    return true;
}

void minimum_duration_reset(MinimumDuration *l, float quiet) {
    sliding_max_reset(&l->least, -quiet);
    sliding_max_reset(&l->most, quiet);
    delay_reset(&l->delay);
}

float minimum_duration_step(MinimumDuration *l, float x) {
    float opening = sliding_max_step(&l->most, -sliding_max_step(&l->least, -x));
    float late, limit = opening + l->slack;
    delay_write(&l->delay, &x, 1);
    delay_read(&l->delay, l->width - 1, &late, 1);
    return late < limit ? late : limit;
}
