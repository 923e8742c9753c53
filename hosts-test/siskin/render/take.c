/* SPDX-License-Identifier: ISC */
#include "siskin/render/take.h"

#include "siskin/chains/settings.h"
#include "siskin/files.h"
#include "siskin/render/matrix.h"
#include "siskin/render/meter.h"
#include "siskin/render/motion.h"
#include "siskin/render/room.h"
#include "siskin/render/stamp.h"
#include "siskin/text.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

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
    Room room;     /* of its file, for a processor that learns it */
    int post_node; /* behind a fader that moves; else out_node, and the fader is still to come */
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

static void note(Take *take, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void note(Take *take, const char *format, ...) {
    char line[512];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    text_add(take->report->notes, sizeof take->report->notes, "%s\n", line);
}

/* ---- files ---- */

static char *stem_path(const char *out, const char *bus) {
    const char *base = text_base(out);
    const char *dot = strrchr(base, '.');
    size_t length = dot && dot != base ? (size_t)(dot - out) : strlen(out);
    return text_print("%.*s.%s%s", (int)length, out, bus, out + length);
}

static bool has_stem(const TakeJob *job, size_t bus) {
    return job->stems && job->chain->busses[bus].to == job->chain->mix;
}

size_t take_outputs(const TakeJob *job, char *path[TAKE_MAX_OUTPUTS]) {
    size_t count = 0;
    path[count++] = text_copy(job->out);
    for (size_t i = 0; i < job->chain->n_busses; i++)
        if (has_stem(job, i))
            path[count++] = stem_path(job->out, job->chain->busses[i].name);
    if (job->trace)
        path[count++] = text_copy(job->trace);
    return count;
}

const char *take_input(const TakeJob *job, size_t bus) {
    if (!job->chain->busses[bus].wants_file)
        return NULL;
    return (int)bus == job->chain->take ? job->take : job->feed[bus];
}

static bool check_outputs(Take *take) {
    char *path[TAKE_MAX_OUTPUTS];
    size_t count = take_outputs(take->job, path);
    bool fine = true;
    for (size_t o = 0; o < count && fine; o++) {
        for (size_t b = 0; b < take->chain->n_busses && fine; b++) {
            const char *input = take_input(take->job, b);
            if (input && safe_same_file(path[o], input))
                fine = host_fail(take->error,
                                 "%s would be written over %s, which is read; give "
                                 "another name",
                                 path[o], input);
        }
        if (take->chain->path && safe_same_file(path[o], take->chain->path))
            fine =
                host_fail(take->error, "%s is the chain file itself; give another name", path[o]);
        for (size_t other = 0; other < o && fine; other++)
            if (files_key(path[o]) == files_key(path[other]))
                fine = host_fail(take->error, "%s would be written twice", path[o]);
    }
    for (size_t o = 0; o < count; o++)
        free(path[o]);
    return fine;
}

static bool open_inputs(Take *take) {
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        const char *path = take_input(take->job, i);
        AudioReader *reader = &take->placed[i].reader;
        if (!path)
            continue;
        if (!audio_open_how(reader, path, &take->job->how, take->error))
            return false;
    }
    /* The take's own rate is that of the output; what else is heard with it follows. */
    take->rate_hz = take->placed[take->chain->take].reader.rate_hz;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (take->placed[i].reader.path &&
            !audio_convert(&take->placed[i].reader, take->rate_hz, take->error))
            return false;
    return true;
}

/* The output is as long as the longest file that can be heard in it, or a section of that. */
static bool find_length(Take *take) {
    char end[32];
    bool heard[CHAIN_MAX_BUSSES];
    const TakeJob *job = take->job;
    uint64_t all = 0;
    chain_heard(take->chain, heard);
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (heard[i] && take->placed[i].reader.frames > all)
            all = take->placed[i].reader.frames;
    all += (uint64_t)llround(job->tail_s * take->rate_hz);
    uint64_t to = job->to_s > 0.0 ? (uint64_t)llround(job->to_s * take->rate_hz) : all;
    take->first = (uint64_t)llround(job->from_s * take->rate_hz);
    if (take->first >= all)
        return host_fail(take->error, "--from %g: %s ends at %s", job->from_s, job->take,
                         text_time(end, (double)all / take->rate_hz));
    take->frames = (to < all ? to : all) - take->first;
    return true;
}

/* ---- channels: a bus is as wide as what comes in, unless it says otherwise ---- */

static bool in_channels(Take *take, int bus, unsigned *channels);
static bool out_channels(Take *take, int bus, unsigned *channels);

static bool tap_channels(Take *take, const ChainTap *tap, unsigned *channels) {
    return tap->before ? in_channels(take, tap->bus, channels)
                       : out_channels(take, tap->bus, channels);
}

static bool widest_input(Take *take, int number, unsigned *widest) {
    const ChainBus *bus = &take->chain->busses[number];
    unsigned channels = bus->wants_file ? take->placed[number].reader.channels : 1;
    *widest = channels;
    for (size_t i = 0; i < bus->n_sends; i++) {
        if (!tap_channels(take, &bus->sends[i].from, &channels))
            return false;
        *widest = channels > *widest ? channels : *widest;
    }
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        if (take->chain->busses[i].to != number)
            continue;
        if (!out_channels(take, (int)i, &channels))
            return false;
        channels = take->chain->busses[i].panned ? 2 : channels;
        *widest = channels > *widest ? channels : *widest;
    }
    return true;
}

static bool in_channels(Take *take, int number, unsigned *channels) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    if (placed->in_state == ASKED)
        return chain_fail(take->chain, bus->line, take->error, "bus %s feeds itself in a loop",
                          bus->name);
    if (placed->in_state == UNKNOWN) {
        placed->in_state = ASKED;
        if (!widest_input(take, number, &placed->in_channels))
            return false;
        if (bus->channels)
            placed->in_channels = bus->channels;
        if (number == take->chain->take && take->job->stereo && !bus->channels)
            placed->in_channels = 2;
        placed->in_state = KNOWN;
    }
    *channels = placed->in_channels;
    return true;
}

static const char *wide(unsigned channels) {
    return channels == 1 ? "mono" : "stereo";
}

static bool check_plugin(Take *take, const ChainBus *bus, const ChainProcessor *processor,
                         const HostPlugin *plugin, unsigned channels) {
    const Chain *chain = take->chain;
    const char *what = chain->path ? bus->name : "the take";
    const char *advice =
        chain->path ? "; 'bus NAME stereo' makes a bus stereo" : "; --stereo makes the take stereo";
    if (plugin->n_in != channels || plugin->n_out < 1 || plugin->n_out > AUDIO_CHANNELS)
        return chain_fail(chain, processor->line, take->error,
                          "%s takes %zu channels and gives %zu, but %s is %s here, so allowed are "
                          "plugins that take %u and give 1 or 2%s",
                          processor->name, plugin->n_in, plugin->n_out, what, wide(channels),
                          channels, channels == 1 ? advice : "");
    if (processor->key.bus >= 0 && plugin->n_key > AUDIO_CHANNELS)
        return chain_fail(chain, processor->line, take->error,
                          "%s has %zu key inputs; key= is for processors with 1 or 2",
                          processor->name, plugin->n_key);
    return true;
}

static bool out_channels(Take *take, int number, unsigned *channels) {
    Placed *placed = &take->placed[number];
    const ChainBus *bus = &take->chain->busses[number];
    if (!in_channels(take, number, channels))
        return false;
    if (placed->out_state != KNOWN) {
        placed->plugins = text_take(bus->n_processors, sizeof(const HostPlugin *));
        placed->nodes = text_take(bus->n_processors, sizeof *placed->nodes);
        for (size_t i = 0; i < bus->n_processors; i++) {
            const ChainProcessor *processor = &bus->processors[i];
            HostError why;
            placed->plugins[i] = settings_find(take->host, processor->name, *channels, &why);
            if (!placed->plugins[i])
                return chain_fail(take->chain, processor->line, take->error, "%s", why.text);
            if (!check_plugin(take, bus, processor, placed->plugins[i], *channels))
                return false;
            *channels = (unsigned)placed->plugins[i]->n_out;
        }
        placed->out_channels = *channels;
        placed->out_state = KNOWN;
    }
    *channels = placed->out_channels;
    return true;
}

static bool find_channels(Take *take) {
    unsigned channels = 0;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (!out_channels(take, (int)i, &channels))
            return false;
    return true;
}

/* ---- nodes ---- */

/* "de-esser"; with several busses "lead: de-esser"; a second one on the bus "de-esser 2". Names of plugins and of
 * busses may hold anything: controls are escaped. */
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

/* A fader (`is_fader`) or a pan that moves, behind `from`. */
static int add_mover(Take *take, size_t number, int from, unsigned channels, bool is_fader) {
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

static bool make_processors(Take *take, size_t number) {
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
        placed->post_node = add_mover(take, number, placed->out_node, placed->out_channels, true);
    return true;
}

/* ---- edges ---- */

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
        int panned = add_mover(take, number, placed->post_node, channels, false);
        GraphMatrix matrix = matrix_convert(channels, channels, gain);
        graph_connect(take->graph, panned, to, GRAPH_MAIN, &matrix);
        return;
    }
    GraphMatrix matrix = matrix_panned(placed->out_channels, channels, gain, bus->pan);
    graph_connect(take->graph, placed->post_node, to, GRAPH_MAIN, &matrix);
}

static void connect_bus(Take *take, size_t number) {
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

static bool connect_sinks(Take *take) {
    const Placed *mix = &take->placed[take->chain->mix];
    float gain = matrix_linear(still_fader_db(take, (size_t)take->chain->mix) + take->gain_db);
    GraphMatrix matrix = matrix_convert(mix->out_channels, mix->out_channels, gain);
    int sink = add_mix_sink(take, mix->out_channels);
    if (sink < 0)
        return false;
    graph_connect(take->graph, mix->post_node, sink, GRAPH_MAIN, &matrix);
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        if (!has_stem(take->job, i))
            continue;
        char *path = stem_path(take->job->out, take->chain->busses[i].name);
        sink = add_sink(take, path, mix->in_channels);
        free(path);
        if (sink < 0)
            return false;
        connect_side(take, i, sink, mix->in_channels, take->gain_db);
    }
    return true;
}

/* ---- the room, played ahead ---- */

/* What learns the noise of the room in gaps, and nothing else of the voice. hum-notch is none: a hum
 * that is repeated loses its phase at each joint. */
static const char LEARNER[] = "noise-reducer";

/* The number of the learner on a bus; -1: there is none, or its file is not what it hears. */
static int learner_on(const ChainBus *bus) {
    for (size_t i = 0; i < bus->n_processors && bus->wants_file; i++)
        if (strcmp(bus->processors[i].name, LEARNER) == 0)
            return (int)i;
    return -1;
}

static bool find_rooms(Take *take) {
    for (size_t b = 0; b < take->chain->n_busses && !take->job->live; b++) {
        Placed *placed = &take->placed[b];
        bool alike = placed->reader.path && placed->reader.channels == placed->in_channels &&
                     placed->reader.file_rate_hz == take->rate_hz;
        if (learner_on(&take->chain->busses[b]) >= 0 && alike &&
            !room_read(&placed->room, placed->reader.path, &take->job->how, take->error))
            return false;
    }
    return true;
}

/* In place, in blocks. */
static void play_room(HostInstance *instance, const Room *room) {
    for (size_t at = 0; at < room->frames; at += AUDIO_BLOCK) {
        size_t n = room->frames - at < AUDIO_BLOCK ? room->frames - at : AUDIO_BLOCK;
        float *audio[AUDIO_CHANNELS] = {NULL};
        for (unsigned c = 0; c < room->channels; c++)
            audio[c] = room->audio[c] + at;
        host_run(instance, n, (const float *const *)audio, NULL, audio);
    }
}

/* What stands before the learner hears the room too, so that it gets what it will get, and then
 * begins anew. Latencies leave a little silence at its start. */
static void play_rooms(void *user) {
    Take *take = user;
    size_t index = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++) {
        const Room *room = &take->placed[b].room;
        int learner = room->frames > 0 ? learner_on(&take->chain->busses[b]) : -1;
        for (int i = 0; i <= learner; i++) {
            HostInstance *instance = take->instances[index + (size_t)i];
            atomic_store(&take->report->status.running, (int)index + i + 1);
            play_room(instance, room);
            if (i < learner) {
                host_deactivate(instance);
                host_activate(instance);
            }
        }
        atomic_store(&take->report->status.running, 0);
        index += take->chain->busses[b].n_processors;
    }
}

/* ---- the whole ---- */

/* Of the files as they were opened: who replaces one meanwhile has made a newer take. */
static void stamp_opened(Take *take) {
    uint64_t files = TEXT_HASH_BEGIN;
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        const AudioReader *reader = &take->placed[i].reader;
        if (reader->path)
            files = stamp_file(files, reader->bytes, &reader->changed);
    }
    stamp_write(take->stamp, take->job, files);
}

static bool build(Take *take) {
    double asked_ms = take->job->trace_step_ms;
    double step = (asked_ms > 0.0 ? asked_ms : TAKE_TRACE_STEP_MS) * take->rate_hz / 1000.0;
    take->step = step < 1.0 ? 1 : (size_t)lrint(step);
    take->graph = graph_new(take->rate_hz, take->step);
    if (take->job->trace &&
        !trace_open(&take->trace, take->job->trace, take->rate_hz, take->step, take->error))
        return false;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (!make_processors(take, i))
            return false;
    for (size_t i = 0; i < take->chain->n_busses; i++)
        connect_bus(take, i);
    if (!connect_sinks(take))
        return false;
    if (!find_rooms(take))
        return false;
    graph_begin(take->graph, play_rooms, take);
    HostError why;
    take->report->usage = !graph_prepare(take->graph, &why);
    return !take->report->usage || chain_fail(take->chain, 0, take->error, "%s", why.text);
}

static void begin_trace(Take *take) {
    size_t latest = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++)
        for (size_t i = 0; i < take->chain->busses[b].n_processors; i++) {
            size_t late = graph_lateness(take->graph, take->placed[b].nodes[i]);
            latest = late > latest ? late : latest;
        }
    trace_begin(&take->trace, take->frames, latest + AUDIO_BLOCK);
}

static void note_events(Take *take) {
    const char *processor[CHAIN_MAX_PROCESSORS];
    size_t n = 0;
    for (size_t b = 0; b < take->chain->n_busses; b++)
        for (size_t i = 0; i < take->chain->busses[b].n_processors; i++)
            processor[n++] = take->placed[b].plugins[i]->id;
    events_note(take->job->events, take->job->take, processor, n, take->report->notes,
                sizeof take->report->notes);
}

static void take_notes(Take *take) {
    if (take->job->events)
        note_events(take);
    for (size_t i = 0; i < take->chain->n_busses; i++)
        if (take->placed[i].reader.path)
            text_add(take->report->notes, sizeof take->report->notes, "%s",
                     audio_notes(&take->placed[i].reader));
    for (size_t i = 0; i < take->n_writers; i++) {
        const AudioWriter *writer = take->writers[i];
        if (writer->clipped)
            note(take, "%s: %llu samples clipped, the peak is %.2f dB over full scale",
                 writer->safe.path, (unsigned long long)writer->clipped, text_db(writer->peak));
        if (writer->peak > AUDIO_LOUDEST)
            note(take, "%s peaks at %.0f dBFS; over +60 dBFS processors hear silence",
                 writer->safe.path, text_db(writer->peak));
        text_add(take->report->notes, sizeof take->report->notes, "%s", writer->notes);
        if (writer->is_rf64)
            note(take, "%s is larger than a WAV can be and was written as RF64", writer->safe.path);
    }
    take->report->peak = take->writers[0]->peak;
}

static bool render(Take *take) {
    if (!open_inputs(take))
        return false;
    take->report->usage = true; /* until everything fits together */
    if (!check_outputs(take) || !find_channels(take))
        return false;
    if (!find_length(take))
        return false;
    take->report->usage = false;
    take->report->rate_hz = take->rate_hz;
    take->report->length_s = (double)take->frames / take->rate_hz;
    stamp_opened(take);
    if (!build(take))
        return false;
    if (take->job->trace)
        begin_trace(take);
    if (!graph_run(take->graph, take->first, take->frames, &take->report->status, take->error))
        return false;
    for (size_t i = 0; i < take->report->n_processors; i++)
        meter_finish(&take->meters[i]);
    if (take->ear)
        return true;
    take_notes(take);
    if (take->job->trace && !trace_finish(&take->trace, take->error))
        return false;
    return audio_commit(take->writers, take->n_writers, take->job->trace ? &take->trace.safe : NULL,
                        take->error);
}

static void clean_up(Take *take) {
    for (size_t i = 0; i < take->n_writers; i++) {
        audio_discard(take->writers[i]);
        free(take->writers[i]);
    }
    trace_discard(&take->trace);
    graph_free(take->graph);
    for (size_t i = 0; i < take->n_sides; i++)
        free(take->sides[i]);
    for (size_t i = 0; i < take->report->n_processors; i++) {
        motion_free(&take->motions[i]);
        atomic_store(&take->report->status.running, (int)i + 1);
        host_free(take->instances[i]);
    }
    atomic_store(&take->report->status.running, 0);
    for (size_t i = 0; i < take->chain->n_busses; i++) {
        audio_close(&take->placed[i].reader);
        room_free(&take->placed[i].room);
        free(take->placed[i].plugins);
        free(take->placed[i].nodes);
    }
}

/* Renders into the files; or, with an ear, into that alone. */
static bool render_once(Host *host, const TakeJob *job, double gain_db, FinishEar *ear,
                        TakeReport *report) {
    Take *take = text_take(1, sizeof *take);
    take->host = host;
    take->job = job;
    take->chain = job->chain;
    take->gain_db = gain_db;
    take->ear = ear;
    take->report = report;
    take->error = &report->error;
    report->n_processors = 0;
    bool fine = render(take);
    /* For the outputs alone: a plugin may hang in its cleanup, and then who watches ends the process. */
    report->done = fine && !ear;
    clean_up(take);
    free(take);
    return fine;
}

static void note_finish(const TakeJob *job, TakeReport *report) {
    const Finish *finish = &report->finish;
    if (isnan(finish->loudness_lufs) && job->finish.by_loudness)
        text_add(report->notes, sizeof report->notes,
                 "%s: too soft or too short for a loudness; its level is left as it is\n",
                 job->out);
    else if (isinf(finish->peak_db))
        text_add(report->notes, sizeof report->notes, "%s: silent; its level is left as it is\n",
                 job->out);
    else if (finish->short_lu >= 0.05)
        text_add(report->notes, sizeof report->notes,
                 "%s: %g LUFS cannot be reached by a gain alone: at a true peak of %.1f dBTP it is "
                 "%.1f LUFS, %.1f LU short. Only a limiter gets there: end the chain with "
                 "peak-ceiling drive=%.1f ceiling=%.1f\n",
                 job->out, job->finish.loudness_lufs, finish->peak_db, finish->loudness_lufs,
                 finish->short_lu, finish->drive_db, finish->peak_db);
}

/* Hears the render first, without a trace or stems. */
static bool find_finish(Host *host, const TakeJob *job, TakeReport *report) {
    FinishEar ear = {0};
    TakeJob heard = *job;
    heard.trace = NULL;
    heard.stems = false;
    atomic_store(&report->status.passes, 2);
    bool fine = render_once(host, &heard, 0.0, &ear, report);
    if (fine) {
        finish_ear_end(&ear);
        report->finish = finish_of(&ear, &job->finish);
        note_finish(job, report);
    }
    finish_ear_free(&ear);
    atomic_store(&report->status.pass, 1);
    return fine;
}

void take_render(Host *host, const TakeJob *job, TakeReport *report) {
    struct timespec begin;
    struct timespec end;
    clock_gettime(CLOCK_MONOTONIC, &begin);
    bool finish = finish_is_asked(&job->finish);
    if (!finish || find_finish(host, job, report))
        render_once(host, job, report->finish.gain_db, NULL, report);
    clock_gettime(CLOCK_MONOTONIC, &end);
    report->seconds =
        (double)(end.tv_sec - begin.tv_sec) + 1e-9 * (double)(end.tv_nsec - begin.tv_nsec);
}
