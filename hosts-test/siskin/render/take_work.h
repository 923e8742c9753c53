/* SPDX-License-Identifier: ISC */
/* take_work.h: a take that is being rendered, for the files that do it.
 *
 *   take.c             its files, its length, the order of things
 *   take_channels.c    how wide each bus is, and whether its processors fit
 *   take_processors.c  busses and processors as nodes of the graph, and what moves them
 *   take_wires.c       what goes where, and the files of the output
 *   take_rooms.c       the room and the voice of a take, played ahead to what learns them
 *
 * Functions that may fail leave the reason in Take.error. */
#ifndef SISKIN_RENDER_TAKE_WORK_H
#define SISKIN_RENDER_TAKE_WORK_H

#include "siskin/render/meter.h"
#include "siskin/render/motion.h"
#include "siskin/render/room.h"
#include "siskin/render/take.h"

/* A fader, a way to the mix and a stem for each bus. */
enum { MOST_SIDES = 3 * CHAIN_MAX_BUSSES };

/* A bus on its way into the graph. */
typedef struct {
    AudioReader reader;
    enum { UNKNOWN, ASKED, KNOWN } in_state, out_state; /* of the channel counts */
    unsigned in_channels, out_channels;
    const HostPlugin **plugins; /* [n_processors] */
    int *nodes;                 /* [n_processors] */
    int in_node, out_node;
    Room room, voice; /* of its file, for processors that learn them */
    int post_node;    /* behind a fader that moves; else out_node, and the fader is still to come */
} Placed;

typedef struct {
    Host *host;
    const TakeJob *job;
    const Chain *chain;
    TakeReport *report;
    HostError *error;
    double rate_hz;
    uint64_t first;  /* of the files, in the output */
    uint64_t frames; /* of the output */
    size_t step;
    Placed placed[CHAIN_MAX_BUSSES];
    HostInstance *instances[CHAIN_MAX_PROCESSORS];
    Meter meters[CHAIN_MAX_PROCESSORS];
    ProcessorMotion motions[CHAIN_MAX_PROCESSORS];
    SideMotion *sides[MOST_SIDES]; /* of busses whose fader or pan moves */
    size_t n_sides;
    AudioWriter *writers[CHAIN_MAX_BUSSES + 1];
    size_t n_writers;
    double gain_db; /* of the mix and the stems */
    FinishEar *ear; /* hears the mix instead of any file; or NULL */
    Trace trace;
    char stamp[TAKE_STAMP];
    Graph *graph;
} Take;

/* OUT.BUS; the caller frees it. */
char *take_stem_path(const char *out, const char *bus);
bool take_has_stem(const TakeJob *job, size_t bus);

/* Of every bus; finds its plugins too. A bus is as wide as what comes in, unless it says
 * otherwise. */
bool take_find_channels(Take *take);

/* The nodes of bus `number`: where it comes in, its processors, a fader that moves. */
bool take_add_processors(Take *take, size_t number);
/* A fader (`is_fader`) or a pan that moves, behind `from`: its node. */
int take_add_mover(Take *take, size_t number, int from, unsigned channels, bool is_fader);

/* Once all busses have their nodes: the file, sends and keys of one, and where it goes. */
void take_connect_bus(Take *take, size_t number);
/* The mix and the stems, into files, or the mix into an ear. */
bool take_connect_sinks(Take *take);

/* Reads the room and the voice of each file that a learner hears. */
bool take_find_rooms(Take *take);
/* Once all processors are activated. user: the Take. */
void take_play_rooms(void *user);

#endif
