/* SPDX-License-Identifier: ISC */
/* window: draws a plugin's window as it looks some way into a take: window TAKE SECONDS PICTURE.png
 * [CONTROL=VALUE]...
 *
 * The plugin runs in the small host, its meters go to the view as a host sends them, and the view
 * draws into a file instead of onto a screen. It is linked with the tables of one plugin; `make
 * picture` uses the de-esser's. */
#include "host/host.h"
#include "view/draw.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LOOKS = 25 }; /* a second */
static const double ZOOM = 1.0;

static Model model;
static Sheet sheet;
static Hands hands;

static int fail(const char *what) {
    fprintf(stderr, "window: %s\n", what);
    return EXIT_FAILURE;
}

/* The last LOOKS-th of a second as the view hears of it. */
static void look(const HostInstance *instance, double now_s) {
    for (size_t i = 0; i < model.n_ports; i++)
        if (model_is_meter(&model, i))
            model_event(&model, i, host_get(instance, model.port[i].spec.symbol));
    model_tick(&model, now_s);
}

/* Runs a mono take through it up to `seconds`. */
static bool play(HostInstance *instance, SNDFILE *file, double rate_hz, double seconds) {
    size_t n = (size_t)lrint(rate_hz / LOOKS);
    float *in = malloc(n * sizeof *in), *out = malloc(n * sizeof *out);
    bool good = in && out;
    model_tick(&model, 0.0);
    for (long i = 1; good && i <= lrint(seconds * LOOKS); i++) {
        good = sf_readf_float(file, in, (sf_count_t)n) == (sf_count_t)n;
        if (!good)
            break;
        host_run(instance, n, (const float *const[]){in}, NULL, (float *const[]){out});
        look(instance, (double)i / LOOKS + 1e-3);
    }
    free(in);
    free(out);
    return good;
}

static bool set_controls(HostInstance *instance, char **words, int n, HostError *error) {
    for (int i = 0; i < n; i++) {
        char *value = strchr(words[i], '=');
        if (!value)
            return false;
        *value++ = '\0';
        if (!host_set(instance, words[i], strtof(value, NULL), error))
            return false;
        for (size_t port = 0; port < model.n_ports; port++)
            if (strcmp(model.port[port].spec.symbol, words[i]) == 0)
                model_event(&model, port, strtof(value, NULL));
    }
    return true;
}

static bool draw(const char *file) {
    double width, height;
    sheet_natural(&model, &width, &height);
    sheet_make(&sheet, &model, ZOOM * width, ZOOM * height);
    hands_start(&hands, &model, &sheet, (HandsHost){0});
    /* As it stands while somebody sets the first control that matters. */
    hands_keyboard(&hands, true);
    for (int i = 0; i < 3; i++)
        hands_key(&hands, KEY_TAB, "", false);
    int w = (int)ceil(ZOOM * width), h = (int)ceil(ZOOM * height);
    cairo_surface_t *picture = cairo_image_surface_create(CAIRO_FORMAT_RGB24, w, h);
    cairo_t *cr = cairo_create(picture);
    draw_view(cr, &hands, (Box){0.0, 0.0, w, h});
    cairo_destroy(cr);
    bool written = cairo_surface_write_to_png(picture, file) == CAIRO_STATUS_SUCCESS;
    cairo_surface_destroy(picture);
    return written;
}

int main(int argc, char **argv) {
    HostError error;
    char bundles[4096];
    if (argc < 4)
        return fail("usage: window TAKE SECONDS PICTURE.png [CONTROL=VALUE]...");
    const char *slash = strrchr(argv[0], '/');
    snprintf(bundles, sizeof bundles, "%.*s/lv2", slash ? (int)(slash - argv[0]) : 1,
             slash ? argv[0] : ".");
    SF_INFO about = {0};
    SNDFILE *file = sf_open(argv[1], SFM_READ, &about);
    if (!file || about.channels != 1)
        return fail("there is no such take in mono");
    Host *host = host_open(bundles, &error);
    if (!host)
        return fail(error.text);
    host_be_live(host);
    const HostPlugin *plugin = host_find(host, plugin_spec.id, 1, &error);
    HostInstance *instance = plugin ? host_instantiate(host, plugin, (double)about.samplerate,
                                                       (size_t)about.samplerate / LOOKS, &error)
                                    : NULL;
    if (!instance)
        return fail(error.text);
    model_start(&model, &plugin_spec, 1, view_presets);
    if (!set_controls(instance, argv + 4, argc - 4, &error))
        return fail("no such control, or it may not be so");
    bool good =
        play(instance, file, (double)about.samplerate, strtod(argv[2], NULL)) && draw(argv[3]);
    host_free(instance);
    host_close(host);
    sf_close(file);
    return good ? EXIT_SUCCESS : fail("the take is too short, or the picture cannot be written");
}
