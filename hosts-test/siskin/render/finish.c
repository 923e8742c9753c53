/* SPDX-License-Identifier: ISC */
#include "siskin/render/finish.h"

#include "measure/loudness.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS = 10 /* a second */, BLOCK_STEPS = 4, CHUNK = 256 };

static const double ABSOLUTE_GATE = -70.0, RELATIVE_GATE = -10.0; /* LUFS, LU */

void finish_ear_begin(FinishEar *ear, double rate_hz, unsigned channels) {
    *ear = (FinishEar){.rate_hz = rate_hz, .channels = channels};
    for (unsigned c = 0; c < channels; c++)
        k_weight_prepare(&ear->weight[c], rate_hz);
    true_peak_prepare(&ear->peak, channels);
}

static uint64_t step_start(const FinishEar *ear, size_t step) {
    return (uint64_t)llround((double)step * ear->rate_hz / STEPS);
}

static double squares(const float *y, size_t n) {
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += (double)y[i] * (double)y[i];
    return sum;
}

/* The largest since it was asked last. The interpolator goes on; only its largest value begins
 * anew. */
static double take_peak(FinishEar *ear) {
    double peak = (double)true_peak_true(&ear->peak);
    memset(ear->peak.state.sample, 0, sizeof ear->peak.state.sample);
    memset(ear->peak.state.between, 0, sizeof ear->peak.state.between);
    ear->most = fmax(ear->most, peak);
    return peak;
}

static void end_step(FinishEar *ear, uint64_t end) {
    double frames = (double)(end - step_start(ear, ear->n_steps));
    double peak = take_peak(ear);
    *(FinishStep *)text_grow(&ear->steps, &ear->n_steps, sizeof *ear->steps) =
        (FinishStep){ear->sum / frames, peak};
    ear->sum = 0.0;
}

void finish_ear_hear(FinishEar *ear, const float *const *channel, size_t n) {
    float y[CHUNK];
    for (size_t at = 0; at < n;) {
        uint64_t end = step_start(ear, ear->n_steps + 1);
        size_t room = (size_t)(end - ear->frame);
        size_t take = n - at < room ? n - at : room;
        take = take < CHUNK ? take : CHUNK;
        const float *piece[TRUE_PEAK_CHANNELS] = {NULL};
        for (unsigned c = 0; c < ear->channels; c++)
            piece[c] = channel[c] + at;
        true_peak_process(&ear->peak, piece, take);
        for (unsigned c = 0; c < ear->channels; c++) {
            k_weight_process(&ear->weight[c], channel[c] + at, y, take);
            ear->sum += squares(y, take);
        }
        at += take;
        ear->frame += take;
        if (ear->frame == end)
            end_step(ear, end);
    }
}

/* A last step that is not whole makes no block. */
void finish_ear_end(FinishEar *ear) {
    static const float silence[24];
    const float *const channel[TRUE_PEAK_CHANNELS] = {silence, silence};
    true_peak_process(&ear->peak, channel, sizeof silence / sizeof *silence);
    take_peak(ear);
}

void finish_ear_free(FinishEar *ear) {
    free(ear->steps);
    ear->steps = NULL;
}

/* ---- loudness ---- */

static const double NO_CEILING = INFINITY;

/* What a step has after the gain, and a limiter at `ceiling` behind it (linear). */
static double power_of(const FinishStep *step, double gain, double ceiling) {
    double peak = gain * step->peak;
    double held = peak > ceiling ? ceiling / peak : 1.0;
    return gain * gain * held * held * step->power;
}

/* Mean power of the blocks over `gate` LUFS; 0: there are none. */
static double mean_over(const FinishEar *ear, double gain, double ceiling, double gate) {
    double sum = 0.0;
    size_t count = 0;
    for (size_t k = BLOCK_STEPS; k <= ear->n_steps; k++) {
        double power = 0.0;
        for (size_t i = k - BLOCK_STEPS; i < k; i++)
            power += power_of(&ear->steps[i], gain, ceiling) / BLOCK_STEPS;
        if (power > 0.0 && loudness_from_power(power) > gate) {
            sum += power;
            count++;
        }
    }
    return count ? sum / (double)count : 0.0;
}

static double linear(double db) {
    return pow(10.0, 0.05 * db);
}

static double loudness_under(const FinishEar *ear, double gain_db, double ceiling) {
    double gain = linear(gain_db);
    double all = mean_over(ear, gain, ceiling, ABSOLUTE_GATE);
    if (!(all > 0.0))
        return (double)NAN;
    double gate = fmax(ABSOLUTE_GATE, loudness_from_power(all) + RELATIVE_GATE);
    return loudness_from_power(mean_over(ear, gain, ceiling, gate));
}

double finish_loudness(const FinishEar *ear, double gain_db) {
    return loudness_under(ear, gain_db, NO_CEILING);
}

/* ---- the gain ---- */

/* So near that no meter shows it. Where a block steps over a gate there may be no gain that comes
 * nearer; a few tries then end within what that block counts. */
static double gain_for(const FinishEar *ear, double loudness_lufs) {
    const int tries = 8;
    const double near_lu = 1e-3;
    double gain_db = 0.0;
    for (int i = 0; i < tries; i++) {
        double off = loudness_lufs - finish_loudness(ear, gain_db);
        if (isnan(off) || fabs(off) < near_lu)
            break;
        gain_db += off;
    }
    return gain_db;
}

/* The least drive in front of a limiter at the peak that gets to the loudness; what it lacks or has
 * too much is the gain's. In steps of a tenth, as it is told. */
static double drive_for(const FinishEar *ear, const FinishAim *aim, double peak_db) {
    const double most_db = 24.0, step_db = 0.1; /* of peak-ceiling */
    double drive_db = 0.0;
    while (drive_db < most_db &&
           !(loudness_under(ear, drive_db, linear(peak_db)) >= aim->loudness_lufs))
        drive_db += step_db;
    return drive_db;
}

bool finish_is_asked(const FinishAim *aim) {
    return aim->by_loudness || aim->by_peak;
}

Finish finish_of(const FinishEar *ear, const FinishAim *aim) {
    double peak_db = text_db(ear->most);
    double aim_db = aim->by_peak ? aim->peak_db : FINISH_PEAK_DB;
    double most_db = aim_db - peak_db;
    bool loud_enough = !isnan(finish_loudness(ear, 0.0));
    double wanted_db = aim->by_loudness ? gain_for(ear, aim->loudness_lufs) : most_db;
    bool can = isfinite(peak_db) && (loud_enough || !aim->by_loudness);
    Finish finish = {.gain_db = can ? fmin(wanted_db, most_db) : 0.0};
    finish.loudness_lufs = finish_loudness(ear, finish.gain_db);
    finish.peak_db = peak_db + finish.gain_db;
    if (can && aim->by_loudness && finish.gain_db < wanted_db) {
        finish.short_lu = aim->loudness_lufs - finish.loudness_lufs;
        finish.drive_db = drive_for(ear, aim, aim_db);
    }
    return finish;
}
