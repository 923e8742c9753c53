/* SPDX-License-Identifier: ISC */
#include "siskin/render/take_work.h"

#include "siskin/chains/settings.h"
#include "siskin/render/matrix.h"
#include "siskin/text.h"

#include <string.h>

/* "de-esser"; with several busses "lead: de-esser"; a second one on the bus "de-esser 2". Names of
 * plugins and of busses may hold anything: controls are escaped. */
static void name_processor(const Take *take, size_t number, size_t index, char *plain,
                           size_t size) {
    char label[sizeof take->report->processor->label];
    size_t before = 0;
    const ChainBus *bus = &take->chain->busses[number];
    const HostPlugin *plugin = take->placed[number].plugins[index];
    const char *name = plugin->id ? plugin->id : plugin->name;
    for (size_t i = 0; i < index; i++)
        before += take->placed[number].plugins[i] == plugin;
    label[0] = '\0';
    if (take->chain->path && take->chain->n_busses > 2)
        text_add(label, sizeof label, "%s: ", bus->name);
    text_add(label, sizeof label, "%s", name);
    if (before)
        text_add(label, sizeof label, " %zu", before + 1);
    text_plain(plain, size, label);
}

/* Which ours are made for: common/plugin.h. */
static const double LEAST_HZ = 8000.0, MOST_HZ = 192000.0;

static bool check_rate(const Take *take, const HostPlugin *plugin, HostError *error) {
    if (!plugin->id || (take->rate_hz >= LEAST_HZ && take->rate_hz <= MOST_HZ))
        return true;
    return host_fail(error, "%s works at %g to %g Hz, and %s is at %g Hz", plugin->id, LEAST_HZ,
                     MOST_HZ, take->job->take, take->rate_hz);
}

static bool make_instance(Take *take, const ChainProcessor *processor, const HostPlugin *plugin,
                          size_t number, size_t *latency) {
    HostError why;
    bool fine = false;
    if (!check_rate(take, plugin, &why))
        return chain_fail(take->chain, processor->line, take->error, "%s", why.text);
    atomic_store(&take->report->status.running, (int)number + 1);
    HostInstance *instance = host_instantiate(take->host, plugin, take->rate_hz, AUDIO_BLOCK, &why);
    take->instances[number] = instance;
    if (instance)
        fine = settings_apply(instance, processor, take->rate_hz, &why) &&
               host_probe_latency(instance, latency, &why);
    atomic_store(&take->report->status.running, 0);
    return fine || chain_fail(take->chain, processor->line, take->error, "%s", why.text);
}

static const GraphMatrix unity = {{{1.0f, 0.0f}, {0.0f, 1.0f}}};

int take_add_mover(Take *take, size_t number, int from, unsigned channels, bool is_fader) {
    const ChainBus *bus = &take->chain->busses[number];
    SideMotion *side = text_take(1, sizeof *side);
    take->sides[take->n_sides++] = side;
    motion_of_side(side, take->chain, is_fader ? &bus->fader_move : &bus->pan_move, is_fader,
                   take->placed[number].out_channels, channels, take->rate_hz);
    int node = graph_mover(take->graph, channels, bus->name, motion_of_gain, side);
    graph_connect(take->graph, from, node, GRAPH_MAIN, &unity);
    return node;
}

/* What leaves a sound alone cannot be steered twice. A control other than `enabled` may be set. */
static bool check_switch(Take *take, const ChainProcessor *processor, const char *control,
                         Lane *works) {
    for (size_t i = 0; works->n && i < processor->n_settings; i++) {
        const ChainSetting *setting = &processor->settings[i];
        if (strcmp(setting->control, control) != 0 ||
            (strcmp(control, "enabled") != 0 && !setting->move.name))
            continue;
        lane_free(works);
        take->report->usage = true;
        return chain_fail(take->chain, processor->line, take->error,
                          "%s has %s=, which events= switches; leave out one of them",
                          processor->name, control);
    }
    return true;
}

/* Turns a processor off where the list of events leaves sounds alone; lets its lanes steer it. */
static bool steer(Take *take, const Placed *placed, const ChainProcessor *processor, size_t at,
                  size_t index) {
    const char *id = placed->plugins[at]->id, *control = events_control(id);
    Lane works =
        take->job->events ? events_lane(take->job->events, take->job->take, id) : (Lane){0};
    if (!check_switch(take, processor, control, &works))
        return false;
    /* 1 is what it is set to. */
    double on = works.n ? (double)host_get(take->instances[index], control) : 0.0;
    for (size_t i = 0; i < works.n; i++)
        works.points[i].value *= on;
    if (motion_of_processor(&take->motions[index], processor, take->chain, control, works,
                            take->rate_hz))
        graph_automate(take->graph, placed->nodes[at], motion_automate, &take->motions[index]);
    return true;
}

bool take_add_processors(Take *take, size_t number) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    placed->in_node = graph_junction(take->graph, placed->in_channels, bus->name);
    placed->out_node = placed->in_node;
    for (size_t i = 0; i < bus->n_processors; i++) {
        size_t index = take->report->n_processors++;
        size_t latency = 0;
        TakeProcessor *report = &take->report->processor[index];
        name_processor(take, number, i, report->label, sizeof report->label);
        if (!make_instance(take, &bus->processors[i], placed->plugins[i], index, &latency))
            return false;
        report->latency_ms = 1000.0 * (double)latency / take->rate_hz;
        meter_start(&take->meters[index], report, placed->plugins[i], take->frames,
                    take->job->trace ? &take->trace : NULL);
        placed->nodes[i] =
            graph_processor(take->graph, take->instances[index], latency, report->label,
                            (int)index + 1, meter_watch, &take->meters[index]);
        graph_connect(take->graph, placed->out_node, placed->nodes[i], GRAPH_MAIN, &unity);
        if (!steer(take, placed, &bus->processors[i], i, index))
            return false;
        placed->out_node = placed->nodes[i];
    }
    placed->post_node = placed->out_node;
    if (bus->fader_move.name)
        placed->post_node =
            take_add_mover(take, number, placed->out_node, placed->out_channels, true);
    return true;
}
