/* SPDX-License-Identifier: ISC */
/* Other people's hosts load every bundle, show what it holds, and give, sample for sample and once
 * the latency is taken out, what `siskin render` gives.
 *
 * lv2info, lv2apply and lv2file always; with SISKIN_HOSTS=all (make hosts) also lv2proc, ffmpeg,
 * GStreamer, ecasound, and jalv under JACK. A host that is not installed is named and passed over,
 * except where CI is set, where it is a failure. What the hosts cannot do is said at each. */
#include "busy_take.h"
#include "host/host.h"
#include "siskin/tests/run_siskin.h"

enum { RATE = 48000, LEAD = RATE / 2, FRAMES = LEAD + 2 * RATE };

/* ---- cases ---- */

typedef enum { KEY_GIVEN, KEY_SILENT, KEY_NONE } Key;

/* One run in one host. */
typedef struct {
    const HostPlugin *plugin;
    const HostPreset *preset; /* NULL: the defaults */
    float value[64];          /* of controls, by port */
    Key key;                  /* of a plugin that has none: KEY_NONE */
    size_t block;
    size_t latency; /* frames, as reported */
    char take[32];  /* the file of the take, and of take and key in one */
    char joined[32];
} Case;

/* A host. `command` writes the line that renders the case into out.wav; false: it cannot be done
 * there, and `why_not` says why. */
typedef struct {
    const char *name;
    const char *needs; /* the program, and a second one after a blank */
    const size_t *blocks;
    bool (*command)(const Case *c, char *line, size_t size);
    const char *why_not;
    /* Where it may have run for any time before the take: frames of the longest hop; else 0. */
    size_t hop;
} Outside;

typedef struct {
    size_t tried, refused, by_level;
    double worst_db;
} Tally;

static Host *own;
static char in_jack[PATH_MAX]; /* the script that plays through jalv */
static char ungroup[PATH_MAX]; /* the script that `make install UNGROUPED=1` uses */

static bool installed(const char *programs) {
    char line[256];
    snprintf(line, sizeof line, "for p in %s; do command -v $p >/dev/null || exit 1; done",
             programs);
    return system(line) == 0; // NOLINT(cert-env33-c): the names are constants
}

static bool may_skip(const char *programs) {
    if (installed(programs))
        return false;
    ck_assert_msg(!getenv("CI"), "%s: not installed", programs);
    printf("%-8s is not installed: not tried\n", programs);
    return true;
}

/* ---- material ---- */

static float *tracks[5]; /* left, right, key left, key right, silence */

static void sing_tracks(void) {
    for (size_t i = 0; i < 5; i++)
        tracks[i] = calloc(FRAMES, sizeof(float));
    busy_take(tracks[0], FRAMES, RATE, SINGER_WOMAN, 3);
    busy_take(tracks[2], FRAMES, RATE, SINGER_MAN, 4);
    Random random = random_seeded(5);
    for (size_t t = 0; t < FRAMES; t++) {
        tracks[1][t] = 0.6f * tracks[0][t] + (float)random_range(&random, -1e-3, 1e-3);
        tracks[3][t] = 0.5f * tracks[2][t];
    }
}

/* Channels of a file: indices into `tracks`. It begins with silence in place of the quiet start. */
static void write_tracks(const char *path, const int *which, int channels) {
    Sound sound = make_sound(channels, FRAMES, RATE);
    for (size_t t = LEAD; t < FRAMES; t++)
        for (int c = 0; c < channels; c++)
            sound.audio[t * (size_t)channels + (size_t)c] = tracks[which[c]][t];
    write_wav(path, &sound);
    free(sound.audio);
}

static void write_material(void) {
    sing_tracks();
    write_tracks("take1.wav", (const int[]){0}, 1);
    write_tracks("take2.wav", (const int[]){0, 1}, 2);
    write_tracks("key1.wav", (const int[]){2}, 1);
    write_tracks("key2.wav", (const int[]){2, 3}, 2);
    write_tracks("silent1.wav", (const int[]){4}, 1);
    write_tracks("silent2.wav", (const int[]){4, 4}, 2);
    write_tracks("take1key.wav", (const int[]){0, 2}, 2);
    write_tracks("take2key.wav", (const int[]){0, 1, 2, 3}, 4);
    write_tracks("take1silent.wav", (const int[]){0, 4}, 2);
    write_tracks("take2silent.wav", (const int[]){0, 1, 4, 4}, 4);
    for (size_t i = 0; i < 5; i++)
        free(tracks[i]);
}

static void enter(void) {
    char path[PATH_MAX + 16], search[2 * PATH_MAX];
    HostError error;
    ck_assert_ptr_nonnull(realpath("hosts-test/outside/in_jack.sh", in_jack));
    ck_assert_ptr_nonnull(realpath("hosts-test/outside/ungroup.sh", ungroup));
    enter_work_folder();
    bundles = "lv2";
    snprintf(path, sizeof path, "%s/lv2", build_folder);
    own = host_open(path, &error);
    ck_assert_msg(own != NULL, "%s", error.text);
    /* the vocabularies have to be found too */
    snprintf(search, sizeof search, "%s:/usr/lib/lv2:/usr/local/lib/lv2", path);
    setenv("LV2_PATH", search, 1);
    setenv("GST_REGISTRY", "registry", 1);
    setenv("TERM", "dumb", 1);
    write_material();
}

static void leave(void) {
    host_close(own);
    leave_work_folder();
}

/* ---- words ---- */

/* Appends; the line ends up empty if it does not fit, which no shell takes for success. */
static void say(char *line, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void say(char *line, size_t size, const char *format, ...) {
    size_t used = strlen(line);
    va_list args;
    va_start(args, format);
    int more = vsnprintf(line + used, size - used, format, args);
    va_end(args);
    if (more < 0 || (size_t)more >= size - used)
        snprintf(line, size, "false line-too-long");
}

static bool is_set(const Case *c, size_t port) {
    const HostPort *p = &c->plugin->ports[port];
    return p->role == HOST_CONTROL && c->value[port] != p->initial;
}

/* `format` gets a symbol and a value for each control that is not at its default (or for all). */
#define SAY_CONTROLS(c, line, size, every, format)                                                 \
    for (size_t i_ = 0; i_ < (c)->plugin->n_ports; i_++)                                           \
        if ((c)->plugin->ports[i_].role == HOST_CONTROL && ((every) || is_set(c, i_)))             \
            say(line, size, format, (c)->plugin->ports[i_].symbol, (double)(c)->value[i_]);

/* ---- the hosts ---- */

/* run() with one frame at a time. All inputs must be fed. */
static bool lv2apply(const Case *c, char *line, size_t size) {
    if (c->plugin->n_key && c->key == KEY_NONE)
        return false;
    say(line, size, "lv2apply -i %s -o out.wav", c->plugin->n_key ? c->joined : c->take);
    SAY_CONTROLS(c, line, size, false, " -c %s %.9g")
    say(line, size, " '%s'", c->plugin->uri);
    return true;
}

/* Presets by name. Inputs that nothing is connected to hear silence. */
static bool lv2file(const Case *c, char *line, size_t size) {
    const HostPlugin *p = c->plugin;
    bool joined = p->n_key && c->key != KEY_NONE;
    say(line, size, "lv2file -b %zu -i %s -o out.wav", c->block, joined ? c->joined : c->take);
    for (size_t i = 0; i < p->n_in && p->n_key; i++)
        say(line, size, " -c %zu:%s", i + 1, p->ports[p->in[i]].symbol);
    for (size_t i = 0; i < p->n_key && joined; i++)
        say(line, size, " -c %zu:%s", p->n_in + i + 1, p->ports[p->key[i]].symbol);
    if (c->preset)
        say(line, size, " -P '%s'", c->preset->label);
    say(line, size, " '%s'", p->uri);
    return true;
}

static bool lv2proc(const Case *c, char *line, size_t size) {
    if (c->plugin->n_key)
        return false;
    say(line, size, "lv2proc -n %zu -i %s -o out.wav", c->block, c->take);
    SAY_CONTROLS(c, line, size, false, " -c %s:%.9g")
    say(line, size, " '%s'", c->plugin->uri);
    return true;
}

/* In place where there are as many outputs as inputs. */
static bool ffmpeg(const Case *c, char *line, size_t size) {
    const HostPlugin *p = c->plugin;
    if (p->n_key && c->key == KEY_NONE)
        return false;
    say(line, size, "ffmpeg -loglevel error -y -i %s", c->take);
    if (p->n_key)
        say(line, size, " -i %s%zu.wav", c->key == KEY_SILENT ? "silent" : "key", p->n_key);
    say(line, size, " -filter_complex '");
    if (p->n_key)
        say(line, size, "[0:a][1:a]join=inputs=2:channel_layout=%s[j];[j]",
            p->n_in == 1 ? "stereo:map=0.0-FL|1.0-FR" : "4.0:map=0.0-FL|0.1-FR|1.0-FC|1.1-BC");
    say(line, size, "asetnsamples=n=%zu:p=0,lv2=p=urn\\\\:siskin\\\\:%s:c=enabled=1", c->block,
        p->uri + strlen("urn:siskin:"));
    SAY_CONTROLS(c, line, size, false, "|%s=%.9g")
    say(line, size, "' -c:a pcm_f32le out.wav");
    return true;
}

/* Its name for the plugin is the URI with dashes, for a control the symbol with dashes. Toggles
 * are off unless set. Plugins with a key are not offered: two groups of inputs. */
static bool gstreamer(const Case *c, char *line, size_t size) {
    char element[256], controls[2048] = "";
    if (c->plugin->n_key)
        return false;
    snprintf(element, sizeof element, "%s", c->plugin->uri);
    SAY_CONTROLS(c, controls, sizeof controls, true, " %s=%.9g")
    for (char *p = element; *p; p++)
        *p = *p == ':' || *p == '#' ? '-' : *p;
    for (char *p = controls; *p; p++)
        *p = *p == '_' ? '-' : *p;
    say(line, size,
        "gst-launch-1.0 -q filesrc location=%s ! wavparse ! audiobuffersplit "
        "output-buffer-duration=%zu/48000 ! audioconvert ! %s%s ! audioconvert ! "
        "audio/x-raw,format=F32LE ! wavenc ! filesink location=out.wav",
        c->take, c->block, element, controls);
    return true;
}

/* In place. Controls by position, meters among them. An input for which the file has no channel is
 * never connected. */
static bool ecasound(const Case *c, char *line, size_t size) {
    const HostPlugin *p = c->plugin;
    bool joined = p->n_key && c->key != KEY_NONE;
    size_t channels = p->n_in + (joined ? p->n_key : 0);
    say(line, size,
        "rm -f out.wav; ecasound -q -b:%zu -f:f32_le,%zu,48000 -i %s -f:f32_le,%zu,48000 -o "
        "out.wav '-elv2:%s",
        c->block, channels, joined ? c->joined : c->take, p->n_out, p->uri);
    for (size_t i = 0; i < p->n_ports; i++)
        if (p->ports[i].role == HOST_CONTROL || p->ports[i].role == HOST_METER)
            say(line, size, ",%.9g", p->ports[i].role == HOST_CONTROL ? (double)c->value[i] : 0.0);
    say(line, size, "'");
    return true;
}

/* The words after the plugin's own: where the take and the key go in, where the result comes out.
 */
static void say_ports(const HostPlugin *p, bool keyed, char *line, size_t size) {
    for (size_t i = 0; i < p->n_in; i++)
        say(line, size, " probe:%s", p->ports[p->in[i]].symbol);
    for (size_t i = 0; i < p->n_key && keyed; i++)
        say(line, size, " probe:%s", p->ports[p->key[i]].symbol);
    say(line, size, " --");
    for (size_t i = 0; i < p->n_out; i++)
        say(line, size, " probe:%s", p->ports[p->out[i]].symbol);
}

/* It runs for a while before the take begins, in silence, which the take and the reference begin
 * with, too. How long, in periods, nobody knows: what a plugin analyses in hops falls elsewhere. So
 * the reference is rendered with as many periods of silence before it as fit into a hop; one of
 * them has its hops where they fell. */
static bool jalv(const Case *c, char *line, size_t size) {
    bool joined = c->plugin->n_key && c->key != KEY_NONE;
    say(line, size, "%s %s/jack_play %zu %s out.wav %d '%s' '", in_jack, build_folder, c->block,
        joined ? c->joined : c->take, FRAMES, c->plugin->uri);
    SAY_CONTROLS(c, line, size, true, "%s=%.9g ")
    say(line, size, "'");
    say_ports(c->plugin, joined, line, size);
    return true;
}

enum { PERIOD = 64, LONGEST_HOP = 1024 };

static const size_t ONE[] = {1, 0}, MANY[] = {1, 17, 64, 1024, 8192, 0},
                    SOME[] = {17, 64, 1024, 8192, 0}, PERIODS[] = {PERIOD, 1024, 0};

static const Outside LV2APPLY = {
    "lv2apply", "lv2apply", ONE, lv2apply, "it must be given as many channels as there are inputs",
    0};
static const Outside LV2FILE = {"lv2file", "lv2file", MANY, lv2file, "", 0};
static const Outside LV2PROC = {
    "lv2proc",
    "lv2proc",
    MANY,
    lv2proc,
    "it reads past its own table when there are more inputs than outputs",
    0};
static const Outside FFMPEG = {
    "ffmpeg", "ffmpeg", MANY, ffmpeg, "it must be given as many channels as there are inputs", 0};
static const Outside GSTREAMER = {
    "gst", "gst-launch-1.0", SOME, gstreamer, "it offers no plugin with two groups of inputs", 0};
static const Outside ECASOUND = {"ecasound", "ecasound", SOME, ecasound, "", 0};
static const Outside JALV = {"jalv", "jalv jackd", PERIODS, jalv, "", LONGEST_HOP};

/* ---- comparing ---- */

/* A filter that ran through silence of another length has rounded otherwise: 24 bits are -144
 * dB. */
static const double NOTHING_DB = -100.0;

/* `name` with so many frames of silence before it; made when it is first asked for. */
static void put_later(const char *name, size_t later, char *put, size_t size) {
    snprintf(put, size, "%zu_%s", later, name);
    if (access(put, F_OK) == 0)
        return;
    Sound sound = read_sound(name);
    size_t channels = (size_t)sound.info.channels, frames = (size_t)sound.info.frames;
    Sound moved = make_sound((int)channels, frames + later, RATE);
    memcpy(moved.audio + later * channels, sound.audio, frames * channels * sizeof(float));
    write_wav(put, &moved);
    free(moved.audio);
    free(sound.audio);
}

/* What `siskin render` makes of the case with so many frames of silence before it. */
static void render_reference(const Case *c, size_t later) {
    char line[4096] = "", take[64], key[32], moved_key[64];
    put_later(c->take, later, take, sizeof take);
    say(line, sizeof line, "render --live %s reference%zu.wav %s", take, later, c->plugin->id);
    SAY_CONTROLS(c, line, sizeof line, false, " %s=%.9g")
    if (c->plugin->n_key && c->key == KEY_NONE)
        say(line, sizeof line, " key=none");
    else if (c->plugin->n_key) {
        snprintf(key, sizeof key, "%s%zu.wav", c->key == KEY_SILENT ? "silent" : "key",
                 c->plugin->n_key);
        put_later(key, later, moved_key, sizeof moved_key);
        say(line, sizeof line, " key=%s", moved_key);
    }
    ck_assert_ran(line);
}

static void forget_references(void) {
    for (size_t later = 0; later < LONGEST_HOP; later += PERIOD) {
        char path[64];
        snprintf(path, sizeof path, "reference%zu.wav", later);
        remove(path);
    }
}

/* The reference of the case without the silence before it; rendered when it is first asked for. */
static Sound read_reference(const Case *c, size_t later) {
    char path[64];
    snprintf(path, sizeof path, "reference%zu.wav", later);
    if (access(path, F_OK) != 0)
        render_reference(c, later);
    Sound sound = read_sound(path);
    size_t channels = (size_t)sound.info.channels;
    sound.info.frames -= (sf_count_t)later;
    memmove(sound.audio, sound.audio + later * channels,
            (size_t)sound.info.frames * channels * sizeof(float));
    return sound;
}

/* Frame t of the reference is frame t + latency of what a host that does not take it out writes.
 * The RMS of the difference over that of the reference, dB; -INFINITY: every sample is the same. */
static double compare(const Case *c, size_t later, const char *host, const char *line) {
    Sound reference = read_reference(c, later), out = read_sound("out.wav");
    size_t channels = c->plugin->n_out;
    ck_assert_msg(out.info.channels == (int)channels, "%s: %d channels come out: %s", host,
                  out.info.channels, line);
    ck_assert_msg(out.info.frames >= FRAMES, "%s: only %ld frames come out: %s", host,
                  (long)out.info.frames, line);
    double signal = 0.0, error = 0.0;
    for (size_t i = 0; i < (FRAMES - c->latency) * channels; i++) {
        double expected = (double)reference.audio[i];
        double off = (double)out.audio[i + c->latency * channels] - expected;
        signal += expected * expected;
        error += off * off;
    }
    ck_assert_msg(signal > 0.0, "the reference is silent: %s", line);
    free(reference.audio);
    free(out.audio);
    return 10.0 * log10(error / signal);
}

/* The same, with silence before the take: the reference whose hops fall most nearly as in the
 * host. */
static double compare_places(const Outside *host, const Case *c, const char *line) {
    double db = INFINITY;
    for (size_t later = PERIOD; later < host->hop && db > NOTHING_DB; later += PERIOD)
        db = fmin(db, compare(c, later, host->name, line));
    return db;
}

/* Its sound is made of grains or of a tail, whose place in the wave may hang on how long it has
 * run. */
static bool sounds_anew(const HostPlugin *plugin) {
    return host_may(plugin, "sound anew");
}

static double power_of(const Sound *sound, size_t from, size_t n) {
    double sum = 0.0;
    for (size_t i = from; i < from + n; i++)
        sum += (double)sound->audio[i] * (double)sound->audio[i];
    return sum / (double)n;
}

/* As compare, for what has no wave to compare: the largest difference in level, dB, of so many
 * frames at a time, where the reference is over -50 dBFS. */
static double compare_levels(const Case *c, size_t frames) {
    Sound reference = read_reference(c, 0), out = read_sound("out.wav");
    size_t channels = c->plugin->n_out, n = frames * channels;
    double worst = 0.0;
    for (size_t i = 0; i + n <= (FRAMES - c->latency) * channels; i += n) {
        double expected = power_of(&reference, i, n);
        double found = power_of(&out, i + c->latency * channels, n);
        if (expected > 1e-5)
            worst = fmax(worst, fabs(10.0 * log10(found / expected)));
    }
    free(reference.audio);
    free(out.audio);
    return worst;
}

/* Where a grain is cut out of a period tells in its overlaps with the next ones: seen 0.09 dB in
 * half a second of an octave up, of all of it (a second or two) 0.02. */
static void check_levels(const Outside *host, const Case *c, const char *line) {
    static const double PART_DB = 1.0, WHOLE_DB = 0.5;
    double part = compare_levels(c, RATE / 2), whole = compare_levels(c, FRAMES - c->latency);
    ck_assert_msg(part <= PART_DB && whole <= WHOLE_DB,
                  "%s: %.1f dB apart in level, half a second by %.1f: %s", host->name, whole, part,
                  line);
}

static void try_case(const Outside *host, const Case *c, Tally *tally) {
    char line[8192] = "", quiet[8192 + 32];
    if (!host->command(c, line, sizeof line)) {
        tally->refused++;
        return;
    }
    snprintf(quiet, sizeof quiet, "{ %s ; } >said 2>&1 </dev/null", line);
    remove("out.wav");
    int status = system(quiet); // NOLINT(cert-env33-c): a shell is what it is meant for
    ck_assert_msg(status == 0, "%s: exit %d: %s", host->name, status, line);
    double db = compare(c, 0, host->name, line), allowed = host->hop ? NOTHING_DB : -INFINITY;
    if (db > allowed && host->hop && sounds_anew(c->plugin)) {
        check_levels(host, c, line);
        tally->by_level++;
    } else {
        if (db > allowed)
            db = fmin(db, compare_places(host, c, line));
        ck_assert_msg(db <= allowed, "%s: %.1f dB off: %s", host->name, db, line);
        tally->worst_db = fmax(tally->worst_db, db);
    }
    tally->tried++;
}

/* ---- all cases of a plugin ---- */

static Case make_case(const HostPlugin *plugin, const HostPreset *preset, Key key) {
    HostError error;
    Case c = {.plugin = plugin, .preset = preset, .key = key};
    HostInstance *instance = host_instantiate(own, plugin, RATE, 512, &error);
    ck_assert_msg(instance != NULL, "%s", error.text);
    if (preset)
        ck_assert_msg(host_load_preset(instance, preset->uri, &error), "%s", error.text);
    host_activate(instance);
    host_run(instance, 0, NULL, NULL, NULL);
    ck_assert_msg(host_latency(instance, &c.latency, &error), "%s", error.text);
    ck_assert_uint_le(plugin->n_ports, sizeof c.value / sizeof *c.value);
    for (size_t i = 0; i < plugin->n_ports; i++)
        if (plugin->ports[i].role == HOST_CONTROL)
            c.value[i] = host_get(instance, plugin->ports[i].symbol);
    host_free(instance);
    snprintf(c.take, sizeof c.take, "take%zu.wav", plugin->n_in);
    snprintf(c.joined, sizeof c.joined, "take%zu%s.wav", plugin->n_in,
             key == KEY_SILENT ? "silent" : "key");
    return c;
}

/* In a host that has run for a while nobody knows how far a plugin has wandered that moves by
 * itself. There it is held still; that it moves as it does here is seen in the others. */
static void hold_still(const Outside *host, Case *c) {
    static const char *const MOVES[] = {"motion", "drift", "looseness"};
    for (size_t m = 0; m < sizeof MOVES / sizeof *MOVES && host->hop; m++)
        for (size_t i = 0; i < c->plugin->n_ports; i++)
            if (strcmp(c->plugin->ports[i].symbol, MOVES[m]) == 0)
                c->value[i] = 0.0f;
}

/* The defaults with every key and in every block length. */
static void try_defaults(const Outside *host, const HostPlugin *plugin, Tally *tally) {
    for (Key key = plugin->n_key ? KEY_GIVEN : KEY_NONE; key <= KEY_NONE; key++) {
        Case c = make_case(plugin, NULL, key);
        hold_still(host, &c);
        forget_references();
        for (const size_t *block = host->blocks; *block; block++) {
            c.block = *block;
            try_case(host, &c, tally);
        }
    }
}

/* Every preset once, each with the next of the block lengths. */
static void try_presets(const Outside *host, const HostPlugin *plugin, Tally *tally) {
    const size_t *block = host->blocks;
    for (size_t p = 0; p < plugin->n_presets; p++) {
        Case c = make_case(plugin, &plugin->presets[p], plugin->n_key ? KEY_GIVEN : KEY_NONE);
        hold_still(host, &c);
        c.block = *block;
        block = block[1] ? block + 1 : host->blocks;
        forget_references();
        try_case(host, &c, tally);
    }
}

static void try_host(const Outside *host) {
    size_t count = 0;
    const char *const *uris = host_own_uris(own, &count);
    if (may_skip(host->needs))
        return;
    ck_assert_uint_gt(count, 0);
    for (size_t i = 0; i < count; i++) {
        HostError error;
        Tally tally = {.worst_db = -INFINITY};
        const char *only = getenv("SISKIN_ONLY");
        const HostPlugin *plugin = host_find(own, uris[i], 0, &error);
        ck_assert_msg(plugin != NULL, "%s", error.text);
        if (only && strcmp(plugin->id, only) != 0)
            continue;
        try_defaults(host, plugin, &tally);
        try_presets(host, plugin, &tally);
        printf("%-8s %-32s %3zu runs", host->name, uris[i], tally.tried);
        if (isfinite(tally.worst_db))
            printf(", at most %.0f dB off", tally.worst_db);
        else if (tally.tried > tally.by_level)
            printf(", every sample equal");
        if (tally.by_level)
            printf("; %zu equal in level alone", tally.by_level);
        if (tally.refused)
            printf("; %zu not possible: %s", tally.refused, host->why_not);
        putchar('\n');
        fflush(stdout);
    }
}

/* ---- tests ---- */

static char *output_of(const char *command) {
    FILE *pipe = popen(command, "r"); // NOLINT(cert-env33-c): a shell is what it is meant for
    ck_assert_ptr_nonnull(pipe);
    static char text[1 << 16];
    size_t got = fread(text, 1, sizeof text - 1, pipe);
    text[got] = '\0';
    ck_assert_msg(pclose(pipe) == 0, "%s fails", command);
    return text;
}

static void check_says(const char *text, const char *plugin, const char *words) {
    ck_assert_msg(strstr(text, words) != NULL, "lv2info of %s does not say '%s'", plugin, words);
}

START_TEST(lv2info_tells_what_each_bundle_holds) {
    size_t count = 0;
    const char *const *uris = host_own_uris(own, &count);
    if (may_skip("lv2info lv2ls"))
        return;
    char *listed = strdup(output_of("lv2ls"));
    for (size_t i = 0; i < count; i++) {
        char command[512], words[512];
        const HostPlugin *plugin = host_find(own, uris[i], 0, NULL);
        ck_assert_msg(strstr(listed, uris[i]) != NULL, "lv2ls does not list %s", uris[i]);
        snprintf(command, sizeof command, "lv2info '%s'", uris[i]);
        const char *text = output_of(command);
        check_says(text, uris[i], plugin->name);
        check_says(text, uris[i], "Author:            The Siskin authors");
        check_says(text, uris[i], "yes, reported by port");
        check_says(text, uris[i], "hardRTCapable");
        for (size_t p = 0; p < plugin->n_presets; p++)
            check_says(text, uris[i], plugin->presets[p].label);
        for (size_t p = 0; p < plugin->n_ports; p++) {
            snprintf(words, sizeof words, "Symbol:      %s\n", plugin->ports[p].symbol);
            check_says(text, uris[i], words);
        }
    }
    free(listed);
}
END_TEST

START_TEST(lv2apply_gives_what_siskin_gives) {
    try_host(&LV2APPLY);
}
END_TEST

START_TEST(lv2file_gives_what_siskin_gives) {
    try_host(&LV2FILE);
}
END_TEST

START_TEST(lv2proc_gives_what_siskin_gives) {
    try_host(&LV2PROC);
}
END_TEST

START_TEST(ffmpeg_gives_what_siskin_gives) {
    try_host(&FFMPEG);
}
END_TEST

/* It takes every port with a group for a channel: its bundles have no groups of controls. */
START_TEST(gstreamer_gives_what_siskin_gives) {
    char line[2 * PATH_MAX + 64];
    snprintf(line, sizeof line, "cp -r %s/lv2 ungrouped && %s ungrouped/*.lv2", build_folder,
             ungroup);
    ck_assert_int_eq(system(line), 0); // NOLINT(cert-env33-c): a shell is what it is meant for
    char folder[PATH_MAX];             /* it takes none but whole paths */
    ck_assert_ptr_nonnull(realpath("ungrouped", folder));
    snprintf(line, sizeof line, "%s:/usr/lib/lv2:/usr/local/lib/lv2", folder);
    setenv("LV2_PATH", line, 1);
    try_host(&GSTREAMER);
}
END_TEST

START_TEST(ecasound_gives_what_siskin_gives) {
    try_host(&ECASOUND);
}
END_TEST

START_TEST(jalv_gives_what_siskin_gives) {
    try_host(&JALV);
}
END_TEST

/* A case each, so that CK_RUN_CASE=ffmpeg tries that host alone. */
static void add(Suite *suite, const char *name, const TTest *test) {
    TCase *tc = tcase_create(name);
    tcase_add_checked_fixture(tc, enter, leave);
    tcase_set_timeout(tc, 2400);
    tcase_add_test(tc, test);
    suite_add_tcase(suite, tc);
}

int main(void) {
    const char *hosts = getenv("SISKIN_HOSTS");
    Suite *suite = suite_create("outside");
    add(suite, "lv2info", lv2info_tells_what_each_bundle_holds);
    add(suite, "lv2apply", lv2apply_gives_what_siskin_gives);
    add(suite, "lv2file", lv2file_gives_what_siskin_gives);
    if (hosts && strcmp(hosts, "all") == 0) {
        add(suite, "lv2proc", lv2proc_gives_what_siskin_gives);
        add(suite, "ffmpeg", ffmpeg_gives_what_siskin_gives);
        add(suite, "gstreamer", gstreamer_gives_what_siskin_gives);
        add(suite, "ecasound", ecasound_gives_what_siskin_gives);
        add(suite, "jalv", jalv_gives_what_siskin_gives);
    }
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
