/* SPDX-License-Identifier: ISC */
/* siskin list: what there is to work with. */
#include "siskin/chains/settings.h"
#include "siskin/command.h"
#include "siskin/options.h"
#include "siskin/place.h"
#include "siskin/text.h"

#include <dirent.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define LIST_RATE_HZ 48000.0

/* A text of a bundle or of a file's name, controls escaped; good for four more calls. */
static const char *shown(const char *text) {
    static char plain[4][8192];
    static unsigned next;
    next = (next + 1) % 4;
    return text_plain(plain[next], sizeof plain[next], text);
}

/* The first sentence, or line, of a text. */
static int first_sentence(const char *text) {
    int length = (int)strcspn(text, "\n");
    for (int i = 0; i + 1 < length; i++)
        if (text[i] == '.' && text[i + 1] == ' ')
            return i + 1;
    return length;
}

/* -1: it cannot be had. */
static double ask_latency_ms(Host *host, const HostPlugin *plugin) {
    size_t frames = 0;
    HostInstance *instance = host_instantiate(host, plugin, LIST_RATE_HZ, 1024, NULL);
    bool fine = instance && host_probe_latency(instance, &frames, NULL);
    host_free(instance);
    return fine ? 1000.0 * (double)frames / LIST_RATE_HZ : -1.0;
}

/* A stranger's plugin may crash or never come back: it is asked in a process of its own. */
static double latency_ms(Host *host, const HostPlugin *plugin) {
    enum { PATIENCE_MS = 10000 };
    double latency = -1.0;
    int ends[2];
    if (plugin->id)
        return ask_latency_ms(host, plugin);
    if (pipe2(ends, O_CLOEXEC) != 0)
        return latency;
    fflush(NULL);
    pid_t process = fork();
    if (process == 0) {
        setpgid(0, 0);
        latency = ask_latency_ms(host, plugin);
        _exit(write(ends[1], &latency, sizeof latency) != sizeof latency);
    }
    close(ends[1]);
    struct pollfd answer = {.fd = ends[0], .events = POLLIN};
    if (process > 0 && (poll(&answer, 1, PATIENCE_MS) != 1 ||
                        read(ends[0], &latency, sizeof latency) != sizeof latency))
        latency = -1.0;
    close(ends[0]);
    if (process > 0) {
        setpgid(process, process);
        kill(-process, SIGKILL);
        waitpid(process, NULL, 0);
    }
    return latency;
}

static void print_value(const HostPort *port, float value) {
    for (size_t i = 0; i < port->n_points; i++)
        if (port->points[i].value == value) {
            printf("%s", shown(port->points[i].label));
            return;
        }
    if (port->toggled)
        printf("%s", value > 0.0f ? "on" : "off");
    else
        printf("%g%s%s", (double)value, *port->unit ? " " : "", shown(port->unit));
}

static void print_allowed(const HostPort *port) {
    HostRange range = host_range(port, LIST_RATE_HZ);
    if (port->enumeration && port->n_points) {
        for (size_t i = 0; i < port->n_points; i++)
            printf("%s%s (%g)", i ? ", " : "", shown(port->points[i].label),
                   (double)port->points[i].value);
    } else if (port->toggled) {
        printf("on, off");
    } else if (isinf(range.minimum) || isinf(range.maximum)) {
        printf("any number");
    } else {
        printf("%g to %g%s%s", (double)range.minimum, (double)range.maximum, *port->unit ? " " : "",
               shown(port->unit));
    }
    printf("%s", port->integer && !port->enumeration ? ", whole numbers" : "");
}

static void print_control(const HostPort *port) {
    printf("  %-16s ", shown(port->symbol));
    print_allowed(port);
    printf("; default ");
    print_value(port, host_range(port, LIST_RATE_HZ).initial);
    putchar('\n');
    if (*port->doc)
        printf("  %-16s %s\n", "", shown(port->doc));
}

static void print_ports(const HostPlugin *plugin, HostRole role, const char *title) {
    bool any = false;
    for (size_t i = 0; i < plugin->n_ports; i++) {
        const HostPort *port = &plugin->ports[i];
        if (port->role != role)
            continue;
        if (!any)
            printf("\n%s\n", title);
        any = true;
        if (role == HOST_CONTROL)
            print_control(port);
        else
            printf("  %-16s %s%s%s%s\n", shown(port->symbol), shown(port->name),
                   *port->unit ? ", in " : "", shown(port->unit),
                   port == plugin->latency && !*port->unit ? ", in frames" : "");
    }
}

static void print_plugin(Host *host, const HostPlugin *plugin) {
    double latency = latency_ms(host, plugin);
    char plain[4096];
    printf("%s\n", text_plain(plain, sizeof plain, plugin->name));
    for (const char *line = plugin->doc; *line; line += strspn(line, "\n")) {
        size_t length = strcspn(line, "\n");
        char *text = text_print("%.*s", (int)length, line);
        printf("%s\n", text_plain(plain, sizeof plain, text));
        free(text);
        line += length;
    }
    printf("\nURI       %s\n", text_plain(plain, sizeof plain, plugin->uri));
    printf("audio     %zu in, %zu out", plugin->n_in, plugin->n_out);
    if (plugin->n_key)
        printf(", %zu key: give it by key=", plugin->n_key);
    printf("\nlatency   ");
    if (latency < 0.0)
        printf("unknown: it does not run at %g Hz, or does not come back\n", LIST_RATE_HZ);
    else
        printf("%g ms at %g Hz and its defaults\n", latency, LIST_RATE_HZ);
    print_ports(plugin, HOST_CONTROL, "controls");
    print_ports(plugin, HOST_METER, "meters");
    if (plugin->n_presets)
        puts("\npresets");
    for (size_t i = 0; i < plugin->n_presets; i++)
        printf("  preset=%-24s %s\n", shown(host_preset_name(&plugin->presets[i])),
               shown(plugin->presets[i].label));
}

/* ---- ready chains ---- */

/* Not blocking: a pipe that nobody writes to would be waited for without end; it is as if empty. */
static FILE *open_chain(const char *path) {
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    FILE *file = fd < 0 ? NULL : fdopen(fd, "r");
    if (fd >= 0 && !file)
        close(fd);
    return file;
}

/* Copies of their names, without .chain. */
static char **chain_names(size_t *count) {
    struct dirent **entries = NULL;
    char **names = NULL;
    *count = 0;
    for (size_t place = 0; place < PLACE_CHAINS; place++) {
        char *folder = place_chains((PlaceChains)place);
        int n = folder ? scandir(folder, &entries, NULL, alphasort) : 0;
        for (int i = 0; i < n; i++) {
            const char *end = strrchr(entries[i]->d_name, '.');
            if (end && end > entries[i]->d_name && strcmp(end, ".chain") == 0)
                *(char **)text_grow(&names, count, sizeof *names) =
                    text_print("%.*s", (int)(end - entries[i]->d_name), entries[i]->d_name);
            free(entries[i]);
        }
        if (n > 0)
            free(entries);
        free(folder);
    }
    return names;
}

static void free_names(char **names, size_t count) {
    for (size_t i = 0; i < count; i++)
        free(names[i]);
    free(names);
}

/* The file as it is, controls escaped. */
static void print_chain(const char *path, FILE *file) {
    char line[4096], plain[4 * sizeof line];
    printf("# %s\n", text_plain(plain, sizeof plain, path));
    while (fgets(line, sizeof line, file)) {
        line[strcspn(line, "\r\n")] = '\0';
        printf("%s\n", text_plain(plain, sizeof plain, line));
    }
}

static bool list_chain(const char *name) {
    char *path = place_chain(name);
    FILE *file = strcmp(path, name) == 0 ? NULL : open_chain(path);
    if (file) {
        print_chain(path, file);
        fclose(file);
    }
    free(path);
    return file != NULL;
}

/* "no processor and no chain 'x'; did you mean 'y'? Processors: ...; chains: ..." */
static int unknown_name(Host *host, const char *name) {
    HostError error;
    size_t n_chains = 0, n_uris = 0;
    char **names = chain_names(&n_chains);
    const char *const *uris = host_own_uris(host, &n_uris);
    char list[sizeof error.text] = "";
    size_t n_names = n_chains;
    for (size_t i = 0; i < n_uris; i++) {
        const HostPlugin *plugin =
            strstr(uris[i], "#mono") ? host_find(host, uris[i], 1, NULL) : NULL;
        if (plugin && plugin->id)
            *(char **)text_grow(&names, &n_names, sizeof *names) = text_copy(plugin->id);
    }
    for (size_t i = n_chains; i < n_names; i++)
        text_add(list, sizeof list, "%s%s", i > n_chains ? ", " : "", names[i]);
    text_add(list, sizeof list, "; chains: ");
    for (size_t i = 0; i < n_chains; i++)
        text_add(list, sizeof list, "%s%s", i ? ", " : "", names[i]);
    const char *nearest = text_nearest(name, (const char *const *)names, n_names);
    host_fail(&error, "there is no processor or chain '%s'%s%s%s processors: %s", name,
              nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : ";",
              list);
    free_names(names, n_names);
    return command_fail("list", STATUS_USAGE, &error);
}

static int list_one(Host *host, const char *name, unsigned channels) {
    HostError error;
    const HostPlugin *plugin = host_find(host, name, channels, &error);
    if (plugin)
        print_plugin(host, plugin);
    else if (strchr(name, ':'))
        return command_fail("list", STATUS_USAGE, &error);
    else if (!list_chain(name))
        return unknown_name(host, name);
    return STATUS_OK;
}

/* Each with the first line of its comment. */
static void list_chains(void) {
    size_t count = 0;
    char **names = chain_names(&count);
    for (size_t i = 0; i < count; i++) {
        char line[256] = "";
        char *path = place_chain(names[i]);
        FILE *file = open_chain(path);
        if (file && fgets(line, sizeof line, file)) {
            line[strcspn(line, "\r\n")] = '\0';
            printf("%-18s           %s\n", shown(names[i]), shown(line + strspn(line, "# ")));
        }
        if (file)
            fclose(file);
        free(path);
    }
    free_names(names, count);
}

/* For programs: "processor NAME" and "chain NAME". */
static int list_names(Host *host) {
    size_t count = 0;
    const char *const *uris = host_own_uris(host, &count);
    for (size_t i = 0; i < count; i++) {
        const HostPlugin *plugin =
            strstr(uris[i], "#mono") ? host_find(host, uris[i], 1, NULL) : NULL;
        if (plugin && plugin->id)
            printf("processor %s\n", plugin->id);
    }
    char **names = chain_names(&count);
    for (size_t i = 0; i < count; i++)
        printf("chain %s\n", shown(names[i]));
    free_names(names, count);
    return STATUS_OK;
}

static int list_all(Host *host) {
    HostError error;
    size_t count = 0;
    int listed = 0;
    const char *const *uris = host_own_uris(host, &count);
    puts("Processors, with their latency at 48 kHz:");
    for (size_t i = 0; i < count; i++) {
        const HostPlugin *plugin = host_find(host, uris[i], 1, &error);
        if (!plugin) {
            command_fail("list", STATUS_FAILED, &error);
            continue;
        }
        if (!plugin->id || !strstr(plugin->uri, "#mono"))
            continue;
        int length = first_sentence(plugin->doc);
        printf("%-18s %5.1f ms  %.*s\n", plugin->id, latency_ms(host, plugin), length, plugin->doc);
        listed++;
    }
    if (listed == 0) {
        host_fail(&error, "no processors found; name their folder by --bundles DIR or SISKIN_LV2");
        return command_fail("list", STATUS_FAILED, &error);
    }
    puts("\nReady chains, for render --chain:");
    list_chains();
    return STATUS_OK;
}

/* Plugins of others that can be a processor: those that this host can serve, with audio in and out.
 */
static int list_others(Host *host) {
    size_t count = 0;
    const char *const *uris = host_other_uris(host, &count);
    for (size_t i = 0; i < count; i++) {
        const HostPlugin *plugin = host_find(host, uris[i], 1, NULL);
        char uri[4096], name[4096];
        if (plugin && plugin->n_in && plugin->n_out && plugin->n_in <= 2 && plugin->n_out <= 2)
            printf("%s\n    %s; %zu in, %zu out%s\n", text_plain(uri, sizeof uri, plugin->uri),
                   text_plain(name, sizeof name, plugin->name), plugin->n_in, plugin->n_out,
                   plugin->n_key ? ", key" : "");
    }
    return STATUS_OK;
}

static void print_help(const Option *options, size_t count) {
    puts("siskin list             the processors, with their latency, and the ready chains\n"
         "siskin list NAME        one of them: controls, ranges, defaults, meters, presets; NAME\n"
         "                        may be the URI of any LV2 plugin, or a chain, which is shown\n"
         "siskin list --others    other LV2 plugins that can be used, by their URI\n");
    options_print(options, count);
}

int command_list(int argc, char **argv) {
    HostError error;
    const char *bundles = NULL;
    bool help = false;
    bool stereo = false;
    bool others = false;
    bool names = false;
    const Option options[] = {
        {"bundles", "DIR", PLACE_BUNDLES_HELP, &bundles, NULL},
        {"stereo", NULL, "describe the stereo form", NULL, &stereo},
        {"names", NULL, "processors and chains by name alone, one a line", NULL, &names},
        {"others", NULL, "list LV2 plugins that are not ours", NULL, &others},
        {"help", NULL, "this", NULL, &help},
    };
    const size_t n_options = sizeof options / sizeof *options;
    if (!options_take(options, n_options, &argc, argv, &error))
        return command_fail("list", STATUS_USAGE, &error);
    if (help) {
        print_help(options, n_options);
        return STATUS_OK;
    }
    if (argc > (others || names ? 0 : 1)) {
        host_fail(&error, "one NAME at most, none with --others; siskin list --help tells more");
        return command_fail("list", STATUS_USAGE, &error);
    }
    Host *host = place_open_host(bundles, &error);
    if (!host)
        return command_fail("list", STATUS_FAILED, &error);
    int status = others      ? list_others(host)
                 : names     ? list_names(host)
                 : argc == 1 ? list_one(host, argv[0], stereo ? 2 : 1)
                             : list_all(host);
    host_close(host);
    return status;
}
