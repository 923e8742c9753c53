/* SPDX-License-Identifier: ISC */
/* drive.h: saturation that knows how loud its input is, so that one setting fits every level.
 *
 * With L the level of what is loud in the input, and k the push,
 *     y = x sqrt((1 + k^2) / (1 + k^2 (x / L)^2)),   k = DRIVE_PUSH (10^(drive / 20) - 1)
 * What is as large as L passes; what is larger is bent down, towards no more than
 * L sqrt(1 + 1/k^2); what is smaller is raised, by no more than sqrt(1 + k^2). So crest falls, and
 * what is left of a change in level is level_match.h's. At drive 0 it is linear.
 * The bend is that of saturation.h. `character` shifts it by character DRIVE_SHIFT L / sqrt(1 +
 * k^2) to one side, for even harmonics; the constant that this makes is taken out by a first-order
 * high-pass at DRIVE_LOWEST_HZ, which is always there.
 *
 * L^2 is the mean square of all channels over DRIVE_QUICK_MS, followed upwards within
 * DRIVE_RISE_MS and downwards within DRIVE_FALL_MS, or within DRIVE_REST_MS where the input is 30
 * dB below it, so that it stays up between words and in pauses. So that the first sound of all is
 * not squashed, no frame is over DRIVE_CREST times L: a consonant loses 12 dB at most while L
 * rises. At least -70 dBFS, as at first, and at most 0. It is taken from the input before that is
 * delayed by the oversampling, which gives it as long a start. One L for both channels.
 *
 * Aliases: with 4 times the rate the first that fold back below 20 kHz at 48 kHz are harmonics from
 * 172 kHz on. Those of f fall like exp(-n asinh(1/k')), k' = k sqrt(2) for a sine, and the mean
 * over a frame takes 20 dB and more: -85 dB at drive 24 (k = 4) for 5 kHz.
 *
 * Latency drive_delay(). Cost that of oversample.h and saturation.h, for each channel. */
#ifndef SISKIN_SOUND_DRIVE_H
#define SISKIN_SOUND_DRIVE_H

#include "filter/oversample.h"
#include "gain/glide.h"
#include "sound/saturation.h"

#include <stddef.h>

#define DRIVE_PUSH 0.27
#define DRIVE_SHIFT 0.5
#define DRIVE_LOWEST_HZ 15.0
#define DRIVE_QUICK_MS 2.0
#define DRIVE_RISE_MS 3.0
#define DRIVE_FALL_MS 2000.0
#define DRIVE_REST_MS 20000.0
#define DRIVE_CREST 4.0
#define DRIVE_GLIDE_MS 20.0

enum { DRIVE_CHANNELS = 2 };

typedef struct {
    float drive_db;  /* 0..36 */
    float character; /* -1..1 */
} DriveParams;

typedef struct {
    unsigned channels;
    double quick, rise, fall, rest; /* poles */
    float block_dc;                 /* share of the way a frame */
    Glide push, character;
    struct {
        double power, level; /* over DRIVE_QUICK_MS; L^2 */
        Oversample over[DRIVE_CHANNELS];
        Saturation bend[DRIVE_CHANNELS];
        float constant[DRIVE_CHANNELS];
    } state;
} Drive;

/* stages: of oversample.h. channels 1..DRIVE_CHANNELS. */
void drive_prepare(Drive *drive, double rate_hz, unsigned channels, unsigned stages);
void drive_reset(Drive *drive);
void drive_set(Drive *drive, const DriveParams *params);
size_t drive_delay(const Drive *drive);
/* n frames of every channel, drive_delay() late; in may equal out. */
void drive_process(Drive *drive, const float *const *in, float *const *out, size_t n);

/* Stages that give about the same rate whatever rate_hz is: `stages` up to 50 kHz, one fewer for
 * each doubling beyond, at least 1. */
unsigned drive_stages(double rate_hz, unsigned stages);

#endif
