/* SPDX-License-Identifier: ISC */
/* steps.c: runs one plugin block by block for callgrind, which counts the instructions of each
 * run().
 *
 *     valgrind --tool=callgrind --instr-atstart=no --combine-dumps=yes ... steps FRAMES BLOCKS SEED
 *
 * Every block is of FRAMES frames at 48 kHz, stereo. What is fed changes at random moments: a sung
 * take with clicks, breaths and hot sibilants; silence; noise at the edge of the denormal numbers;
 * white noise; clicks; steps of level; +60 dBFS; what is no number. hosts-test/steps.sh reads the
 * counts. */
#include "busy_take.h"
#include "layout.h"
#include "signals.h"

#include <lv2/core/lv2.h>
#include <valgrind/callgrind.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { RATE = 48000, TAKE = 5 * RATE, MOST_FRAMES = 1024, MOST_PORTS = 64, AUDIO_PORTS = 6 };
typedef enum { SUNG, SILENT, DENORMAL, WHITE, CLICKS, LEVELS, LOUDEST, NO_NUMBER, KINDS } Kind;

static float take[TAKE];
static float control[MOST_PORTS];
static float audio[AUDIO_PORTS][MOST_FRAMES];

static float sample(Kind kind, size_t at, Random *random) {
    double x = random_range(random, -1.0, 1.0);
    switch (kind) {
    case SUNG:
        return take[at % TAKE];
    case DENORMAL:
        return (float)(1e-38 * x);
    case WHITE:
        return (float)(0.3 * x);
    case CLICKS:
        return at % 2411 < 40 ? (float)(0.5 * x) : (float)(1e-4 * x);
    case LEVELS:
        return (float)(ldexp(x, -(int)(at / 3001 % 12)));
    case LOUDEST:
        return (float)(1000.0 * x);
    case NO_NUMBER:
        return x > 0.0 ? NAN : INFINITY;
    case SILENT:
    case KINDS:
        break;
    }
    return 0.0f;
}

static void feed(Kind kind, size_t at, size_t frames, Random *random) {
    for (size_t i = 0; i < frames; i++) {
        float x = sample(kind, at + i, random);
        for (size_t p = 0; p < AUDIO_PORTS; p++)
            audio[p][i] = x;
    }
}

static LV2_Handle prepare(const LV2_Descriptor *descriptor) {
    LV2_Handle handle = descriptor->instantiate(descriptor, RATE, "", NULL);
    if (!handle)
        return NULL;
    size_t ports = layout_count(&plugin_spec, 2), audio_ports = 0;
    for (size_t i = 0; i < ports; i++) {
        Port port = layout_port(&plugin_spec, 2, i);
        bool is_audio = port.role == ROLE_IN || port.role == ROLE_KEY || port.role == ROLE_OUT;
        control[i] = port.spec->initial;
        descriptor->connect_port(handle, (uint32_t)i,
                                 is_audio ? audio[audio_ports++] : &control[i]);
    }
    descriptor->activate(handle);
    return handle;
}

int main(int argc, char **argv) {
    if (argc != 4) {
        fprintf(stderr, "usage: steps FRAMES BLOCKS SEED\n");
        return 2;
    }
    size_t frames = strtoul(argv[1], NULL, 10), blocks = strtoul(argv[2], NULL, 10);
    Random random = random_seeded(strtoull(argv[3], NULL, 10));
    const LV2_Descriptor *descriptor = lv2_descriptor(1);
    LV2_Handle handle = descriptor ? prepare(descriptor) : NULL;
    if (!handle || frames == 0 || frames > MOST_FRAMES) {
        fprintf(stderr, "steps: no plugin, or 1 to %d frames\n", MOST_FRAMES);
        return EXIT_FAILURE;
    }
    busy_take(take, TAKE, RATE, SINGER_WOMAN, 7);
    Kind kind = SUNG;
    size_t at = 0;
    /* Two seconds unwatched, so that levels are known and hops are under way. */
    for (; at < (size_t)2 * RATE; at += frames) {
        feed(kind, at, frames, &random);
        descriptor->run(handle, (uint32_t)frames);
    }
    CALLGRIND_START_INSTRUMENTATION;
    for (size_t block = 0; block < blocks; block++, at += frames) {
        if (random_below(&random, 24) == 0)
            kind = (Kind)random_below(&random, KINDS);
        feed(kind, at, frames, &random);
        CALLGRIND_ZERO_STATS;
        descriptor->run(handle, (uint32_t)frames);
        CALLGRIND_DUMP_STATS;
    }
    CALLGRIND_STOP_INSTRUMENTATION;
    descriptor->cleanup(handle);
    return EXIT_SUCCESS;
}
