/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"

#include "siskin/render/matrix.h"
#include "siskin/text.h"

#include <stdlib.h>

/* What is left for the edges to do: 0 where the fader is a node of its own. */
static double still_fader_db(const Take *take, size_t bus) {
    return take->chain->busses[bus].fader_move.name ? 0.0 : take->chain->busses[bus].fader_db;
}

static void connect_tap(Take *take, const ChainTap *tap, double gain_db, int to,
                        unsigned to_channels, GraphInput input) {
    const Placed *from = &take->placed[tap->bus];
    double db = gain_db + (tap->before ? 0.0 : still_fader_db(take, (size_t)tap->bus));
    GraphMatrix matrix = matrix_convert(tap->before ? from->in_channels : from->out_channels,
                                        to_channels, matrix_linear(db));
    graph_connect(take->graph, tap->before ? from->in_node : from->post_node, to, input, &matrix);
}

/* Connects a bus, behind its fader and pan, to a node of so many channels. */
static void connect_side(Take *take, size_t number, int to, unsigned channels, double gain_db) {
    const Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    float gain = matrix_linear(still_fader_db(take, number) + gain_db);
    if (bus->pan_move.name && channels == 2) {
        int panned = take_add_mover(take, number, placed->post_node, channels, false);
        GraphMatrix matrix = matrix_convert(channels, channels, gain);
        graph_connect(take->graph, panned, to, GRAPH_MAIN, &matrix);
        return;
    }
    GraphMatrix matrix = matrix_panned(placed->out_channels, channels, gain, bus->pan);
    graph_connect(take->graph, placed->post_node, to, GRAPH_MAIN, &matrix);
}

void take_connect_bus(Take *take, size_t number) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    if (bus->wants_file) {
        GraphMatrix matrix = matrix_convert(placed->reader.channels, placed->in_channels, 1.0f);
        graph_connect(take->graph, graph_source(take->graph, &placed->reader), placed->in_node,
                      GRAPH_MAIN, &matrix);
    }
    for (size_t i = 0; i < bus->n_sends; i++)
        connect_tap(take, &bus->sends[i].from, bus->sends[i].gain_db, placed->in_node,
                    placed->in_channels, GRAPH_MAIN);
    for (size_t i = 0; i < bus->n_processors; i++)
        if (bus->processors[i].key.bus >= 0)
            connect_tap(take, &bus->processors[i].key, 0.0, placed->nodes[i],
                        (unsigned)placed->plugins[i]->n_key, GRAPH_KEY);
    if (bus->to >= 0) {
        const Placed *to = &take->placed[bus->to];
        connect_side(take, number, to->in_node, to->in_channels, 0.0);
    }
}

/* A file of the output: the node of its sink, or -1. */
static int add_sink(Take *take, const char *path, unsigned channels) {
    AudioWriter *writer = text_take(1, sizeof *writer);
    const AudioOrigin origin = {&take->placed[take->chain->take].reader, take->first, take->stamp};
    if (!audio_create(writer, path, &take->job->format, take->rate_hz, channels, take->frames,
                      &origin, take->error)) {
        free(writer);
        return -1;
    }
    take->writers[take->n_writers++] = writer;
    return graph_sink(take->graph, writer);
}

static void hear(void *user, const float *const *channel, size_t n) {
    finish_ear_hear(user, channel, n);
}

static int add_mix_sink(Take *take, unsigned channels) {
    take->report->channels = channels;
    if (!take->ear)
        return add_sink(take, take->job->out, channels);
    finish_ear_begin(take->ear, take->rate_hz, channels);
    return graph_ear(take->graph, channels, hear, take->ear);
}

bool take_connect_sinks(Take *take) {
    const Placed *mix = &take->placed[take->chain->mix];
    float gain = matrix_linear(still_fader_db(take, (size_t)take->chain->mix) + take->gain_db);
    GraphMatrix matrix = matrix_convert(mix->out_channels, mix->out_channels, gain);
    int sink = add_mix_sink(take, mix->out_channels);
    if (sink < 0)
        return false;
    graph_connect(take->graph, mix->post_node, sink, GRAPH_MAIN, &matrix);
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        if (!take_has_stem(take->job, i))
            continue;
        char *path = take_stem_path(take->job->out, take->chain->busses[i].name);
        sink = add_sink(take, path, mix->in_channels);
        free(path);
        if (sink < 0)
            return false;
        connect_side(take, i, sink, mix->in_channels, take->gain_db);
    }
    return true;
}
