/* SPDX-License-Identifier: ISC */
#include "gain/warm_fade.h"

#include <math.h>

static uint32_t frames(double ms, double rate_hz) {
    double count = rint(ms * 1e-3 * rate_hz);
    return count < 1.0 ? 1 : (uint32_t)count;
}

void warm_fade_prepare(WarmFade *fade, double warm_ms, double fade_ms, double rate_hz) {
    fade->warm = frames(warm_ms, rate_hz);
    fade->length = frames(fade_ms, rate_hz);
    warm_fade_reset(fade);
}

void warm_fade_reset(WarmFade *fade) {
    fade->state.fresh = true;
    fade->state.warmed = 0;
    fade->state.at = 0;
}

bool warm_fade_runs(const WarmFade *fade, bool wanted) {
    return wanted || fade->state.at > 0;
}

bool warm_fade_begins(const WarmFade *fade, bool wanted) {
    return wanted && fade->state.warmed == 0 && fade->state.at == 0;
}

static void step(WarmFade *fade, bool wanted) {
    if (!wanted) {
        if (fade->state.at > 0)
            fade->state.at--;
        else
            fade->state.warmed = 0;
    } else if (fade->state.warmed < fade->warm) {
        fade->state.warmed++;
    } else if (fade->state.at < fade->length) {
        fade->state.at++;
    }
}

float warm_fade_process(WarmFade *fade, bool wanted, float *weight, size_t n) {
    if (n > 0 && fade->state.fresh) {
        fade->state.fresh = false;
        fade->state.warmed = wanted ? fade->warm : 0;
        fade->state.at = wanted ? fade->length : 0;
    }
    float most = 0.0f;
    for (size_t i = 0; i < n; i++) {
        step(fade, wanted);
        weight[i] = (float)fade->state.at / (float)fade->length;
        most = weight[i] > most ? weight[i] : most;
    }
    return most;
}
