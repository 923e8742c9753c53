/* SPDX-License-Identifier: ISC */
/* siskin-bench: what the plugins cost, and that the cost does not depend on the signal.
 *
 *   siskin-bench [--csv] [PLUGIN...]
 *
 * Every plugin, mono and stereo, in blocks of 64 and 1024 frames at 48 kHz, over signals that have
 * been known to make processors slow; beside them two floors, a plain gain and one second-order
 * filter, which pass through the same shell. Each block is timed by itself, over several rounds of
 * the same two seconds from a fresh start, and the fastest time of each block counts: what other
 * programs did meanwhile drops out. The cost is the sum over blocks; "longest block" is the
 * largest of them over the mean, so that work done in bursts shows.
 *
 * A machine's nanoseconds are its own. What is held to limits are multiples of the second-order
 * filter in the same run, stereo, blocks of 64, at the worst signal of each: warm, one instance by
 * itself; cold, 32 instances that take turns by the block, so that each finds the caches full of
 * the others. Exits 1 when over a limit.
 * Where the system lets it, the program stays on one processor. */
#include "host/host.h"

#include "busy_take.h"
#include "signals.h"

#include <libgen.h>
#include <limits.h>
#include <malloc.h>
#include <math.h>
#include <sched.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { RATE = 48000, FRAMES = 2 * RATE, ROUNDS = 9, MOST_BLOCK = 1024, CHANNELS = 2, CHAIN = 4 };
enum { COLD = 32, COLD_ROUNDS = 3, MOST_INSTANCES = COLD };

/* The limits of the suite: multiples of the second-order filter. */
static const double MOST_TIMES = 1.5, MOST_TIMES_SPECTRAL = 8.0;

/* What must be as cheap as a filter; of others, spectra and pitch, more is allowed. */
static const char *const CHEAP[] = {"breath-ducker",   "de-esser",      "gap-trimmer",
                                    "phrase-leveller", "return-ducker", "rumble-filter",
                                    "transient-tamer"};

/* The first four processors in the order they are used in; the last is keyed from the dry take. */
static const char *const CHAINED[CHAIN] = {"transient-tamer", "breath-ducker", "de-esser",
                                           "return-ducker"};

/* ---- signals ---- */

typedef struct {
    const char *name;
    float *audio; /* [FRAMES] */
} Signal;

static float *frames(void) {
    float *memory = calloc(FRAMES, sizeof *memory);
    if (!memory) {
        fputs("siskin-bench: out of memory\n", stderr);
        exit(EXIT_FAILURE);
    }
    return memory;
}

/* One white noise through five one-pole low-passes two octaves apart, each half as loud as the one
 * below it: 3 dB an octave within a dB or so, as much as music has. */
static void pink(float *out, Random *random) {
    double state[5] = {0.0};
    for (size_t t = 0; t < FRAMES; t++) {
        double white = random_normal(random), sum = 0.0;
        for (size_t k = 0; k < 5; k++) {
            double pole = exp(-2.0 * 3.14159265358979 * 20.0 * pow(4.0, (double)k) / RATE);
            state[k] = pole * state[k] + (1.0 - pole) * white * pow(2.0, (double)(4 - k));
            sum += state[k];
        }
        out[t] = (float)sum;
    }
    signals_scale(out, FRAMES, 0.1 / signals_rms(out, FRAMES));
}

/* From where the singing begins. */
static void sing(float *out) {
    float *take = calloc(FRAMES + RATE / 2, sizeof *take);
    if (!take)
        exit(EXIT_FAILURE);
    busy_take(take, FRAMES + RATE / 2, RATE, SINGER_WOMAN, 11);
    memcpy(out, take + RATE / 2, FRAMES * sizeof *out);
    free(take);
}

/* From full scale down through the smallest normal number, 1.2e-38, half-way, to nothing. */
static void decay(float *out, Random *random) {
    for (size_t t = 0; t < FRAMES; t++)
        out[t] =
            (float)((2.0 * random_unit(random) - 1.0) * exp(-174.6 * (double)t / (double)FRAMES));
}

enum { N_SIGNALS = 8 };

static void make_signals(Signal signals[N_SIGNALS]) {
    static const char *const names[N_SIGNALS] = {"silence", "denormal", "sine",  "pink",
                                                 "voice",   "clicks",   "decay", "white"};
    Random random = random_seeded(7);
    for (size_t i = 0; i < N_SIGNALS; i++)
        signals[i] = (Signal){names[i], frames()};
    signals[0].audio[0] = 1e-6f; /* before the first sound nothing runs */
    for (size_t t = 0; t < FRAMES; t++)
        signals[1].audio[t] = (float)(1e-39 * (2.0 * random_unit(&random) - 1.0));
    signals_sine(signals[2].audio, FRAMES, RATE, 220.0, 0.5, 0.0);
    pink(signals[3].audio, &random);
    sing(signals[4].audio);
    for (size_t t = 0; t < FRAMES; t += RATE / 20)
        singer_click(signals[5].audio + t, FRAMES - t, RATE, 0.3, t);
    decay(signals[6].audio, &random);
    for (size_t t = 0; t < FRAMES; t++)
        signals[7].audio[t] = random_unit(&random) < 0.5 ? -1.0f : 1.0f;
}

/* ---- timing ---- */

typedef struct {
    double ns;      /* a frame */
    double longest; /* the longest block over the mean */
} Cost;

static double now_ns(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e9 * (double)t.tv_sec + (double)t.tv_nsec;
}

/* What reading the clock twice costs by itself. */
static double clock_ns(void) {
    double least = INFINITY;
    for (int i = 0; i < 1000; i++) {
        double start = now_ns();
        least = fmin(least, now_ns() - start);
    }
    return least;
}

/* Instances, connected once for all: in a row, each in place on the output of the one before; or
 * apart, each on the same audio. */
typedef struct {
    HostInstance *instances[MOST_INSTANCES];
    size_t count;
    bool apart;
    unsigned channels;
    size_t bytes; /* that instantiating took */
    float audio[CHANNELS][MOST_BLOCK], key[CHANNELS][MOST_BLOCK], out[CHANNELS][MOST_BLOCK];
} Row;

static void connect_row(Row *row) {
    for (size_t i = 0; i < row->count; i++) {
        const HostPlugin *plugin = host_plugin(row->instances[i]);
        LilvInstance *lilv = host_lilv(row->instances[i]);
        for (size_t c = 0; c < row->channels; c++) {
            lilv_instance_connect_port(lilv, plugin->in[c], row->audio[c]);
            lilv_instance_connect_port(lilv, plugin->out[c],
                                       row->apart ? row->out[c] : row->audio[c]);
            if (plugin->n_key)
                lilv_instance_connect_port(lilv, plugin->key[c], row->key[c]);
        }
    }
}

static double time_block(Row *row, const float *audio, size_t n) {
    for (size_t c = 0; c < row->channels; c++) {
        memcpy(row->audio[c], audio, n * sizeof *audio);
        memcpy(row->key[c], audio, n * sizeof *audio);
    }
    double start = now_ns();
    for (size_t i = 0; i < row->count; i++)
        lilv_instance_run(host_lilv(row->instances[i]), (uint32_t)n);
    return now_ns() - start;
}

static Cost measure(Row *row, const Signal *signal, size_t block) {
    static double least[FRAMES / 16];
    size_t blocks = FRAMES / block;
    for (size_t b = 0; b < blocks; b++)
        least[b] = INFINITY;
    for (int round = 0; round < (row->apart ? COLD_ROUNDS : ROUNDS); round++) {
        for (size_t i = 0; i < row->count; i++)
            host_activate(row->instances[i]);
        connect_row(row);
        for (size_t b = 0; b < blocks; b++)
            least[b] = fmin(least[b], time_block(row, signal->audio + b * block, block));
        for (size_t i = 0; i < row->count; i++)
            host_deactivate(row->instances[i]);
    }
    double sum = 0.0, most = 0.0, clock = clock_ns();
    for (size_t b = 0; b < blocks; b++) {
        sum += least[b] - clock;
        most = fmax(most, least[b] - clock);
    }
    double instances = row->apart ? (double)row->count : 1.0;
    return (Cost){sum / (double)(blocks * block) / instances, most / (sum / (double)blocks)};
}

/* ---- the table ---- */

typedef struct {
    bool csv;
    const Signal *signals;
    double filter_ns[2]; /* the second-order filter, warm and cold, at its worst signal */
    bool over;           /* something cost more than its limit */
} Report;

static double percent(double ns) {
    return 100.0 * ns * RATE / 1e9;
}

static void head(const Report *report) {
    if (report->csv)
        puts("plugin,variant,block,signal,ns_per_frame,percent_of_core,longest_block,bytes");
    else
        printf("%-18s %-6s %5s  %8s %-9s %8s %-9s %5s  %7s  %7s %6s\n", "", "", "block", "best ns",
               "", "worst ns", "", "w/b", "% core", "longest", "KB");
}

/* Measures and prints one line; gives the cost at the worst signal. */
static double line(Report *report, Row *row, const char *name, size_t block) {
    size_t best = 0, worst = 0;
    Cost costs[N_SIGNALS];
    double longest = 0.0;
    const char *variant = row->apart ? "cold" : row->channels == 1 ? "mono" : "stereo";
    for (size_t i = 0; i < N_SIGNALS; i++) {
        costs[i] = measure(row, &report->signals[i], block);
        best = costs[i].ns < costs[best].ns ? i : best;
        worst = costs[i].ns > costs[worst].ns ? i : worst;
        longest = fmax(longest, costs[i].longest);
        if (report->csv)
            printf("%s,%s,%zu,%s,%.3f,%.5f,%.2f,%zu\n", name, variant, block,
                   report->signals[i].name, costs[i].ns, percent(costs[i].ns), costs[i].longest,
                   row->bytes / row->count);
    }
    if (!report->csv)
        printf("%-18s %-6s %5zu  %8.2f %-9s %8.2f %-9s %5.2f  %7.4f %7.2f %6zu\n", name, variant,
               block, costs[best].ns, report->signals[best].name, costs[worst].ns,
               report->signals[worst].name, costs[worst].ns / costs[best].ns,
               percent(costs[worst].ns), longest, row->bytes / 1024 / row->count);
    fflush(stdout);
    return costs[worst].ns;
}

/* What is taken from malloc now, large blocks included. */
static size_t bytes_taken(void) {
    struct mallinfo2 info = mallinfo2();
    return info.uordblks + info.hblkhd;
}

/* Instances of names[0..count), or of the one name so often. */
static bool fill(Row *row, Host *host, const char *const *names, size_t count) {
    HostError error;
    for (size_t i = 0; i < count; i++) {
        const char *name = row->apart ? names[0] : names[i];
        const HostPlugin *plugin = host_find(host, name, row->channels, &error);
        size_t before = bytes_taken();
        row->instances[i] =
            plugin ? host_instantiate(host, plugin, RATE, MOST_BLOCK, &error) : NULL;
        row->bytes += bytes_taken() - before;
        if (!row->instances[i]) {
            fprintf(stderr, "%s: %s\n", name, error.text);
            return false;
        }
        row->count++;
    }
    return true;
}

static void empty(Row *row) {
    for (size_t i = 0; i < row->count; i++)
        host_free(row->instances[i]);
}

/* Lines of one row of instances; the cost in blocks of 64, or 0. */
static double lines(Report *report, Host *host, const char *const *names, size_t count,
                    const char *title, unsigned channels, bool cold) {
    static Row row;
    double ns = 0.0;
    row = (Row){.channels = channels, .apart = cold};
    if (fill(&row, host, names, count)) {
        ns = line(report, &row, title, 64);
        if (!cold)
            line(report, &row, title, 1024);
    }
    empty(&row);
    return ns;
}

/* Mono, stereo, and cold. */
static void one(Report *report, Host *host, const char *name, double ns[2]) {
    lines(report, host, &name, 1, name, 1, false);
    ns[0] = lines(report, host, &name, 1, name, 2, false);
    ns[1] = lines(report, host, &name, COLD, name, 2, true);
}

static double most_times(const char *name) {
    for (size_t i = 0; i < sizeof CHEAP / sizeof *CHEAP; i++)
        if (strcmp(name, CHEAP[i]) == 0)
            return MOST_TIMES;
    return MOST_TIMES_SPECTRAL;
}

/* One of ours, against the limits. */
static void judged(Report *report, Host *host, const char *name) {
    static const char *const how[2] = {"warm", "cold"};
    double ns[2], most = most_times(name);
    one(report, host, name, ns);
    for (int k = 0; k < 2; k++) {
        double times = ns[k] / report->filter_ns[k];
        bool over = !(times <= most);
        report->over |= over;
        if (!report->csv)
            printf("%-18s %-6s %.2f times the filter, %.1f allowed%s\n", name, how[k], times, most,
                   over ? ": OVER" : "");
    }
}

/* ---- which ---- */

static bool chosen(const char *name, char *const *names, int count) {
    bool found = count == 0;
    for (int i = 0; i < count; i++)
        found |= strcmp(names[i], name) == 0;
    return found;
}

static void all_own(Report *report, Host *host, char *const *names, int count) {
    size_t n = 0;
    const char *const *uris = host_own_uris(host, &n);
    for (size_t i = 0; i < n; i++) {
        const HostPlugin *plugin = host_find(host, uris[i], 0, NULL);
        if (plugin && plugin->id && plugin->n_in == 1 && chosen(plugin->id, names, count))
            judged(report, host, plugin->id);
    }
}

static void chained(Report *report, Host *host) {
    for (size_t i = 0; i < CHAIN; i++)
        if (!host_find(host, CHAINED[i], 2, NULL)) {
            fprintf(stderr, "no row for the four in a chain: %s is not built\n", CHAINED[i]);
            return;
        }
    lines(report, host, CHAINED, CHAIN, "the four chained", 2, false);
}

static Host *open_beside(const char *folder) {
    char own[PATH_MAX - 64], path[PATH_MAX];
    HostError error;
    ssize_t length = readlink("/proc/self/exe", own, sizeof own - 1);
    own[length > 0 ? length : 0] = '\0';
    snprintf(path, sizeof path, "%s/%s", dirname(own), folder);
    Host *host = host_open(path, &error);
    if (!host) {
        fprintf(stderr, "siskin-bench: %s\n", error.text);
        exit(EXIT_FAILURE);
    }
    return host;
}

static void stay_on_one_processor(void) {
    cpu_set_t set;
    int here = sched_getcpu();
    if (here < 0)
        return;
    CPU_ZERO(&set);
    CPU_SET((size_t)here, &set);
    if (sched_setaffinity(0, sizeof set, &set) != 0)
        fputs("siskin-bench: cannot stay on one processor; figures may be rougher\n", stderr);
}

int main(int argc, char **argv) {
    Signal signals[N_SIGNALS];
    Report report = {.signals = signals};
    int first = 1;
    if (argc > 1 && strcmp(argv[1], "--csv") == 0) {
        report.csv = true;
        first = 2;
    } else if (argc > 1 && argv[1][0] == '-') {
        puts("usage: siskin-bench [--csv] [PLUGIN...]");
        return strcmp(argv[1], "--help") == 0 ? EXIT_SUCCESS : 2;
    }
    Host *own = open_beside("lv2"), *test = open_beside("test-lv2");
    make_signals(signals);
    stay_on_one_processor();
    head(&report);
    double gain_ns[2];
    one(&report, test, "gain", gain_ns);
    one(&report, test, "biquad", report.filter_ns);
    all_own(&report, own, argv + first, argc - first);
    if (argc == first)
        chained(&report, own);
    if (!report.csv)
        printf(
            "%% core: at the worst signal, 48 kHz. longest: the longest block over the mean.\n"
            "KB: of one instance, the test host's own part included. cold: %d instances in turn.\n"
            "%s.\n",
            COLD, report.over ? "Over a limit" : "All limits kept");
    host_close(own);
    host_close(test);
    for (size_t i = 0; i < N_SIGNALS; i++)
        free(signals[i].audio);
    return report.over ? EXIT_FAILURE : EXIT_SUCCESS;
}
