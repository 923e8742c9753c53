/* SPDX-License-Identifier: ISC */
/* take.h: renders one take through a chain: opens the files, makes the plugins, builds the
 * graph, runs it, and makes the outputs final. */
#ifndef SISKIN_RENDER_TAKE_H
#define SISKIN_RENDER_TAKE_H

#include "siskin/chains/chain.h"
#include "siskin/edit/events.h"
#include "siskin/render/finish.h"
#include "siskin/render/graph.h"

#define TAKE_PATIENCE_S 60.0
#define TAKE_TRACE_STEP_MS 5.0

enum { TAKE_STAMP = 96 }; /* bytes of what an output says it was made of: see stamp.h */

/* What to do. Strings belong to the caller. */
typedef struct {
    const char *take, *out;
    const Chain *chain;
    const char *feed[CHAIN_MAX_BUSSES]; /* files of the busses that want one, but for the take's */
    const Events *events;               /* which sounds to leave alone, or NULL */
    AudioHow how;                       /* to read them */
    AudioFormat format;                 /* resolved */
    bool live;                          /* as a host plays it: nothing played ahead (room.h) */
    bool stems;                         /* also write each bus that goes to the mix */
    bool stereo;                        /* make the take stereo before its processors */
    double from_s, to_s;                /* the section to write; to_s 0: up to the end */
    double tail_s;                      /* go on with silence for this long */
    FinishAim finish;                   /* one gain for the mix, and the same for the stems */
    const char *trace;                  /* file of meters over time, or NULL */
    double trace_step_ms; /* processors run to its rows, traced or not; 0: TAKE_TRACE_STEP_MS */
    double patience_s;    /* longest that one call of a processor may take; 0: TAKE_PATIENCE_S */
} TakeJob;

/* One processor, seen over the whole take. */
typedef struct {
    char label[96];
    double latency_ms;
    bool has_reduction;
    double most_db, mean_db; /* reduction: largest; mean over time */
    double active;           /* part of the time with more than TAKE_ACTIVE_DB of reduction */
    double events;           /* last value of a meter `events`; NAN: it has none */
} TakeProcessor;

#define TAKE_ACTIVE_DB 0.5

/* What was done. Holds no pointers: it lies in memory that two processes share. */
typedef struct {
    GraphStatus status;
    bool done;  /* the outputs are there */
    bool usage; /* it failed because what was asked for cannot be, whatever the files hold */
    HostError error;
    double rate_hz;
    unsigned channels; /* of the output */
    double length_s;   /* of the output */
    double peak;       /* of the output, linear */
    Finish finish;     /* when that was asked for */
    double seconds;    /* it took */
    char notes[4096];  /* things to know, one a line */
    size_t n_processors;
    TakeProcessor processor[CHAIN_MAX_PROCESSORS];
} TakeReport;

enum { TAKE_MAX_OUTPUTS = CHAIN_MAX_BUSSES + 2 };

/* The paths that a job will write: mix, stems, trace. The caller frees each. */
size_t take_outputs(const TakeJob *job, char *path[TAKE_MAX_OUTPUTS]);

/* The file that feeds a bus; NULL: none does. */
const char *take_input(const TakeJob *job, size_t bus);

/* Renders; on failure report->error says why and nothing is left behind. */
void take_render(Host *host, const TakeJob *job, TakeReport *report);

#endif
