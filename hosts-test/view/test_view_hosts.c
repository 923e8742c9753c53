/* SPDX-License-Identifier: ISC */
/* Views in other people's hosts: jalv, which shows one in a window of its own, and jalv.gtk3, which
 * puts it into one of GTK. One plugin in each; with SISKIN_VIEWS=all every plugin.
 *
 * They run under an X server and a JACK server of the suite's own, without a screen and without a
 * sound card. */
#include "view/viewer.h"

#include <check.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

enum { PATIENCE_MS = 20000 };

static XServer server;
static pid_t jack;
static Host *host;
static char bundles[4096];

/* A program with our ends of its input and output. */
typedef struct {
    pid_t process;
    int to, from;
    char heard[65536];
    size_t n;
} Program;

/* option: NULL for none */
static Program start_program(const char *name, const char *uri, const char *option) {
    int in[2], out[2];
    ck_assert(pipe2(in, O_CLOEXEC) == 0 && pipe2(out, O_CLOEXEC) == 0);
    Program program = {.process = fork(), .to = in[1], .from = out[0]};
    if (program.process == 0) {
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        dup2(in[0], STDIN_FILENO);
        dup2(out[1], STDOUT_FILENO);
        dup2(out[1], STDERR_FILENO);
        /* A line at a time: into a pipe it would speak only when its buffer is full. */
        execlp("stdbuf", "stdbuf", "-oL", name, option ? option : uri, option ? uri : NULL,
               (char *)NULL);
        _exit(127);
    }
    close(in[0]);
    close(out[1]);
    return program;
}

static void stop_program(Program *program) {
    close(program->to);
    kill(program->process, SIGKILL);
    waitpid(program->process, NULL, 0);
    close(program->from);
}

/* What it has said so far, as text; waits a little for more. */
static const char *hear(Program *program) {
    struct pollfd ready = {.fd = program->from, .events = POLLIN};
    while (program->n + 1 < sizeof program->heard && poll(&ready, 1, 20) == 1) {
        ssize_t n = read(program->from, program->heard + program->n,
                         sizeof program->heard - 1 - program->n);
        if (n <= 0)
            break;
        program->n += (size_t)n;
    }
    program->heard[program->n] = '\0';
    return program->heard;
}

/* ---- finding the view ---- */

/* The innermost window of at least this size, depth first. */
static xcb_window_t find_window(const Hand *hand, xcb_window_t at, int width, int height) {
    xcb_query_tree_reply_t *tree = xcb_query_tree_reply(hand->x, xcb_query_tree(hand->x, at), NULL);
    if (!tree)
        return 0;
    xcb_window_t found = 0;
    const xcb_window_t *child = xcb_query_tree_children(tree);
    for (int i = xcb_query_tree_children_length(tree) - 1; i >= 0 && !found; i--)
        found = find_window(hand, child[i], width, height);
    free(tree);
    xcb_get_geometry_reply_t *size =
        xcb_get_geometry_reply(hand->x, xcb_get_geometry(hand->x, at), NULL);
    xcb_get_window_attributes_reply_t *seen =
        xcb_get_window_attributes_reply(hand->x, xcb_get_window_attributes(hand->x, at), NULL);
    bool fits = size && seen && size->width == width && size->height >= height &&
                seen->map_state == XCB_MAP_STATE_VIEWABLE;
    free(size);
    free(seen);
    return found ? found : fits ? at : 0;
}

static bool is_drawn(const Hand *hand, xcb_window_t window) {
    enum { INK = 0x23241d };
    Picture picture = hand_picture(hand, window, NULL);
    size_t ink = 0;
    for (size_t i = 0; i < (size_t)picture.width * (size_t)picture.height; i++)
        ink += picture.rgb[i] == INK;
    free(picture.rgb);
    return ink > 100;
}

/* The view's window once it has been drawn. */
static xcb_window_t await_view(const Hand *hand, Program *program, int width, int height) {
    for (int waited = 0; waited < PATIENCE_MS; waited += 50) {
        xcb_window_t window = find_window(hand, hand->root, width, height);
        if (window && is_drawn(hand, window))
            return window;
        usleep(50000);
    }
    ck_abort_msg("no view of %d x %d: %s", width, height, hear(program));
    return 0;
}

/* ---- the test ---- */

/* What the view asks for, so that it can be found among the host's windows. */
static void natural_size(const HostPlugin *plugin, int *width, int *height) {
    static Viewer viewer;
    viewer_load(&viewer, plugin);
    ck_assert(viewer_open(&viewer, 0, 0.0f));
    *width = viewer.width;
    *height = viewer.height;
    viewer_shut(&viewer);
}

static const HostPlugin *plugin_at(int i) {
    const char *all = getenv("SISKIN_VIEWS");
    size_t n;
    const char *const *uris = host_own_uris(host, &n);
    const char *uri =
        all && strcmp(all, "all") == 0 ? uris[2 * i + 1] : "urn:siskin:return-ducker#stereo";
    HostError error;
    const HostPlugin *plugin = host_find(host, uri, 2, &error);
    ck_assert_msg(plugin, "%s", error.text);
    return plugin;
}

static size_t n_controls(const HostPlugin *plugin) {
    size_t n = 0;
    for (size_t i = 0; i < plugin->n_ports; i++)
        n += plugin->ports[i].role == HOST_CONTROL;
    return n;
}

/* Every control to its minimum, without a mouse: Home and Tab. The first press takes the keyboard,
 * since there is no window manager to give it; presets have no Home that would change what
 * stands. */
static void all_home(const Hand *hand, xcb_window_t window, const HostPlugin *plugin) {
    hand_click(hand, window, 20.0, 20.0);
    usleep(200000);
    for (size_t i = 0; i <= n_controls(plugin); i++) {
        hand_key(hand, SYMBOL_HOME);
        hand_key(hand, SYMBOL_TAB);
    }
}

/* Whether any JACK port has this latency, in frames: what jalv has read off the plugin. */
static bool jack_has_latency(int frames) {
    char wanted[64], line[256];
    snprintf(wanted, sizeof wanted, "latency = [ %d %d ]", frames, frames);
    FILE *ports =
        popen("jack_lsp -l 2>/dev/null", "r"); // NOLINT(cert-env33-c): a command of our own
    bool found = false;
    while (ports && fgets(line, sizeof line, ports))
        found |= strstr(line, wanted) != NULL;
    if (ports)
        pclose(ports);
    return found;
}

/* That a control which was set has gone all the way: Look-ahead of return-ducker is its latency, 10
 * ms at first, which the host reads back from the plugin. */
static void await_latency(int frames, bool there, Program *jalv) {
    bool seen = !there;
    for (int waited = 0; waited < PATIENCE_MS && seen != there; waited += 100) {
        usleep(100000);
        seen = jack_has_latency(frames);
    }
    ck_assert_msg(seen == there, "latency of %d frames is %sseen: %s", frames, there ? "not " : "",
                  hear(jalv));
}

static bool shows_latency(const HostPlugin *plugin) {
    return strcmp(plugin->uri, "urn:siskin:return-ducker#stereo") == 0;
}

static void use_in(const char *name, const char *option, const HostPlugin *plugin) {
    int width, height;
    natural_size(plugin, &width, &height);
    Program jalv = start_program(name, plugin->uri, option);
    Hand hand;
    hand_open(&hand);
    xcb_window_t window = await_view(&hand, &jalv, width, height);
    if (shows_latency(plugin))
        await_latency(480, true, &jalv);
    Picture before = hand_picture(&hand, window, NULL);
    all_home(&hand, window, plugin);
    bool changed = false;
    for (int waited = 0; waited < PATIENCE_MS && !changed; waited += 100) {
        usleep(100000);
        Picture after = hand_picture(&hand, window, NULL);
        changed = !picture_same(&before, &after);
        free(after.rgb);
    }
    ck_assert_msg(changed, "nothing is seen of the keys: %s", hear(&jalv));
    if (shows_latency(plugin))
        await_latency(480, false, &jalv);
    free(before.rgb);
    hand_close(&hand);
    stop_program(&jalv);
}

START_TEST(in_a_window_of_its_own_it_is_used_by_keys) {
    if (jack)
        use_in("jalv", "-s", plugin_at(_i));
}
END_TEST

START_TEST(within_a_window_of_gtk_it_is_used_by_keys) {
    if (jack)
        use_in("jalv.gtk3", NULL, plugin_at(_i));
}
END_TEST

/* ---- the suite ---- */

static bool installed(const char *program) {
    char command[128];
    snprintf(command, sizeof command, "command -v %s >/dev/null 2>&1", program);
    return system(command) == 0; // NOLINT(cert-env33-c,concurrency-mt-unsafe): a name of our own
}

static bool may_skip(void) {
    static const char *const NEEDED[] = {"jalv",      "jalv.gtk3", "jackd",
                                         "jack_wait", "jack_lsp",  "stdbuf"};
    bool all = xserver_installed();
    for (size_t i = 0; i < sizeof NEEDED / sizeof *NEEDED; i++)
        all = all && installed(NEEDED[i]);
    if (all)
        return false;
    ck_assert_msg(!getenv("CI"), "jalv, jackd or Xvfb is not installed");
    printf("views in other hosts: not tried, since jalv, jackd or Xvfb is not installed\n");
    return true;
}

static void start(void) {
    HostError error;
    host = host_open(bundles, &error);
    ck_assert_msg(host, "%s", error.text);
    if (may_skip())
        return;
    char name[64], path[8192];
    snprintf(name, sizeof name, "siskin-view-%d", (int)getpid());
    snprintf(path, sizeof path, "%s:/usr/lib/lv2", bundles);
    setenv("JACK_DEFAULT_SERVER", name, 1);
    setenv("JACK_NO_AUDIO_RESERVATION", "1", 1);
    setenv("LV2_PATH", path, 1);
    xserver_start(&server);
    jack = fork();
    if (jack == 0) {
        int null = open("/dev/null", O_RDWR);
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        dup2(null, STDOUT_FILENO);
        dup2(null, STDERR_FILENO);
        execlp("jackd", "jackd", "-n", name, "-r", "-d", "dummy", "-r", "48000", "-p", "1024",
               (char *)NULL);
        _exit(127);
    }
    char wait[128];
    snprintf(wait, sizeof wait, "jack_wait -s %s -w -t 10 >/dev/null 2>&1", name);
    ck_assert_int_eq(system(wait), 0); // NOLINT(cert-env33-c,concurrency-mt-unsafe)
}

static void stop(void) {
    host_close(host);
    if (jack > 0) {
        kill(jack, SIGTERM);
        waitpid(jack, NULL, 0);
    }
    xserver_stop(&server);
}

static int n_plugins(void) {
    const char *all = getenv("SISKIN_VIEWS");
    HostError error;
    size_t n = 0;
    Host *counted = host_open(bundles, &error);
    if (counted)
        host_own_uris(counted, &n);
    host_close(counted);
    return all && strcmp(all, "all") == 0 ? (int)n / 2 : 1;
}

/* BUILD/lv2 when this is BUILD/hosts-test/test_view_hosts; whole, since hosts take no other. */
static void find_bundles(const char *program) {
    char path[4200];
    const char *slash = strrchr(program, '/');
    snprintf(path, sizeof path, "%.*s/../lv2", slash ? (int)(slash - program) : 1,
             slash ? program : ".");
    if (!realpath(path, bundles))
        bundles[0] = '\0';
}

int main(int argc, char **argv) {
    (void)argc;
    find_bundles(argv[0]);
    Suite *suite = suite_create("view_hosts");
    TCase *tcase = tcase_create("view_hosts");
    tcase_set_timeout(tcase, 60.0);
    tcase_add_unchecked_fixture(tcase, start, stop);
    tcase_add_loop_test(tcase, in_a_window_of_its_own_it_is_used_by_keys, 0, n_plugins());
    tcase_add_loop_test(tcase, within_a_window_of_gtk_it_is_used_by_keys, 0, n_plugins());
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
