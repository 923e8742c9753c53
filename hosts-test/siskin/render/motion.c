/* SPDX-License-Identifier: ISC */
#include "siskin/render/motion.h"

#include "siskin/render/matrix.h"
#include "siskin/text.h"

#include <stdlib.h>

static void add_control(ProcessorMotion *motion, const char *symbol, const Lane *lane,
                        double rate_hz) {
    ControlMotion *control = text_grow(&motion->controls, &motion->n, sizeof *control);
    control->symbol = symbol;
    lane_begin(&control->cursor, lane, rate_hz);
}

bool motion_of_processor(ProcessorMotion *motion, const ChainProcessor *processor,
                         const Chain *chain, const char *control, Lane works, double rate_hz) {
    *motion = (ProcessorMotion){0};
    for (size_t i = 0; i < processor->n_settings; i++) {
        const ChainSetting *setting = &processor->settings[i];
        if (!setting->move.name)
            continue;
        add_control(motion, setting->control, &chain->lanes[setting->move.lane], rate_hz);
    }
    if (works.n) {
        motion->works = text_take(1, sizeof *motion->works);
        *motion->works = works;
        add_control(motion, control, motion->works, rate_hz);
    }
    return motion->n > 0;
}

void motion_free(ProcessorMotion *motion) {
    free(motion->controls);
    if (motion->works)
        lane_free(motion->works);
    free(motion->works);
    *motion = (ProcessorMotion){0};
}

int64_t motion_automate(void *user, HostInstance *instance, int64_t frame) {
    ProcessorMotion *motion = user;
    int64_t holds = INT64_MAX;
    for (size_t i = 0; i < motion->n; i++) {
        double from, to;
        int64_t n = lane_piece(&motion->controls[i].cursor, frame, MOTION_FRAMES, &from, &to);
        host_set(instance, motion->controls[i].symbol, (float)from, NULL);
        holds = n < holds ? n : holds;
    }
    return holds;
}

void motion_of_side(SideMotion *side, const Chain *chain, const ChainMove *move, bool is_fader,
                    unsigned from, unsigned to, double rate_hz) {
    *side = (SideMotion){.is_fader = is_fader, .from = from, .to = to};
    lane_begin(&side->cursor, &chain->lanes[move->lane], rate_hz);
}

static GraphMatrix matrix_at(const SideMotion *side, double value) {
    return side->is_fader ? matrix_convert(side->from, side->to, matrix_linear(value))
                          : matrix_panned(side->from, side->to, 1.0f, value);
}

int64_t motion_of_gain(void *user, int64_t frame, GraphMatrix *from, GraphMatrix *to) {
    SideMotion *side = user;
    double begin, end;
    int64_t n = lane_piece(&side->cursor, frame, MOTION_FRAMES, &begin, &end);
    *from = matrix_at(side, begin);
    *to = matrix_at(side, end);
    return n;
}
