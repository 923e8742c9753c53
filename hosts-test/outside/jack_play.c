/* SPDX-License-Identifier: ISC */
/* jack_play: plays a file into ports of a JACK server and records what comes out of others.
 *
 *   jack_play IN.wav OUT.wav FRAMES INPUT... -- OUTPUT...
 *   jack_play                                  waits for the server
 *
 * Channel k of IN.wav goes to the k-th INPUT; channel k of OUT.wav is what the k-th OUTPUT gives.
 * Two clients, one that plays and one that records, so that there is no loop, which would cost a
 * period; both begin in the same cycle. Waits for ports that are not there yet. Runs in freewheel,
 * as fast as the others can. The server is that of JACK_DEFAULT_SERVER. libjack is loaded when it
 * runs, so that nobody needs it to build; its functions are declared here as far as they are used,
 * after its documentation. */
#include <dlfcn.h>
#include <sndfile.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef struct JackClient JackClient;
typedef struct JackPort JackPort;
typedef uint32_t JackFrames;

enum { PORT_IS_INPUT = 1, PORT_IS_OUTPUT = 2, NO_START_SERVER = 1, MOST_PORTS = 8 };
static const char AUDIO[] = "32 bit float mono audio";

static struct {
    JackClient *(*open)(const char *name, int options, int *status, ...);
    int (*close)(JackClient *);
    int (*set_process)(JackClient *, int (*)(JackFrames, void *), void *);
    JackPort *(*port_register)(JackClient *, const char *, const char *, unsigned long,
                               unsigned long);
    const char *(*port_name)(const JackPort *);
    void *(*port_buffer)(JackPort *, JackFrames);
    int (*activate)(JackClient *);
    int (*connect)(JackClient *, const char *, const char *);
    int (*freewheel)(JackClient *, int);
    JackFrames (*last_frame)(const JackClient *);
} jack;

typedef struct {
    JackClient *client;
    JackPort *ports[MOST_PORTS];
    size_t count;
    float *audio; /* interleaved, [frames][count] */
    bool plays;
    size_t frames, at;
} Side;

static atomic_uint_fast32_t start; /* the frame at which both begin; 0: not yet known */
static atomic_bool done;

static void fail(const char *what) {
    fprintf(stderr, "jack_play: %s\n", what);
    exit(EXIT_FAILURE);
}

static int cycle(JackFrames n, void *user) {
    Side *side = user;
    JackFrames begin = (JackFrames)atomic_load(&start), now = jack.last_frame(side->client);
    bool on = begin != 0 && (int32_t)(now - begin) >= 0;
    for (size_t c = 0; c < side->count; c++) {
        float *port = jack.port_buffer(side->ports[c], n);
        for (JackFrames i = 0; i < n; i++) {
            bool within = on && side->at + i < side->frames;
            float *sample = within ? &side->audio[(side->at + i) * side->count + c] : NULL;
            if (side->plays)
                port[i] = sample ? *sample : 0.0f;
            else if (sample)
                *sample = port[i];
        }
    }
    side->at += on ? n : 0;
    if (!side->plays && side->at >= side->frames)
        atomic_store(&done, true);
    return 0;
}

/* One entry of the library, as a function. */
static void take(void *library, const char *name, void *function) {
    void *found = dlsym(library, name);
    if (!found)
        fail(name);
    memcpy(function, &found, sizeof found);
}

static void load(void) {
    void *library = dlopen("libjack.so.0", RTLD_NOW);
    if (!library)
        fail("there is no libjack.so.0");
    take(library, "jack_client_open", &jack.open);
    take(library, "jack_client_close", &jack.close);
    take(library, "jack_set_process_callback", &jack.set_process);
    take(library, "jack_port_register", &jack.port_register);
    take(library, "jack_port_name", &jack.port_name);
    take(library, "jack_port_get_buffer", &jack.port_buffer);
    take(library, "jack_activate", &jack.activate);
    take(library, "jack_connect", &jack.connect);
    take(library, "jack_set_freewheel", &jack.freewheel);
    take(library, "jack_last_frame_time", &jack.last_frame);
}

static void nap(void) {
    nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
}

static void rest(void) {
    for (int i = 0; i < 10; i++)
        nap();
}

/* A client of the server, which may have been started a moment ago. */
static JackClient *open_client(const char *name) {
    JackClient *client = jack.open(name, NO_START_SERVER, NULL);
    for (int i = 0; i < 500 && !client; i++) {
        nap();
        client = jack.open(name, NO_START_SERVER, NULL);
    }
    if (!client)
        fail("no server answers");
    return client;
}

static void open_side(Side *side, const char *name) {
    side->client = open_client(name);
    for (size_t c = 0; c < side->count; c++) {
        char port[16];
        snprintf(port, sizeof port, "port%zu", c);
        side->ports[c] = jack.port_register(side->client, port, AUDIO,
                                            side->plays ? PORT_IS_OUTPUT : PORT_IS_INPUT, 0);
        if (!side->ports[c])
            fail("no port");
    }
    if (jack.set_process(side->client, cycle, side) != 0 || jack.activate(side->client) != 0)
        fail("cannot activate");
}

static void connect_side(const Side *side, char *const *others) {
    for (size_t c = 0; c < side->count; c++) {
        const char *own = jack.port_name(side->ports[c]);
        const char *from = side->plays ? own : others[c], *to = side->plays ? others[c] : own;
        int status = jack.connect(side->client, from, to);
        for (int i = 0; i < 500 && status != 0; i++) {
            nap();
            status = jack.connect(side->client, from, to);
        }
        if (status != 0)
            fail(others[c]);
    }
}

static float *read_file(const char *path, size_t channels, size_t *frames) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file || (size_t)info.channels != channels)
        fail("the input file has not one channel for each input");
    float *audio = calloc((size_t)info.frames * channels + 1, sizeof *audio);
    if (!audio || sf_readf_float(file, audio, info.frames) != info.frames)
        fail("the input file cannot be read");
    sf_close(file);
    *frames = (size_t)info.frames;
    return audio;
}

static void write_file(const char *path, const Side *side) {
    SF_INFO info = {.channels = (int)side->count,
                    .samplerate = 48000,
                    .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    sf_count_t frames = (sf_count_t)side->frames;
    if (!file || sf_writef_float(file, side->audio, frames) != frames || sf_close(file) != 0)
        fail("the output file cannot be written");
}

int main(int argc, char **argv) {
    int gap = 4;
    load();
    if (argc == 1) {
        jack.close(open_client("siskin-wait"));
        return EXIT_SUCCESS;
    }
    while (gap < argc && strcmp(argv[gap], "--") != 0)
        gap++;
    if (argc < 7 || gap >= argc - 1 || gap - 4 > MOST_PORTS || argc - gap - 1 > MOST_PORTS)
        fail("usage: jack_play IN.wav OUT.wav FRAMES INPUT... -- OUTPUT...");
    static Side play = {.plays = true}, record;
    play.count = (size_t)gap - 4;
    record.count = (size_t)(argc - gap - 1);
    play.audio = read_file(argv[1], play.count, &play.frames);
    record.frames = strtoul(argv[3], NULL, 10);
    record.audio = calloc(record.frames * record.count + 1, sizeof *record.audio);
    if (!record.audio)
        fail("out of memory");
    open_side(&play, "siskin-play");
    open_side(&record, "siskin-record");
    connect_side(&play, argv + 4);
    connect_side(&record, argv + gap + 1);
    /* The server wants its time for each change of the graph: cut short, it waits 50 s. */
    rest();
    if (jack.freewheel(play.client, 1) != 0)
        fail("no freewheel");
    rest();
    JackFrames soon = jack.last_frame(record.client) + 48000;
    atomic_store(&start, soon ? soon : 1);
    for (int i = 0; i < 1500 && !atomic_load(&done); i++)
        nap();
    jack.freewheel(play.client, 0);
    rest();
    jack.close(record.client);
    jack.close(play.client);
    if (!atomic_load(&done))
        fail("the recording did not end within half a minute");
    write_file(argv[2], &record);
    return EXIT_SUCCESS;
}
