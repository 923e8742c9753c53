/* SPDX-License-Identifier: ISC */
/* fingerprint.c: what a plugin makes of one take, bit for bit, to be compared between machines.
 *
 *     fingerprint LIBRARY OUT          plays the take through the library, writes all it gave to
 * OUT fingerprint --compare A B MOST   compares two such files: same length, no two values further
 *                                      apart than MOST; says how many differ, and by how much
 *
 * It is linked with the plugin's table of controls, so that it can tell which port is which without
 * reading Turtle, and gets the code from LIBRARY as a host would. It needs nothing but the C
 * library and the loader of the system, so that it runs under emulators and under Windows.
 *
 * The take is made by additions, multiplications, divisions and whole numbers, which IEEE 754
 * defines to the bit, never by the maths library: every machine is given the same input, and the
 * sum that is printed first proves it. It has what the plugins look for: room noise, breaths, sung
 * vowels that glide, sibilants, clicks in gaps and in vowels, and rumble. */
#include "layout.h"

#include <lv2/core/lv2.h>

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifdef _WIN32
#include <windows.h>
#else
#include <dlfcn.h>
#endif

enum { SECONDS = 8, BLOCK = 173, SETTINGS = 3 };

/* ---- the take ---- */

/* -1..1: a congruential generator of full period (Hull and Dobell 1962: odd step, factor 4k + 1).
 */
static double noise(uint32_t *seed) {
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(int32_t)*seed / 2147483648.0;
}

/* A resonance at f Hz, b Hz wide: two poles, by the first terms of exp(-pi b / rate) and cos. */
typedef struct {
    double a1, a2, y1, y2;
} Pole;

static Pole pole(double f, double b, double rate_hz) {
    double t = 6.283185307179586 * f / rate_hz, t2 = t * t;
    double cosine = 1.0 - t2 / 2.0 * (1.0 - t2 / 12.0 * (1.0 - t2 / 30.0 * (1.0 - t2 / 56.0)));
    double radius = 1.0 - 3.141592653589793 * b / rate_hz;
    return (Pole){.a1 = 2.0 * radius * cosine, .a2 = -radius * radius};
}

static double ring(Pole *p, double x) {
    double y = (1.0 + p->a2) * x + p->a1 * p->y1 + p->a2 * p->y2;
    p->y2 = p->y1;
    p->y1 = y;
    return y;
}

/* Flow through the glottis over one period, phase 0..1: opens as 3x^2 - 2x^3, closes as 1 - x^2
 * (Rosenberg 1971, the polynomial pulse). */
static double flow(double phase) {
    double x = phase / 0.4, y = (phase - 0.4) / 0.16;
    return x < 1.0 ? x * x * (3.0 - 2.0 * x) : y < 1.0 ? 1.0 - y * y : 0.0;
}

typedef enum { BREATH, VOWEL, SIBILANT } Sound;
static const struct {
    Sound sound;
    double from_s, to_s, level;
} SOUNDS[] = {
    {BREATH, 0.40, 0.75, 0.008}, {VOWEL, 0.90, 1.60, 0.9},    {SIBILANT, 1.60, 1.78, 0.12},
    {VOWEL, 1.78, 2.60, 0.5},    {BREATH, 3.20, 3.60, 0.012}, {SIBILANT, 3.70, 3.85, 0.30},
    {VOWEL, 3.85, 5.00, 1.0},    {SIBILANT, 5.00, 5.20, 0.2}, {VOWEL, 5.20, 5.60, 0.25},
    {BREATH, 6.00, 6.45, 0.006}, {VOWEL, 6.60, 7.40, 0.6},
};
static const double CLICKS_S[] = {0.20, 1.25, 2.85, 2.95, 4.40, 5.80, 7.10};

/* How far a sound is up at t: rises and falls in 30 ms. */
static double shape(double t, double from, double to) {
    double up = (t - from) / 0.03, down = (to - t) / 0.03;
    double least = up < down ? up : down;
    return least <= 0.0 ? 0.0 : least >= 1.0 ? 1.0 : least;
}

static void make_take(float *take, size_t n, double rate_hz, uint32_t seed) {
    Pole formants[3] = {pole(650.0, 80.0, rate_hz), pole(1200.0, 100.0, rate_hz),
                        pole(2700.0, 150.0, rate_hz)};
    Pole hiss = pole(6500.0, 2500.0, rate_hz), air = pole(1700.0, 1500.0, rate_hz);
    Pole click = pole(4500.0, 900.0, rate_hz), rumble = pole(35.0, 10.0, rate_hz);
    double phase = 0.0, last_flow = 0.0;
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate_hz, level[3] = {0.0, 0.0, 0.0}, struck = 0.0;
        for (size_t k = 0; k < sizeof SOUNDS / sizeof *SOUNDS; k++)
            level[SOUNDS[k].sound] += SOUNDS[k].level * shape(t, SOUNDS[k].from_s, SOUNDS[k].to_s);
        for (size_t k = 0; k < sizeof CLICKS_S / sizeof *CLICKS_S; k++)
            struck += (size_t)(CLICKS_S[k] * rate_hz) == i ? 1.0 : 0.0;
        phase += (180.0 + 25.0 * t - (t > 4.0 ? 60.0 : 0.0)) / rate_hz;
        phase -= phase >= 1.0 ? 1.0 : 0.0;
        double now = flow(phase), voice = (now - last_flow) * rate_hz / 2000.0;
        last_flow = now;
        for (size_t k = 0; k < 3; k++)
            voice = ring(&formants[k], voice) * (k == 0 ? 4.0 : 2.0);
        /* One after the other: C leaves open in which order the terms of a sum are worked out. */
        double sibilant = ring(&hiss, noise(&seed)), breath = ring(&air, noise(&seed));
        double low = ring(&rumble, noise(&seed)), room = noise(&seed);
        double y = level[VOWEL] * 0.05 * voice + level[SIBILANT] * sibilant +
                   level[BREATH] * breath + 0.4 * ring(&click, struck) + 0.02 * low + 0.0001 * room;
        take[i] = (float)y;
    }
}

/* ---- the file ---- */

static uint32_t bits_of(float value) {
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

/* Goes on with the sum h (Fowler, Noll and Vo: FNV-1a, 64 bit). */
static uint64_t sum(uint64_t h, const float *values, size_t n) {
    for (size_t i = 0; i < n; i++) {
        uint32_t bits = bits_of(values[i]);
        for (unsigned shift = 0; shift < 32; shift += 8)
            h = (h ^ (bits >> shift & 255u)) * UINT64_C(1099511628211);
    }
    return h;
}

static void fail(const char *what, const char *which) {
    fprintf(stderr, "fingerprint: %s: %s\n", what, which);
    exit(1);
}

/* ---- one run ---- */

typedef const LV2_Descriptor *(*Entry)(uint32_t);

static Entry open_library(const char *path) {
#ifdef _WIN32
    HMODULE library = LoadLibraryA(path);
    FARPROC found = library ? GetProcAddress(library, "lv2_descriptor") : NULL;
#else
    void *library = dlopen(path, RTLD_NOW | RTLD_LOCAL);
    void *found = library ? dlsym(library, "lv2_descriptor") : NULL;
#endif
    if (!found)
        fail("cannot be loaded", path);
    Entry entry;
    memcpy(&entry, &found, sizeof entry);
    return entry;
}

/* Setting 0: as it comes. The others: every control somewhere in the middle half of its range. */
static float setting_of(const PortSpec *control, unsigned setting, uint32_t *seed) {
    if (setting == 0)
        return control->initial;
    float at = 0.5f + 0.25f * (float)noise(seed);
    return layout_clamp(control, control->minimum + at * (control->maximum - control->minimum));
}

typedef struct {
    const float *take[PLUGIN_MAX_CHANNELS];
    float *out[PLUGIN_MAX_CHANNELS];
    float value[64]; /* of every port that is not audio */
} Ports;

static void connect_ports(const LV2_Descriptor *d, LV2_Handle h, unsigned channels, size_t at,
                          Ports *p) {
    for (size_t i = 0; i < layout_count(&plugin_spec, channels); i++) {
        Port port = layout_port(&plugin_spec, channels, i);
        void *data = &p->value[i];
        if (port.role == ROLE_IN || port.role == ROLE_KEY) {
            float *input;
            memcpy(&input, &p->take[port.number], sizeof input);
            data = input + at;
        } else if (port.role == ROLE_OUT)
            data = p->out[port.number] + at;
        d->connect_port(h, (uint32_t)i, data);
    }
}

static void set_ports(Ports *p, unsigned channels, unsigned setting) {
    uint32_t seed = 77u + setting;
    for (size_t i = 0; i < layout_count(&plugin_spec, channels); i++) {
        Port port = layout_port(&plugin_spec, channels, i);
        if (port.role == ROLE_CONTROL)
            p->value[i] = setting_of(&port.spec, setting, &seed);
        else
            p->value[i] = port.role == ROLE_ENABLED ? 1.0f : 0.0f;
    }
}

static float play(Entry entry, unsigned channels, double rate_hz, unsigned setting, Ports *p,
                  size_t n) {
    const LV2_Descriptor *d = entry(channels - 1);
    static const LV2_Feature *const none[] = {NULL};
    LV2_Handle h = d ? d->instantiate(d, rate_hz, "", none) : NULL;
    if (!h)
        fail("no instance of", plugin_spec.id);
    set_ports(p, channels, setting);
    connect_ports(d, h, channels, 0, p);
    d->activate(h);
    float most = 0.0f;
    for (size_t at = 0; at < n; at += BLOCK) {
        connect_ports(d, h, channels, at, p);
        d->run(h, (uint32_t)(n - at < BLOCK ? n - at : BLOCK));
        for (size_t i = 0; i < layout_count(&plugin_spec, channels); i++)
            if (layout_port(&plugin_spec, channels, i).role == ROLE_REDUCTION)
                most = p->value[i] > most ? p->value[i] : most;
    }
    d->cleanup(h);
    return most;
}

static int make(const char *library, const char *path) {
    static const struct {
        unsigned channels;
        double rate_hz;
    } variants[] = {{1, 48000.0}, {2, 44100.0}};
    Entry entry = open_library(library);
    FILE *file = fopen(path, "wb");
    if (!file)
        fail("cannot be written", path);
    for (size_t v = 0; v < 2; v++) {
        size_t n = (size_t)(SECONDS * variants[v].rate_hz);
        float *memory = calloc((size_t)2 * PLUGIN_MAX_CHANNELS * n, sizeof *memory);
        if (!memory)
            fail("no memory for", path);
        Ports ports = {.take = {memory, memory + n}, .out = {memory + 2 * n, memory + 3 * n}};
        uint64_t input = UINT64_C(14695981039346656037);
        for (unsigned c = 0; c < variants[v].channels; c++) {
            make_take(memory + c * n, n, variants[v].rate_hz, 1u + c);
            input = sum(input, memory + c * n, n);
        }
        printf("%s %u channels %.0f Hz input %016" PRIx64 "\n", plugin_spec.id,
               variants[v].channels, variants[v].rate_hz, input);
        for (unsigned setting = 0; setting < SETTINGS; setting++) {
            float most = play(entry, variants[v].channels, variants[v].rate_hz, setting, &ports, n);
            size_t count = variants[v].channels * n;
            uint64_t output = sum(UINT64_C(14695981039346656037), ports.out[0], count);
            if (fwrite(ports.out[0], sizeof(float), count, file) != count)
                fail("cannot be written", path);
            printf("  setting %u output %016" PRIx64 " reduction %.3f dB\n", setting, output,
                   (double)most);
        }
        free(memory);
    }
    return fclose(file) == 0 ? 0 : 1;
}

/* ---- comparing ---- */

static int compare(const char *a, const char *b, double most) {
    FILE *one = fopen(a, "rb"), *two = fopen(b, "rb");
    if (!one || !two)
        fail("cannot be read", one ? b : a);
    size_t count = 0, different = 0, n, m;
    double largest = 0.0;
    static float x[4096], y[4096];
    do {
        n = fread(x, sizeof *x, 4096, one);
        m = fread(y, sizeof *y, 4096, two);
        for (size_t i = 0; i < n && n == m; i++) {
            double apart = fabs((double)x[i] - (double)y[i]);
            different += bits_of(x[i]) != bits_of(y[i]);
            largest = apart > largest || !(apart <= apart) ? apart : largest;
        }
        count += n;
    } while (n && n == m);
    fclose(one);
    fclose(two);
    printf("%zu values, %zu differ, the most by %.2g (%.0f dBFS)\n", count, different, largest,
           20.0 * log10(largest + 1e-30));
    return n == m && count > 0 && largest <= most ? 0 : 1;
}

int main(int argc, char **argv) {
    if (argc == 5 && strcmp(argv[1], "--compare") == 0)
        return compare(argv[2], argv[3], strtod(argv[4], NULL));
    if (argc == 3)
        return make(argv[1], argv[2]);
    fputs("usage: fingerprint LIBRARY OUT | fingerprint --compare A B MOST\n", stderr);
    return 2;
}
