/* SPDX-License-Identifier: ISC */
/* graph.h: audio nodes, and edges between them that keep everything in time.
 *
 * A node is a source (a file), a junction (where edges are summed), a processor (a plugin), a mover
 * (a gain that moves) or a sink (a file, or who listens). Audio runs through the whole graph in
 * blocks, in an order in which every node comes after what feeds it, so memory does not depend on
 * the length of the files.
 *
 * Time. Each node's output is late by some frames, compared with the files that are read: a source
 * by 0, any other node by the latest of its inputs, plus, for a processor, the latency it reports.
 * An edge delays what arrives earlier than the latest input of its node, whether at the main or at
 * the key input, so whatever meets in a node belongs together. A sink leaves out the frames by
 * which it is late. */
#ifndef SISKIN_RENDER_GRAPH_H
#define SISKIN_RENDER_GRAPH_H

#include "host/host.h"
#include "siskin/render/audio.h"

#include <stdatomic.h>

typedef struct Graph Graph;

typedef enum { GRAPH_MAIN, GRAPH_KEY } GraphInput;

/* to[c] = sum over s of gain[c][s] * from[s]; rows and columns beyond the channels are not used. */
typedef struct {
    float gain[AUDIO_CHANNELS][AUDIO_CHANNELS];
} GraphMatrix;

/* Called after each run() of a processor with the meters as it left them. The output that the run
 * gave belongs to frames at..at + n - 1 of the outputs, some of them before 0 or past the end. */
typedef void GraphWatch(void *user, const HostInstance *instance, int64_t at, size_t n);

/* Before a processor runs on what will come out at `frame` of the files: sets what moves, and
 * returns the frames for which that holds, 1 at least. */
typedef int64_t GraphAutomation(void *user, HostInstance *instance, int64_t frame);

/* A gain that moves: for the frames from `frame` on, as many as are returned (1 at least), it goes
 * straight from *from to *to. */
typedef int64_t GraphMove(void *user, int64_t frame, GraphMatrix *from, GraphMatrix *to);

/* Is given what a sink is given. */
typedef void GraphHear(void *user, const float *const *channel, size_t n);

/* Written while the graph runs; may lie in memory that another process reads. */
typedef struct {
    _Atomic uint64_t done, total; /* frames */
    _Atomic int pass, passes;     /* times that the graph has run and will run; 0 of 0: once */
    _Atomic int running;          /* `mark` of the processor whose code runs now, or 0 */
} GraphStatus;

/* The share of the work that is done, 0..1. */
double graph_done(GraphStatus *status);

/* Runs of processors are cut at multiples of `step` frames counted from the start of the outputs,
 * so that meters are read at the same moments for all of them. */
Graph *graph_new(double rate_hz, size_t step);
void graph_free(Graph *graph); /* frees nodes and edges, but nothing that was handed in */

/* Each returns the number of the new node. What is handed in must stay until graph_free. */
int graph_source(Graph *graph, AudioReader *reader);
int graph_junction(Graph *graph, unsigned channels, const char *label);
int graph_processor(Graph *graph, HostInstance *instance, size_t latency, const char *label,
                    int mark, GraphWatch *watch, void *user);
/* At most once a processor. */
void graph_automate(Graph *graph, int processor, GraphAutomation *automation, void *user);
int graph_mover(Graph *graph, unsigned channels, const char *label, GraphMove *move, void *user);
int graph_sink(Graph *graph, AudioWriter *writer);
/* A sink that is no file. */
int graph_ear(Graph *graph, unsigned channels, GraphHear *hear, void *user);

/* The channels of a node's output. */
unsigned graph_channels(const Graph *graph, int node);

void graph_connect(Graph *graph, int from, int to, GraphInput input, const GraphMatrix *matrix);

/* Called once everything is activated, before the first block. */
typedef void GraphBegin(void *user);
void graph_begin(Graph *graph, GraphBegin *begin, void *user);

/* Finds the order and the delays. Fails on a loop, which it names by a label in it. */
bool graph_prepare(Graph *graph, HostError *error);
/* Frames by which a node's output is late; after graph_prepare. */
size_t graph_lateness(const Graph *graph, int node);

/* Runs from the start of the files until every sink has frames first..first + frames - 1 of them;
 * watchers count from `first`, too. Fails on whatever a reader, writer or plugin does
 * wrong; a plugin that gives out what is not a number is named. */
bool graph_run(Graph *graph, uint64_t first, uint64_t frames, GraphStatus *status,
               HostError *error);

#endif
