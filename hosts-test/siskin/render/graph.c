/* SPDX-License-Identifier: ISC */
#include "siskin/render/graph.h"

#include "basic/delay.h"
#include "basic/flush_zero.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

enum { BLOCK = AUDIO_BLOCK };

typedef enum { SOURCE, JUNCTION, PROCESSOR, MOVER, SINK } Kind;
typedef enum { NEW, OPEN, PLACED } Mark; /* of the depth-first search */

typedef struct {
    Kind kind;
    Mark mark;
    char *label;
    unsigned channels; /* out of it, or into a sink */
    size_t late;       /* frames, at its output */
    size_t latency;    /* of the processor alone */
    AudioReader *reader;
    AudioWriter *writer;
    GraphHear *hear; /* of a sink without a writer */
    HostInstance *instance;
    int number; /* `mark` of graph_processor */
    GraphWatch *watch;
    void *user;
    GraphAutomation *automation;
    void *automation_user;
    GraphMove *move;
    float *in[AUDIO_CHANNELS], *key[AUDIO_CHANNELS], *out[AUDIO_CHANNELS];
    bool has_key; /* an edge leads to the key input */
    float *memory;
} Node;

typedef struct {
    int from, to;
    GraphInput input;
    GraphMatrix matrix;
    size_t frames; /* of delay */
    Delay delay[AUDIO_CHANNELS];
    void *memory; /* of the delays */
} Edge;

struct Graph {
    double rate_hz;
    size_t step;
    uint64_t first; /* frame of the files that the outputs begin with */
    Node *nodes;
    size_t n_nodes;
    Edge *edges;
    size_t n_edges;
    int *order;
    size_t n_order;
    float delayed[BLOCK];
};

Graph *graph_new(double rate_hz, size_t step) {
    Graph *graph = text_take(1, sizeof *graph);
    graph->rate_hz = rate_hz;
    graph->step = step;
    return graph;
}

void graph_free(Graph *graph) {
    if (!graph)
        return;
    for (size_t i = 0; i < graph->n_nodes; i++) {
        free(graph->nodes[i].label);
        free(graph->nodes[i].memory);
    }
    for (size_t i = 0; i < graph->n_edges; i++)
        free(graph->edges[i].memory);
    free(graph->nodes);
    free(graph->edges);
    free(graph->order);
    free(graph);
}

/* ---- building ---- */

static Node *add(Graph *graph, Kind kind, unsigned channels, const char *label) {
    Node *node = text_grow(&graph->nodes, &graph->n_nodes, sizeof *node);
    *node = (Node){.kind = kind, .channels = channels, .label = text_copy(label)};
    node->memory = text_take((size_t)3 * AUDIO_CHANNELS * BLOCK, sizeof(float));
    for (size_t c = 0; c < AUDIO_CHANNELS; c++) {
        node->in[c] = node->memory + c * BLOCK;
        node->key[c] = node->memory + ((size_t)AUDIO_CHANNELS + c) * BLOCK;
        /* Only these make something new of what comes in. */
        node->out[c] = kind == PROCESSOR || kind == MOVER
                           ? node->memory + ((size_t)2 * AUDIO_CHANNELS + c) * BLOCK
                           : node->in[c];
    }
    return node;
}

static int last(const Graph *graph) {
    return (int)graph->n_nodes - 1;
}

int graph_source(Graph *graph, AudioReader *reader) {
    add(graph, SOURCE, reader->channels, reader->path)->reader = reader;
    return last(graph);
}

int graph_junction(Graph *graph, unsigned channels, const char *label) {
    add(graph, JUNCTION, channels, label);
    return last(graph);
}

int graph_processor(Graph *graph, HostInstance *instance, size_t latency, const char *label,
                    int mark, GraphWatch *watch, void *user) {
    Node *node = add(graph, PROCESSOR, (unsigned)host_plugin(instance)->n_out, label);
    node->instance = instance;
    node->latency = latency;
    node->number = mark;
    node->watch = watch;
    node->user = user;
    return last(graph);
}

void graph_automate(Graph *graph, int processor, GraphAutomation *automation, void *user) {
    graph->nodes[processor].automation = automation;
    graph->nodes[processor].automation_user = user;
}

int graph_mover(Graph *graph, unsigned channels, const char *label, GraphMove *move, void *user) {
    Node *node = add(graph, MOVER, channels, label);
    node->move = move;
    node->user = user;
    return last(graph);
}

int graph_sink(Graph *graph, AudioWriter *writer) {
    add(graph, SINK, writer->channels, writer->safe.path)->writer = writer;
    return last(graph);
}

int graph_ear(Graph *graph, unsigned channels, GraphHear *hear, void *user) {
    Node *node = add(graph, SINK, channels, "the ear");
    node->hear = hear;
    node->user = user;
    return last(graph);
}

unsigned graph_channels(const Graph *graph, int node) {
    return graph->nodes[node].channels;
}

void graph_connect(Graph *graph, int from, int to, GraphInput input, const GraphMatrix *matrix) {
    Edge *edge = text_grow(&graph->edges, &graph->n_edges, sizeof *edge);
    *edge = (Edge){.from = from, .to = to, .input = input, .matrix = *matrix};
    if (input == GRAPH_KEY)
        graph->nodes[to].has_key = true;
}

/* ---- order and delays ---- */

static bool place(Graph *graph, int number, HostError *error) {
    Node *node = &graph->nodes[number];
    if (node->mark == PLACED)
        return true;
    if (node->mark == OPEN)
        return host_fail(error, "'%s' feeds itself in a loop", node->label);
    node->mark = OPEN;
    for (size_t i = 0; i < graph->n_edges; i++) {
        const Edge *edge = &graph->edges[i];
        if (edge->to != number)
            continue;
        if (!place(graph, edge->from, error))
            return false;
        if (graph->nodes[edge->from].late > node->late)
            node->late = graph->nodes[edge->from].late;
    }
    node->late += node->latency;
    node->mark = PLACED;
    graph->order[graph->n_order++] = number;
    return true;
}

static bool make_delay(const Graph *graph, Edge *edge, HostError *error) {
    const Node *to = &graph->nodes[edge->to];
    edge->frames = to->late - to->latency - graph->nodes[edge->from].late;
    if (edge->frames == 0)
        return true;
    /* Asked first of an arena without memory, which tells how much it takes. */
    Arena arena = arena_over(NULL, 0);
    for (int pass = 0; pass < 2; pass++) {
        for (unsigned c = 0; c < graph->nodes[edge->from].channels; c++)
            if (!delay_prepare(&edge->delay[c], edge->frames, &arena) && pass)
                return host_fail(error, "out of memory");
        if (pass == 0) {
            size_t size = arena.used + ARENA_ALIGN;
            edge->memory = malloc(size);
            if (!edge->memory)
                return host_fail(error, "out of memory");
            arena = arena_over(edge->memory, size);
        }
    }
    return true;
}

bool graph_prepare(Graph *graph, HostError *error) {
    graph->order = text_take(graph->n_nodes, sizeof *graph->order);
    for (size_t i = 0; i < graph->n_nodes; i++)
        if (!place(graph, (int)i, error))
            return false;
    for (size_t i = 0; i < graph->n_edges; i++)
        if (!make_delay(graph, &graph->edges[i], error))
            return false;
    return true;
}

size_t graph_lateness(const Graph *graph, int node) {
    return graph->nodes[node].late;
}

/* ---- running ---- */

static void add_scaled(float *to, const float *from, float gain, size_t n, bool first) {
    if (first && gain == 1.0f) {
        memcpy(to, from, n * sizeof *to);
    } else if (first) {
        for (size_t i = 0; i < n; i++)
            to[i] = gain * from[i];
    } else {
        for (size_t i = 0; i < n; i++)
            to[i] += gain * from[i];
    }
}

/* The edge's source, delayed: y[t] = x[t - frames]. */
static const float *through_delay(Graph *graph, Edge *edge, unsigned channel, size_t n) {
    const float *from = graph->nodes[edge->from].out[channel];
    if (edge->frames == 0)
        return from;
    for (size_t at = 0; at < n; at += DELAY_MAX_BLOCK) {
        size_t piece = n - at < DELAY_MAX_BLOCK ? n - at : DELAY_MAX_BLOCK;
        delay_write(&edge->delay[channel], from + at, piece);
        delay_read(&edge->delay[channel], edge->frames, graph->delayed + at, piece);
    }
    return graph->delayed;
}

static void gather(Graph *graph, int number, size_t n) {
    Node *node = &graph->nodes[number];
    bool written[2][AUDIO_CHANNELS] = {{false}};
    for (size_t i = 0; i < graph->n_edges; i++) {
        Edge *edge = &graph->edges[i];
        if (edge->to != number)
            continue;
        float *const *to = edge->input == GRAPH_KEY ? node->key : node->in;
        for (unsigned s = 0; s < graph->nodes[edge->from].channels; s++) {
            const float *from = through_delay(graph, edge, s, n);
            for (unsigned c = 0; c < AUDIO_CHANNELS; c++) {
                float gain = edge->matrix.gain[c][s];
                bool *there = &written[edge->input == GRAPH_KEY][c];
                if (gain == 0.0f)
                    continue;
                add_scaled(to[c], from, gain, n, !*there);
                *there = true;
            }
        }
    }
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++) {
        if (!written[0][c])
            memset(node->in[c], 0, n * sizeof(float));
        if (!written[1][c] && node->has_key)
            memset(node->key[c], 0, n * sizeof(float));
    }
}

static bool all_finite(const float *audio, size_t n) {
    uint32_t bad = 0;
    for (size_t i = 0; i < n; i++) {
        uint32_t bits;
        memcpy(&bits, &audio[i], sizeof bits);
        bad |= (bits & 0x7F800000) == 0x7F800000; /* the exponent of infinities and NaNs */
    }
    return !bad;
}

static bool check_output(const Graph *graph, const Node *node, uint64_t at, size_t n,
                         HostError *error) {
    char time[32];
    size_t latency = 0;
    for (unsigned c = 0; c < node->channels; c++)
        if (!all_finite(node->out[c], n))
            return host_fail(error, "%s put out what is not a number, near %s", node->label,
                             text_time(time, (double)at / graph->rate_hz));
    if (!host_latency(node->instance, &latency, error))
        return false;
    if (latency != node->latency)
        return host_fail(error, "%s changed its latency from %zu to %zu frames at %s", node->label,
                         node->latency, latency, text_time(time, (double)at / graph->rate_hz));
    return true;
}

/* Frames from `at` (counted at the processor's input) to the next multiple of step at its output.
 */
static size_t to_next_step(const Graph *graph, const Node *node, uint64_t at) {
    int64_t step = (int64_t)graph->step;
    int64_t into = ((int64_t)at - (int64_t)node->late - (int64_t)graph->first) % step;
    return (size_t)(step - (into < 0 ? into + step : into));
}

static bool run_processor(Graph *graph, Node *node, uint64_t at, size_t n, GraphStatus *status,
                          HostError *error) {
    atomic_store_explicit(&status->running, node->number, memory_order_relaxed);
    for (size_t done = 0; done < n;) {
        int64_t frame = (int64_t)(at + done) - (int64_t)node->late;
        size_t piece = to_next_step(graph, node, at + done);
        if (piece > n - done)
            piece = n - done;
        if (node->automation) {
            int64_t holds = node->automation(node->automation_user, node->instance, frame);
            piece = holds < (int64_t)piece ? (size_t)holds : piece;
        }
        const float *in[AUDIO_CHANNELS];
        const float *key[AUDIO_CHANNELS];
        float *out[AUDIO_CHANNELS];
        for (unsigned c = 0; c < AUDIO_CHANNELS; c++) {
            in[c] = node->in[c] + done;
            key[c] = node->key[c] + done;
            out[c] = node->out[c] + done;
        }
        host_run(node->instance, piece, in, node->has_key ? key : NULL, out);
        node->watch(node->user, node->instance, frame - (int64_t)graph->first, piece);
        done += piece;
    }
    atomic_store_explicit(&status->running, 0, memory_order_relaxed);
    return check_output(graph, node, at, n, error);
}

/* Frames begin..end - 1 of a stretch of `length` frames that begins at `at`. */
static void move_piece(Node *node, size_t at, size_t n, const GraphMatrix *from,
                       const GraphMatrix *to, double length) {
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++) {
        float *out = node->out[c] + at;
        memset(out, 0, n * sizeof *out);
        for (unsigned s = 0; s < AUDIO_CHANNELS; s++) {
            double g = (double)from->gain[c][s];
            double slope = ((double)to->gain[c][s] - g) / length;
            if (g == 0.0 && slope == 0.0)
                continue;
            for (size_t i = 0; i < n; i++)
                out[i] += (float)((g + slope * (double)i) * (double)node->in[s][at + i]);
        }
    }
}

static void run_mover(Node *node, uint64_t at, size_t n) {
    for (size_t done = 0; done < n;) {
        GraphMatrix from, to;
        int64_t holds =
            node->move(node->user, (int64_t)(at + done) - (int64_t)node->late, &from, &to);
        size_t piece = holds < (int64_t)(n - done) ? (size_t)holds : n - done;
        move_piece(node, done, piece, &from, &to, (double)holds);
        done += piece;
    }
}

static bool run_sink(const Graph *graph, Node *node, uint64_t at, size_t n, uint64_t frames,
                     HostError *error) {
    uint64_t begin = node->late + graph->first;
    uint64_t end = begin + frames;
    uint64_t from = at > begin ? at : begin;
    uint64_t to = at + n < end ? at + n : end;
    const float *channel[AUDIO_CHANNELS];
    if (from >= to)
        return true;
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        channel[c] = node->in[c] + (from - at);
    if (node->writer)
        return audio_write(node->writer, channel, (size_t)(to - from), error);
    node->hear(node->user, channel, (size_t)(to - from));
    return true;
}

static bool run_block(Graph *graph, uint64_t at, size_t n, uint64_t frames, GraphStatus *status,
                      HostError *error) {
    for (size_t i = 0; i < graph->n_order; i++) {
        Node *node = &graph->nodes[graph->order[i]];
        if (node->kind == SOURCE) {
            if (!audio_read(node->reader, node->out, n, error))
                return false;
            continue;
        }
        gather(graph, graph->order[i], n);
        if (node->kind == PROCESSOR && !run_processor(graph, node, at, n, status, error))
            return false;
        if (node->kind == MOVER)
            run_mover(node, at, n);
        if (node->kind == SINK && !run_sink(graph, node, at, n, frames, error))
            return false;
    }
    return true;
}

double graph_done(GraphStatus *status) {
    uint64_t total = atomic_load(&status->total);
    double share = total ? (double)atomic_load(&status->done) / (double)total : 0.0;
    int passes = atomic_load(&status->passes);
    return passes ? ((double)atomic_load(&status->pass) + share) / (double)passes : share;
}

static void activate_all(Graph *graph, bool active, GraphStatus *status) {
    for (size_t i = 0; i < graph->n_nodes; i++) {
        HostInstance *instance = graph->nodes[i].instance;
        atomic_store(&status->running, instance ? graph->nodes[i].number : 0);
        if (instance && active)
            host_activate(instance);
        else if (instance)
            host_deactivate(instance);
    }
    atomic_store(&status->running, 0);
}

bool graph_run(Graph *graph, uint64_t first, uint64_t frames, GraphStatus *status,
               HostError *error) {
    size_t late = 0;
    for (size_t i = 0; i < graph->n_nodes; i++)
        if (graph->nodes[i].kind == SINK && graph->nodes[i].late > late)
            late = graph->nodes[i].late;
    uint64_t total = first + frames + late;
    graph->first = first;
    atomic_store_explicit(&status->total, total, memory_order_relaxed);
    /* Plugins of others may be slow on the denormal numbers of a dying echo. */
    uint64_t before = flush_zero_begin();
    activate_all(graph, true, status);
    bool fine = true;
    for (uint64_t at = 0; at < total && fine;) {
        size_t n = total - at < BLOCK ? (size_t)(total - at) : BLOCK;
        fine = run_block(graph, at, n, frames, status, error);
        at += n;
        atomic_store_explicit(&status->done, at, memory_order_relaxed);
    }
    activate_all(graph, false, status);
    flush_zero_end(before);
    return fine;
}
