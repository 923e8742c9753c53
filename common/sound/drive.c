/* SPDX-License-Identifier: ISC */
#include "sound/drive.h"

#include "basic/decibel.h"
#include "basic/one_pole.h"

#include <math.h>

static const double PI = 3.14159265358979323846;
static const double QUIET = 1e-3;             /* -30 dB */
static const double LEAST = 1e-7, MOST = 1.0; /* L^2: -70 and 0 dBFS */

enum { BLOCK = OVERSAMPLE_BLOCK };

unsigned drive_stages(double rate_hz, unsigned stages) {
    while (rate_hz > 50000.0 && stages > 1) {
        rate_hz /= 2.0;
        stages--;
    }
    return stages;
}

void drive_prepare(Drive *drive, double rate_hz, unsigned channels, unsigned stages) {
    drive->channels = channels;
    drive->quick = one_pole_coefficient(DRIVE_QUICK_MS, rate_hz);
    drive->rise = one_pole_coefficient(DRIVE_RISE_MS, rate_hz);
    drive->fall = one_pole_coefficient(DRIVE_FALL_MS, rate_hz);
    drive->rest = one_pole_coefficient(DRIVE_REST_MS, rate_hz);
    drive->block_dc = (float)(1.0 - exp(-2.0 * PI * DRIVE_LOWEST_HZ / rate_hz));
    glide_prepare(&drive->push, DRIVE_GLIDE_MS, rate_hz);
    glide_prepare(&drive->character, DRIVE_GLIDE_MS, rate_hz);
    for (unsigned c = 0; c < DRIVE_CHANNELS; c++) {
        oversample_prepare(&drive->state.over[c], stages, OVERSAMPLE_SHAPE);
        saturation_prepare(&drive->state.bend[c], 1u << stages);
    }
    drive_reset(drive);
}

void drive_reset(Drive *drive) {
    glide_reset(&drive->push);
    glide_reset(&drive->character);
    drive->state.power = 0.0;
    drive->state.level = LEAST;
    for (unsigned c = 0; c < DRIVE_CHANNELS; c++) {
        oversample_reset(&drive->state.over[c]);
        saturation_reset(&drive->state.bend[c]);
        drive->state.constant[c] = 0.0f;
    }
}

void drive_set(Drive *drive, const DriveParams *params) {
    glide_set(&drive->push, DRIVE_PUSH * (decibel_to_gain((double)params->drive_db) - 1.0));
    glide_set(&drive->character, (double)params->character);
}

size_t drive_delay(const Drive *drive) {
    return oversample_delay(&drive->state.over[0]);
}

/* L^2 of n frames. */
static void follow(Drive *drive, const float *const *in, size_t at, float *level, size_t n) {
    const float *left = in[0] + at, *right = in[drive->channels - 1] + at;
    double power = drive->state.power, now = drive->state.level;
    for (size_t i = 0; i < n; i++)
        level[i] = 0.5f * (left[i] * left[i] + right[i] * right[i]);
    for (size_t i = 0; i < n; i++) {
        power = one_pole_step_double(power, (double)level[i], drive->quick);
        double fall = power > QUIET * now ? drive->fall : drive->rest;
        now = one_pole_step_double(now, power, power > now ? drive->rise : fall);
        double least = (double)level[i] * (1.0 / (DRIVE_CREST * DRIVE_CREST));
        now = now > least ? now : least;
        now = now > MOST ? MOST : now < LEAST ? LEAST : now;
        level[i] = (float)now;
    }
    drive->state.power = power;
    drive->state.level = now;
}

static void remove_constant(Drive *drive, unsigned c, float *audio, size_t n) {
    float constant = drive->state.constant[c];
    for (size_t i = 0; i < n; i++) {
        constant += drive->block_dc * (audio[i] - constant);
        audio[i] -= constant;
    }
    drive->state.constant[c] = constant;
}

static void block(Drive *drive, const float *const *in, float *const *out, size_t at, size_t n) {
    float level[BLOCK], push[BLOCK], character[BLOCK], lift[BLOCK], bend[BLOCK], shift[BLOCK];
    follow(drive, in, at, level, n);
    glide_process(&drive->push, push, n);
    glide_process(&drive->character, character, n);
    for (size_t i = 0; i < n; i++) {
        float square = push[i] * push[i];
        lift[i] = sqrtf(1.0f + square);
        bend[i] = square / level[i];
        shift[i] = (float)DRIVE_SHIFT * character[i] * sqrtf(level[i]) / lift[i];
    }
    for (unsigned c = 0; c < drive->channels; c++) {
        OversampleTop top;
        oversample_up(&drive->state.over[c], in[c] + at, top, n);
        saturation_process(&drive->state.bend[c], top, lift, bend, shift, n);
        oversample_down(&drive->state.over[c], top, out[c] + at, n);
        remove_constant(drive, c, out[c] + at, n);
    }
}

void drive_process(Drive *drive, const float *const *in, float *const *out, size_t n) {
    for (size_t at = 0; at < n; at += BLOCK)
        block(drive, in, out, at, n - at < BLOCK ? n - at : BLOCK);
}
