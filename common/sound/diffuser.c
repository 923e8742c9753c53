/* SPDX-License-Identifier: ISC */
#include "sound/diffuser.h"

#include <math.h>
#include <string.h>

static const float NOTHING = 1e-12f;

bool diffuser_prepare(Diffuser *diffuser, double rate_hz, const DiffuserStage *stage, size_t stages,
                      Arena *arena) {
    bool fits = true;
    diffuser->stages = stages;
    for (size_t i = 0; i < stages; i++) {
        double delay = fmax(1.0, rint(1e-3 * stage[i].delay_ms * rate_hz));
        size_t length = 1;
        while (length < (size_t)delay + 1)
            length *= 2;
        diffuser->stage[i].delay = (size_t)delay;
        diffuser->stage[i].mask = length - 1;
        diffuser->stage[i].gain = stage[i].gain;
        diffuser->stage[i].ring = arena_take(arena, length, sizeof(float));
        fits &= diffuser->stage[i].ring != NULL;
    }
    diffuser->state.at = 0;
    return fits;
}

void diffuser_reset(Diffuser *diffuser) {
    for (size_t i = 0; i < diffuser->stages; i++)
        memset(diffuser->stage[i].ring, 0,
               (diffuser->stage[i].mask + 1) * sizeof *diffuser->stage[i].ring);
    diffuser->state.at = 0;
}

/* n frames that neither ring end nor delay divides, so that they may be computed together. */
static void stretch(const float *late, float *now, float gain, const float *in, float *out,
                    size_t n) {
    for (size_t i = 0; i < n; i++) {
        float was = late[i];
        float w = in[i] + gain * was;
        w = fabsf(w) < NOTHING ? 0.0f : w;
        now[i] = w;
        out[i] = was - gain * w;
    }
}

static size_t smaller(size_t a, size_t b) {
    return a < b ? a : b;
}

void diffuser_process(Diffuser *diffuser, const float *in, float *out, size_t n) {
    for (size_t k = 0; k < diffuser->stages; k++) {
        const size_t delay = diffuser->stage[k].delay, mask = diffuser->stage[k].mask;
        float *ring = diffuser->stage[k].ring;
        const float *from = k == 0 ? in : out;
        for (size_t i = 0; i < n;) {
            size_t at = (diffuser->state.at + i) & mask, read = (at - delay) & mask;
            size_t room = smaller(mask + 1 - at, mask + 1 - read);
            size_t m = smaller(smaller(n - i, delay), room);
            stretch(ring + read, ring + at, diffuser->stage[k].gain, from + i, out + i, m);
            i += m;
        }
    }
    diffuser->state.at += n;
}
