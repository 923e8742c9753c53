/* SPDX-License-Identifier: ISC */
#include "gain/gain_computer.h"

void gain_computer_set(GainComputer *computer, const GainComputerParams *params) {
    computer->knee_start_db = params->threshold_db - 0.5f * params->knee_db;
    computer->knee_db = params->knee_db;
    computer->slope = 1.0f - 1.0f / params->ratio;
    computer->per_two_knee = params->knee_db > 0.0f ? 0.5f / params->knee_db : 0.0f;
    computer->range_db = params->range_db;
}

void gain_computer_process(const GainComputer *computer, const float *level_db, float *reduction_db,
                           size_t n) {
    const GainComputer c = *computer; /* so that a store cannot seem to change it */
    for (size_t i = 0; i < n; i++)
        reduction_db[i] = gain_computer_reduction(&c, level_db[i]);
}
