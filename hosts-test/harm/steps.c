/* SPDX-License-Identifier: ISC */
/* steps.c: runs one plugin block by block and has the steps of each run() counted.
 *
 *     valgrind --tool=callgrind --instr-atstart=no --combine-dumps=yes ... steps FRAMES BLOCKS SEED
 *     steps --edges FRAMES BLOCKS SEED
 *
 * callgrind counts instructions, but takes long. The second way counts the edges of the control
 * flow that are gone along, so that a million blocks take seconds; it needs a build by clang with
 * -fsanitize-coverage=trace-pc, and prints the worst, the median and the least count.
 * Every block is of FRAMES frames at 48 kHz, stereo. What is fed changes at random moments: a sung
 * take with clicks, breaths and hot sibilants; silence; noise at the edge of the denormal numbers;
 * white noise; clicks; steps of level; +60 dBFS; what is no number. steps.sh reads the
 * counts. */
#include "busy_take.h"
#include "layout.h"
#include "signals.h"

#include <lv2/core/lv2.h>
#include <valgrind/callgrind.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { KIND_FRAMES = 1536 }; /* that a kind of sound lasts, in the mean */
enum { RATE = 48000, TAKE = 5 * RATE, MOST_FRAMES = 1024, MOST_PORTS = 64, AUDIO_PORTS = 6 };
typedef enum { SUNG, SILENT, DENORMAL, WHITE, CLICKS, LEVELS, LOUDEST, NO_NUMBER, KINDS } Kind;

/* What the compiler has called at each edge. */
void __sanitizer_cov_trace_pc(void); // NOLINT(bugprone-reserved-identifier): the compiler's name
static uint64_t edges;

void __sanitizer_cov_trace_pc(void) { // NOLINT(bugprone-reserved-identifier)
    edges++;
}

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
        control[i] = port.spec.initial;
        descriptor->connect_port(handle, (uint32_t)i,
                                 is_audio ? audio[audio_ports++] : &control[i]);
    }
    descriptor->activate(handle);
    return handle;
}

typedef struct {
    const LV2_Descriptor *descriptor;
    LV2_Handle handle;
    Random random;
    Kind kind;
    size_t at;
} Player;

static void next_block(Player *player, size_t frames) {
    /* By time, whatever the blocks: a voice must last to be known for one. */
    if (random_below(&player->random, 1 + KIND_FRAMES / frames) == 0)
        player->kind = (Kind)random_below(&player->random, KINDS);
    feed(player->kind, player->at, frames, &player->random);
    player->at += frames;
}

static void run(const Player *player, size_t frames) {
    player->descriptor->run(player->handle, (uint32_t)frames);
}

static void count_instructions(Player *player, size_t frames, size_t blocks) {
    CALLGRIND_START_INSTRUMENTATION;
    for (size_t block = 0; block < blocks; block++) {
        next_block(player, frames);
        CALLGRIND_ZERO_STATS;
        run(player, frames);
        CALLGRIND_DUMP_STATS;
    }
    CALLGRIND_STOP_INSTRUMENTATION;
}

static int by_size(const void *a, const void *b) {
    uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;
    return (x > y) - (x < y);
}

static bool count_edges(Player *player, size_t frames, size_t blocks) {
    uint64_t *count = calloc(blocks, sizeof *count);
    if (!count)
        return false;
    for (size_t block = 0; block < blocks; block++) {
        next_block(player, frames);
        edges = 0;
        run(player, frames);
        count[block] = edges;
    }
    qsort(count, blocks, sizeof *count, by_size);
    printf("%llu %llu %llu\n", (unsigned long long)count[blocks - 1],
           (unsigned long long)count[blocks / 2], (unsigned long long)count[0]);
    bool counted = count[0] > 0;
    free(count);
    return counted;
}

int main(int argc, char **argv) {
    bool by_edges = argc == 5 && strcmp(argv[1], "--edges") == 0;
    if (argc != 4 && !by_edges) {
        fprintf(stderr, "usage: steps [--edges] FRAMES BLOCKS SEED\n");
        return 2;
    }
    char **numbers = argv + argc - 3;
    size_t frames = strtoul(numbers[0], NULL, 10), blocks = strtoul(numbers[1], NULL, 10);
    Player player = {.descriptor = lv2_descriptor(1),
                     .random = random_seeded(strtoull(numbers[2], NULL, 10))};
    player.handle = player.descriptor ? prepare(player.descriptor) : NULL;
    if (!player.handle || frames == 0 || frames > MOST_FRAMES || blocks == 0) {
        fprintf(stderr, "steps: no plugin, no blocks, or not 1 to %d frames\n", MOST_FRAMES);
        return EXIT_FAILURE;
    }
    busy_take(take, TAKE, RATE, SINGER_WOMAN, 7);
    /* Two seconds unwatched, so that levels are known and hops are under way. */
    for (; player.at < (size_t)2 * RATE; player.at += frames) {
        feed(SUNG, player.at, frames, &player.random);
        run(&player, frames);
    }
    bool counted = true;
    if (by_edges)
        counted = count_edges(&player, frames, blocks);
    else
        count_instructions(&player, frames, blocks);
    player.descriptor->cleanup(player.handle);
    if (!counted)
        fprintf(stderr, "steps: not built to count edges\n");
    return counted ? EXIT_SUCCESS : EXIT_FAILURE;
}
