/* SPDX-License-Identifier: ISC */
#include "contract/broken.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- plugins with a fault in them: broken/ ---- */

typedef struct {
    const char *id;
    const char *promise;
    const char *reason;
    double rate_hz;    /* where it shows; 0: 48 kHz */
    unsigned channels; /* where it shows; 0: 2 */
} BrokenPlugin;

/* What each processor's mode is then: flush-to-zero on (of x86 with the flags that were raised),
 * and the first in which sums round otherwise. */
#if defined(__aarch64__)
#define LEFT_MODE "is left as 0x1000000"
#define HEARD_MODE "mode at 0x400000"
#else
#define LEFT_MODE "is left as 0x9f"
#define HEARD_MODE "mode at 0x5f80"
#endif

static const BrokenPlugin PLUGINS[] = {
    {"allocates", "run() takes no memory and no lock", "malloc()", 0, 0},
    {"locks", "run() takes no memory and no lock", "pthread_mutex_lock()", 0, 0},
    {"calls-system", "run() makes no system call", "system call", 0, 0},
    {"reads-clock", "the library uses nothing that could wait", "time()", 0, 0},
    {"smooths-per-block", "the output does not depend on how blocks are cut", "blocks of 1", 0, 0},
    {"smooths-per-block", "nor while controls move", "blocks of 1", 0, 0},
    {"makes-nan", "the output does not depend on how blocks are cut", "blocks of", 0, 0},
    {"late", "the latency reported is the latency measured", "32 measured", 0, 0},
    {"drifts", "the latency is reported before the first frame and stays", "20 frames reported", 0,
     0},
    {"drifts", "the latency depends on the controls alone", "when set while running", 0, 0},
    {"never-forgets", "it recovers from input at +60 dBFS", "still differs", 0, 0},
    {"resets-half", "activation makes it as new", "activated again", 0, 1},
    {"resets-half", "a reset heals everything", "bad input, then a reset", 0, 1},
    {"shares", "instances do not know of each other", "beside another instance", 0, 0},
    {"reads-key", "it acts on a take", "it crashed", 0, 0},
    {"naive-in-place", "buffers may be shared", "outputs on their inputs", 0, 0},
    {"naive-one-buffer", "all ports may be on one buffer", "frame 64 is", 0, 0},
    {"naive-leaves-mode", "the floating-point mode is left as found", LEFT_MODE, 0, 0},
    {"naive-hears-mode", "the floating-point mode is left as found", HEARD_MODE, 0, 0},
    {"naive-not-cleaned", "what is no audio counts as silence", "not finite", 0, 0},
    {"naive-not-clamped", "controls outside their range are clamped", "which means", 0, 0},
    {"naive-needs-ports", "ports may be unconnected", "crashed", 0, 0},
    {"naive-needs-frames", "a run may have no frames", "writes to a buffer", 0, 0},
    {"naive-off-scaled", "off is the delayed input, bit for bit", "64 frames earlier", 0, 0},
    {"naive-off-early", "off is the delayed input, bit for bit", "64 frames earlier", 0, 0},
    {"naive-stale-latency", "off follows the latency when a control moves it", "'depth' moved to",
     0, 0},
    {"naive-switches-hard", "switching off and on crossfades over 20 ms", "of the way from", 0, 0},
    {"naive-fade-short", "switching off and on crossfades over 20 ms", "of the way from", 0, 0},
    {"naive-audition-hard", "audition crossfades over 20 ms", "of the way from", 0, 0},
    {"naive-removed-early", "result and removed make the delayed input", "do not make", 0, 0},
    {"naive-keeps-history", "activation makes it as new", "activated again", 0, 0},
    {"naive-writes-beyond", "only the frames of outputs are written, and all of them",
     "past the last", 0, 0},
    {"naive-writes-input", "only the frames of outputs are written, and all of them",
     "writes to an input", 0, 0},
    {"naive-leaves-frames", "only the frames of outputs are written, and all of them", "unwritten",
     0, 0},
    {"naive-shared-state", "instances do not know of each other", "beside another instance", 0, 0},
    {"naive-shared-state", "instances may run in two threads", "of two at once", 0, 0},
    {"naive-shared-state", "five hundred may live at once", "of 500: output", 0, 0},
    {"gain", "controls step without a click in singing", "'gain' stepped: what is", 0, 0},
    {"gain", "controls step without a click in a tone", "'gain' stepped: a click", 0, 0},
    {"biquad", "controls step without a click in a tone", "'frequency' stepped: a click", 0, 0},
    {"naive-loud", "controls may be swept 50 times a second", "comes out with peak", 0, 0},
    {"naive-not-cleared", "what memory held before does not matter", "memory not zero", 0, 0},
    {"naive-late-latency", "the latency is reported before the first frame and stays",
     "0 frames reported before the first", 0, 0},
    {"naive-drifting-latency", "the latency is reported before the first frame and stays",
     "no control moved", 0, 0},
    {"naive-wrong-latency", "the latency reported is the latency measured",
     "63 frames reported, 64 measured", 0, 0},
    {"naive-two-gains", "the image does not move", "is half the left", 0, 0},
    {"naive-left-listens", "the image does not move", "changed over", 0, 0},
    {"naive-loud", "the output is bounded by the input", "comes out with peak", 0, 0},
    {"naive-loud", "controls may all be 0", "controls all 0", 0, 0},
    {"naive-wild-meter", "the output is bounded by the input", "the meter 'key_level'", 0, 0},
    {"naive-meters-blocks", "meters do not depend on how blocks are cut", "by the blocks", 0, 0},
    {"naive-meters-now", "the reduction shown falls slowly", "faster than 12 dB", 0, 0},
    {"naive-hums", "silence stays silence", "silence from the start gives", 0, 0},
    {"naive-idle", "it acts on a take", "only the delayed input", 0, 0},
    {"naive-deaf", "no key is a silent key", "the key changes nothing", 0, 0},
    {"naive-counts-silence", "silence ahead changes nothing", "37 frames later", 0, 0},
    {"naive-keyless-noise", "no key is a silent key", "silent key against none", 0, 0},
    {"naive-low-rates", "it acts on a take", "cannot be instantiated at 96000 Hz", 96000.0, 0},
    {"naive-leaks", "a life leaves no memory behind", "bytes behind", 0, 0},
};

/* ---- Turtle with a fault in it: the floor `keyed`, one text of it replaced by another ---- */

typedef enum { MANIFEST, PORTS, PRESETS, N_FILES } File;
static const char *const FILES[] = {"manifest.ttl", "keyed.ttl", "presets.ttl"};

typedef struct {
    File file;
    const char *from, *to; /* the first place only, which is the mono variant's */
    const char *promise;
    const char *reason;
} BrokenTurtle;

#define WHAT "it says what it is"
#define NOTHING "it asks nothing of the host"
#define SAY "its ports say what they are"
#define COMMON "the ports of every plugin are there"
#define DRAWN "its ports can be drawn"
#define GROUPED "audio ports are grouped"
#define FIT "presets fit the ports"
#define TWO "it comes as mono and stereo"
#define VALID "its Turtle validates"

static const BrokenTurtle TURTLES[] = {
    {PORTS, "lv2:UtilityPlugin", "lv2:Plugin", WHAT, "no class beside lv2:Plugin"},
    {PORTS, "lv2:minorVersion 2", "lv2:minorVersion 1", WHAT, "version 1.0"},
    {PORTS, "lv2:microVersion 0", "lv2:microVersion 3", WHAT, "version 2.3"},
    {PORTS, "    lv2:minorVersion 2 ;\n", "", WHAT, "must both be there"},
    {PORTS, "doap:license <http://opensource.org/licenses/ISC>", "doap:license \"ISC\"", WHAT,
     "the project has not the plugin's"},
    {PORTS, "doap:name \"Test keyed (mono)\" ;", "", WHAT, "no doap:name"},
    {PORTS, "foaf:name \"The Siskin authors\"", "foaf:name \"\"", WHAT, "no doap:maintainer"},
    {PORTS, "lv2:project <urn:siskin:project>", "lv2:project <urn:siskin:projects>", WHAT,
     "no lv2:project"},
    {PORTS, "\"Made for the tests of bundles and the benchmark, and of no other use.\"",
     "\"A test.\"", WHAT, "hardly any"},
    {PORTS, "lv2:optionalFeature lv2:hard", "lv2:requiredFeature lv2:hard", NOTHING,
     "asks the host for"},
    {PORTS, "lv2:hardRTCapable", "lv2:isLive", NOTHING, "does not say lv2:hardRTCapable"},
    {PORTS, "lv2:hardRTCapable", "lv2:hardRTCapable , lv2:inPlaceBroken", NOTHING,
     "cannot work in place"},
    {PORTS, "lv2:symbol \"lookahead\"", "lv2:symbol \"depth\"", SAY, "'depth' has a symbol that"},
    {PORTS, "lv2:symbol \"lookahead\"", "lv2:symbol \"look-ahead\"", SAY,
     "has no ports that can be read"},
    {PORTS, "lv2:name \"Look-ahead\"", "lv2:name \"Depth\"", SAY, "a name that another"},
    {PORTS, "rdfs:comment \"How far the level falls at most.\" ;", "", SAY, "no rdfs:comment"},
    {PORTS, "lv2:default 12.0", "lv2:default 25.0", SAY, "'depth' has a default outside"},
    {PORTS, "lv2:default 12.0 ;", "", SAY, "a minimum, a maximum and a default"},
    {PORTS, "lv2:maximum 24.0", "lv2:maximum -1.0", SAY, "'depth' has an empty range"},
    {PORTS, "lv2:maximum 24.0", "lv2:maximum 24.0 ; lv2:portProperty pprops:logarithmic", SAY,
     "logarithmic and reaches 0"},
    {PORTS, "lv2:maximum 24.0", "lv2:maximum 24.0 ; lv2:portProperty lv2:sampleRate", SAY,
     "multiples of the sample rate"},
    {PORTS, "lv2:maximum 24.0",
     "lv2:maximum 24.0 ; lv2:scalePoint [ rdfs:label \"Deep\" ; rdf:value 24.0 ]", SAY,
     "is no enumeration"},
    {PORTS, "lv2:maximum 3.0", "lv2:maximum 3.5", SAY, "an integer with bounds"},
    {PORTS, "\"Turns the result upside down.\" ;\n        lv2:default 0.0",
     "\"Turns the result upside down.\" ;\n        lv2:default 0.5", SAY, "does not go from 0 to"},
    {PORTS, "rdfs:label \"Fast\" ; rdf:value 1.0", "rdfs:label \"Fast\" ; rdf:value 2.0", SAY,
     "a scale point outside"},
    {PORTS, "rdfs:label \"Fast\"", "rdfs:label \"Slow\"", SAY, "twice the same"},
    {PORTS, " , [ rdfs:label \"Fast\" ; rdf:value 1.0 ]", "", SAY, "fewer than two points"},
    {PORTS, "units:unit units:ms", "units:unit units:ms , units:s", SAY, "several units"},
    {PORTS, "units:unit units:ms", "units:unit <urn:siskin:furlong>", SAY, "hosts do not know"},
    {PORTS, "units:unit units:ms", "units:unit units:hz", SAY, "frequency and not logarithmic"},
    {PORTS, "lv2:portProperty lv2:toggled", "lv2:portProperty lv2:toggled ; units:unit units:db",
     SAY, "a switch with a unit"},
    {PORTS, "lv2:shortName \"Depth\"", "lv2:shortName \"How deep it is cut\"", DRAWN,
     "'depth' has no lv2:shortName of at most"},
    {PORTS, "lv2:portProperty pprops:notOnGUI", "lv2:portProperty pprops:expensive", DRAWN,
     "'latency' is for the host"},
    {PORTS, " ;\n        pprops:displayPriority 1", "", DRAWN, "has no pprops:displayPriority"},
    {PORTS, "    pg:group <urn:siskin:keyed#mono-meters>", "    rdfs:seeAlso <urn:siskin:none>",
     DRAWN, "'reduction' is in no group"},
    {PORTS, "lv2:designation lv2:enabled", "lv2:designation lv2:freeWheeling", COMMON,
     "no toggle 'enabled'"},
    {PORTS, "lv2:symbol \"audition\"", "lv2:symbol \"listen\"", COMMON,
     "no enumeration 'audition'"},
    {PORTS, "units:unit units:frame", "units:unit units:ms", COMMON, "'latency' in frames"},
    {PORTS, "lv2:portProperty lv2:reportsLatency", "lv2:portProperty lv2:integer", COMMON,
     "for older hosts"},
    {PORTS, "lv2:symbol \"reduction\"", "lv2:symbol \"meter\"", COMMON, "no meter 'reduction'"},
    {PORTS, "lv2:symbol \"key_level\"",
     "lv2:symbol \"key_level\" ; lv2:portProperty lv2:reportsLatency", COMMON,
     "'key_level' reports a latency too"},
    {PORTS, "pg:group <urn:siskin:keyed#mono-in>", "pg:group <urn:siskin:keyed#mono-out>", GROUPED,
     "has not its two types"},
    {PORTS, "pg:group <urn:siskin:keyed#mono-in>", "rdfs:seeAlso <urn:siskin:none>", GROUPED,
     "is in no group"},
    {PORTS, "lv2:designation pg:center", "lv2:designation pg:left", GROUPED, "is not designated"},
    {PORTS, "lv2:symbol \"in_group\"", "lv2:symbol \"depth\"", GROUPED, "share the symbol"},
    {PORTS, "lv2:isSideChain , lv2:connectionOptional", "lv2:isSideChain", GROUPED,
     "not lv2:connectionOptional"},
    {PORTS, "lv2:isSideChain , lv2:connectionOptional", "lv2:connectionOptional", GROUPED,
     "not lv2:isSideChain"},
    {PORTS, "pg:sideChainOf <urn:siskin:keyed#mono-in>", "pg:sideChainOf <urn:siskin:keyed#mono>",
     GROUPED, "not pg:sideChainOf the input's"},
    {PORTS, "pg:mainInput <urn:siskin:keyed#mono-in>", "pg:mainInput <urn:siskin:keyed#mono-key>",
     GROUPED, "pg:mainInput and pg:mainOutput"},
    {PRESETS, "lv2:symbol \"depth\"", "lv2:symbol \"deepness\"", FIT, "sets 'deepness'"},
    {PRESETS, "lv2:symbol \"depth\"", "lv2:symbol \"enabled\"", FIT, "sets 'enabled'"},
    {PRESETS, "pset:value 6.0", "pset:value 6", FIT, "no decimal number"},
    {PRESETS, "pset:value 6.0", "pset:value 60.0", FIT, "allowed are 0 to 24"},
    {PRESETS, "rdfs:label \"Late\"", "rdfs:label \"Strong\"", FIT, "two presets are called"},
    {PRESETS, "rdfs:label \"Late\" ;", "", FIT, "has no label"},
    {MANIFEST, "\n    a pset:Preset ;", "\n    a lv2:Point ;", FIT, "it has 1 presets"},
    {PORTS, "lv2:default 12.0", "lv2:default 11.0", TWO, "'depth' is not the same"},
    {MANIFEST, "<urn:siskin:keyed#stereo>\n", "<urn:siskin:keyed#five>\n", TWO, "no other variant"},
    {MANIFEST, "lv2:appliesTo <urn:siskin:keyed#mono> , ", "lv2:appliesTo ", TWO, "same presets"},
    {PORTS, "units:unit units:db", "units:unit units:decibel", VALID, "lv2_validate: error"},
    {PORTS, "lv2:designation lv2:enabled\n    ]", "lv2:designation lv2:enabled\n", VALID,
     "lv2_validate"},
    {MANIFEST, "<keyed.ttl>", "<keys.ttl>", WHAT, "has no ports that can be read"},
};

enum {
    N_PLUGINS = sizeof PLUGINS / sizeof *PLUGINS,
    N_TURTLES = sizeof TURTLES / sizeof *TURTLES,
};

static char scratch[PATH_MAX];
static Host *hosts[1 + N_TURTLES]; /* as long as the cases that refer to them */

static char *read_text(const char *path) {
    FILE *file = fopen(path, "r");
    if (!file)
        return NULL;
    fseek(file, 0, SEEK_END);
    size_t size = (size_t)ftell(file);
    rewind(file);
    char *text = contract_memory(size + 1, 1);
    size_t got = fread(text, 1, size, file);
    fclose(file);
    return got == size ? text : NULL;
}

/* Writes `text` with the first `from` replaced; from NULL: as it is. false: not in there. */
static bool write_spoilt(const char *path, const char *text, const char *from, const char *to) {
    const char *at = from ? strstr(text, from) : text + strlen(text);
    FILE *file = at ? fopen(path, "w") : NULL;
    if (!file)
        return false;
    fprintf(file, "%.*s%s%s", (int)(at - text), text, from ? to : "",
            from ? at + strlen(from) : "");
    return fclose(file) == 0;
}

/* A folder `number` under scratch that holds one bundle, whose Turtle is spoilt. */
static bool make_folder(const char *bundles, size_t number, const BrokenTurtle *turtle,
                        char folder[PATH_MAX]) {
    char path[PATH_MAX + 64], library[PATH_MAX + 64];
    if (snprintf(folder, PATH_MAX, "%s/%zu", scratch, number) >= PATH_MAX)
        return false;
    snprintf(path, sizeof path, "%s/siskin-keyed.lv2", folder);
    if (mkdir(folder, 0700) != 0 || mkdir(path, 0700) != 0)
        return false;
    snprintf(library, sizeof library, "%s/siskin-keyed.lv2/keyed.so", bundles);
    snprintf(path, sizeof path, "%s/siskin-keyed.lv2/keyed.so", folder);
    if (symlink(library, path) != 0)
        return false;
    for (size_t i = 0; i < N_FILES; i++) {
        snprintf(path, sizeof path, "%s/siskin-keyed.lv2/%s", bundles, FILES[i]);
        const char *text = read_text(path);
        snprintf(path, sizeof path, "%s/siskin-keyed.lv2/%s", folder, FILES[i]);
        bool here = i == (size_t)turtle->file;
        if (!text || !write_spoilt(path, text, here ? turtle->from : NULL, turtle->to))
            return false;
    }
    return true;
}

static bool spoil(const char *bundles, size_t number, BrokenCase *c) {
    const BrokenTurtle *turtle = &TURTLES[number];
    char folder[PATH_MAX];
    *c = (BrokenCase){.what = turtle->to, .promise = turtle->promise, .reason = turtle->reason};
    if (!make_folder(bundles, number, turtle, folder)) {
        fprintf(stderr, "%s cannot be spoilt: '%s' is not in there\n", FILES[turtle->file],
                turtle->from);
        return false;
    }
    Host *host = hosts[1 + number] = host_open(folder, &c->unread);
    if (host) {
        host_be_live(host);
        c->subject.plugin = host_find(host, "keyed", 1, &c->unread);
    }
    char *bundle = contract_memory(PATH_MAX + 64, 1);
    snprintf(bundle, PATH_MAX + 64, "%s/siskin-keyed.lv2/", folder);
    c->subject.host = host;
    c->subject.bundle = bundle;
    c->subject.rate_hz = 48000.0;
    c->subject.thorough = true;
    return host != NULL;
}

static bool find(Host *host, const BrokenPlugin *broken, BrokenCase *c) {
    HostError error;
    const HostPlugin *plugin =
        host_find(host, broken->id, broken->channels ? broken->channels : 2, &error);
    if (!plugin) {
        fprintf(stderr, "%s\n", error.text);
        return false;
    }
    *c = (BrokenCase){
        .what = broken->id,
        .promise = broken->promise,
        .reason = broken->reason,
        .subject = {.host = host,
                    .plugin = plugin,
                    .rate_hz = broken->rate_hz > 0.0 ? broken->rate_hz : 48000.0,
                    .thorough = true},
    };
    return true;
}

BrokenCase *contract_broken(const char *bundles, size_t *count) {
    HostError error;
    const char *folder = getenv("TMPDIR");
    BrokenCase *cases = calloc(N_PLUGINS + N_TURTLES, sizeof *cases);
    Host *host = hosts[0] = host_open(bundles, &error);
    snprintf(scratch, sizeof scratch, "%s/siskin-broken-XXXXXX", folder ? folder : "/tmp");
    bool fine = cases && host && mkdtemp(scratch);
    if (host)
        host_be_live(host);
    for (size_t i = 0; fine && i < N_PLUGINS; i++)
        fine = find(host, &PLUGINS[i], &cases[i]);
    for (size_t i = 0; fine && i < N_TURTLES; i++)
        fine = spoil(bundles, i, &cases[N_PLUGINS + i]);
    *count = fine ? N_PLUGINS + N_TURTLES : 0;
    if (fine)
        return cases;
    fprintf(stderr, "broken bundles cannot be prepared from %s: %s\n", bundles, strerror(errno));
    free(cases);
    return NULL;
}

void contract_broken_end(void) {
    char path[PATH_MAX + 128];
    for (size_t i = 0; i < 1 + N_TURTLES; i++)
        host_close(hosts[i]);
    for (size_t i = 0; i < N_TURTLES; i++) {
        for (size_t k = 0; k < N_FILES; k++) {
            snprintf(path, sizeof path, "%s/%zu/siskin-keyed.lv2/%s", scratch, i, FILES[k]);
            unlink(path);
        }
        snprintf(path, sizeof path, "%s/%zu/siskin-keyed.lv2/keyed.so", scratch, i);
        unlink(path);
        snprintf(path, sizeof path, "%s/%zu/siskin-keyed.lv2", scratch, i);
        rmdir(path);
        snprintf(path, sizeof path, "%s/%zu", scratch, i);
        rmdir(path);
    }
    if (rmdir(scratch) != 0)
        perror(scratch);
}
