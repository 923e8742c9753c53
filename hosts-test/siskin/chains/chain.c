/* SPDX-License-Identifier: ISC */
#include "siskin/chains/chain.h"

#include "siskin/chains/moves.h"
#include "siskin/text.h"
#include "siskin/text_file.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MAX_WORDS = 256, MAX_LINE = 65536 };

/* ---- memory and errors ---- */

static void free_processor(ChainProcessor *processor) {
    for (size_t i = 0; i < processor->n_settings; i++) {
        free(processor->settings[i].control);
        free(processor->settings[i].value);
        free(processor->settings[i].move.name);
    }
    free(processor->settings);
    free(processor->name);
    free(processor->preset);
    free(processor->key.name);
}

static void free_bus(ChainBus *bus) {
    for (size_t i = 0; i < bus->n_sends; i++)
        free(bus->sends[i].from.name);
    for (size_t i = 0; i < bus->n_processors; i++)
        free_processor(&bus->processors[i]);
    free(bus->sends);
    free(bus->processors);
    free(bus->name);
    free(bus->to_name);
    free(bus->file);
    free(bus->fader_move.name);
    free(bus->pan_move.name);
}

void chain_free(Chain *chain) {
    if (!chain)
        return;
    for (size_t i = 0; i < chain->n_busses; i++)
        free_bus(&chain->busses[i]);
    for (size_t i = 0; i < chain->n_lanes; i++)
        lane_free(&chain->lanes[i]);
    free(chain->busses);
    free(chain->lanes);
    free(chain->path);
    free(chain->text);
    free(chain);
}

bool chain_fail(const Chain *chain, int line, HostError *error, const char *format, ...) {
    char text[sizeof error->text];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (chain->path && line > 0)
        return host_fail(error, "%s, line %d: %s", chain->path, line, text);
    if (chain->path)
        return host_fail(error, "%s: %s", chain->path, text);
    return host_fail(error, "%s", text);
}

int chain_find(const Chain *chain, const char *name) {
    for (size_t i = 0; i < chain->n_busses; i++)
        if (strcmp(chain->busses[i].name, name) == 0)
            return (int)i;
    return -1;
}

/* ---- processors ---- */

/* A URI may hold '=' after its colon; a setting holds '=' before any colon of its value. */
static bool is_setting(const char *word) {
    size_t at = strcspn(word, "=:");
    return at > 0 && word[at] == '=';
}

static bool once(const Chain *chain, int line, const char *present, const char *what,
                 HostError *error) {
    return !present || chain_fail(chain, line, error, "%s= is given twice", what);
}

/* Of those that know a scale, key= is its key note, a control like any other; none of them has a
 * key input. */
static bool knows_a_scale(const char *processor) {
    static const char *const names[] = {"pitch-corrector", "harmony"};
    const char *prefix = "urn:siskin:";
    bool whole = strncmp(processor, prefix, strlen(prefix)) == 0;
    const char *name = processor + (whole ? strlen(prefix) : 0);
    size_t length = whole ? strcspn(name, "#") : strlen(name);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (length == strlen(names[i]) && strncmp(name, names[i], length) == 0)
            return true;
    return false;
}

static bool add_setting(const Chain *chain, ChainProcessor *processor, const char *word, int line,
                        HostError *error) {
    size_t length = strcspn(word, "=");
    const char *value = word + length + 1;
    if (!*value)
        return chain_fail(chain, line, error, "'%s' lacks a value after the '='", word);
    if (strncmp(word, "preset=", 7) == 0) {
        if (!once(chain, line, processor->preset, "preset", error))
            return false;
        processor->preset = text_copy(value);
    } else if (strncmp(word, "key=", 4) == 0 && !knows_a_scale(processor->name)) {
        if (!once(chain, line, processor->key.name, "key", error))
            return false;
        processor->key.name = text_copy(value);
    } else {
        for (size_t i = 0; i < processor->n_settings; i++)
            if (strncmp(processor->settings[i].control, word, length) == 0 &&
                processor->settings[i].control[length] == '\0')
                return once(chain, line, word, processor->settings[i].control, error);
        ChainSetting *setting =
            text_grow(&processor->settings, &processor->n_settings, sizeof *setting);
        setting->control = text_print("%.*s", (int)length, word);
        setting->value = text_copy(value);
        if (!moves_name(chain, &setting->move, value, line, error))
            return false;
    }
    return true;
}

static ChainProcessor *add_processor(const Chain *chain, ChainBus *bus, const char *name, int line,
                                     HostError *error) {
    size_t total = 0;
    for (size_t i = 0; i < chain->n_busses; i++)
        total += chain->busses[i].n_processors;
    if (total >= CHAIN_MAX_PROCESSORS) {
        chain_fail(chain, line, error, "more than %d processors", CHAIN_MAX_PROCESSORS);
        return NULL;
    }
    ChainProcessor *processor = text_grow(&bus->processors, &bus->n_processors, sizeof *processor);
    *processor = (ChainProcessor){.name = text_copy(name), .key.bus = -1, .line = line};
    return processor;
}

/* ---- statements ---- */

static bool good_name(const char *name) {
    for (const char *c = name; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != '-' && *c != '_')
            return false;
    return *name && strcmp(name, "none") != 0;
}

static ChainBus *add_bus(Chain *chain, const char *name, int line) {
    ChainBus *bus = text_grow(&chain->busses, &chain->n_busses, sizeof *bus);
    *bus = (ChainBus){.name = text_copy(name), .to = -1, .line = line};
    return bus;
}

static bool take_bus(Chain *chain, char **word, size_t count, int line, HostError *error) {
    if (count < 2 || count > 3 ||
        (count == 3 && strcmp(word[2], "mono") != 0 && strcmp(word[2], "stereo") != 0))
        return chain_fail(chain, line, error,
                          "write: bus NAME, or bus NAME mono, or bus NAME stereo");
    if (!good_name(word[1]))
        return chain_fail(chain, line, error,
                          "'%s' cannot name a bus; allowed are letters, digits, - and _, but not "
                          "'none'",
                          word[1]);
    int before = chain_find(chain, word[1]);
    if (before >= 0)
        return chain_fail(chain, line, error, "bus %s is there already, from line %d", word[1],
                          chain->busses[before].line);
    if (chain->n_busses >= CHAIN_MAX_BUSSES - 1) /* room for the mix */
        return chain_fail(chain, line, error, "more than %d busses", CHAIN_MAX_BUSSES);
    ChainBus *bus = add_bus(chain, word[1], line);
    if (count == 3)
        bus->channels = strcmp(word[2], "mono") == 0 ? 1 : 2;
    return true;
}

/* A number of words[at], perhaps followed by the word "dB". */
static bool take_number(const Chain *chain, char **word, size_t count, size_t at, double limit,
                        const char *unit, double *value, int line, HostError *error) {
    bool fits = count == at + 1 || (count == at + 2 && strcmp(word[at + 1], unit) == 0);
    if (!fits || !text_number(word[at], value) || fabs(*value) > limit)
        return chain_fail(chain, line, error, "%s needs one number, %g to %g%s%s", word[0], -limit,
                          limit, *unit ? " " : "", unit);
    return true;
}

/* fader or pan: a number, or a lane. */
static bool take_position(const Chain *chain, char **word, size_t count, double limit,
                          const char *unit, double *value, ChainMove *move, int line,
                          HostError *error) {
    free(move->name);
    move->name = NULL;
    if (count != 2 || *word[1] != '@')
        return take_number(chain, word, count, 1, limit, unit, value, line, error);
    return moves_name(chain, move, word[1], line, error);
}

static bool take_from(const Chain *chain, ChainBus *bus, char **word, size_t count, int line,
                      HostError *error) {
    if (count < 2)
        return chain_fail(chain, line, error, "write: from BUS, or from BUS DB");
    ChainSend send = {.from = {.bus = -1}, .line = line};
    if (count > 2 &&
        !take_number(chain, word, count, 2, CHAIN_MAX_FADER_DB, "dB", &send.gain_db, line, error))
        return false;
    send.from.name = text_copy(word[1]);
    *(ChainSend *)text_grow(&bus->sends, &bus->n_sends, sizeof send) = send;
    return true;
}

static bool take_to(const Chain *chain, ChainBus *bus, char **word, size_t count, int line,
                    HostError *error) {
    if (count != 2)
        return chain_fail(chain, line, error, "write: to BUS, or to none");
    if (bus->to_name)
        return chain_fail(chain, line, error, "bus %s goes to %s already", bus->name, bus->to_name);
    bus->to_name = text_copy(word[1]);
    return true;
}

static bool take_processor(const Chain *chain, ChainBus *bus, char **word, size_t count, int line,
                           HostError *error) {
    if (is_setting(word[0]))
        return chain_fail(chain, line, error,
                          "'%s' stands alone; settings follow their processor on its line",
                          word[0]);
    ChainProcessor *processor = add_processor(chain, bus, word[0], line, error);
    if (!processor)
        return false;
    for (size_t i = 1; i < count; i++) {
        if (!is_setting(word[i]))
            return chain_fail(chain, line, error,
                              "'%s' is not CONTROL=VALUE; each processor has a line of its own",
                              word[i]);
        if (!add_setting(chain, processor, word[i], line, error))
            return false;
    }
    return true;
}

static bool take_statement(Chain *chain, char **word, size_t count, int line, HostError *error) {
    if (strcmp(word[0], "bus") == 0) {
        chain->in_lane = false;
        return take_bus(chain, word, count, line, error);
    }
    if (strcmp(word[0], "lane") == 0)
        return moves_take_lane(chain, word, count, line, error);
    if (lane_is_line(word[0]))
        return moves_take_point(chain, word, count, line, error);
    chain->in_lane = false;
    if (chain->n_busses == 0)
        return chain_fail(chain, line, error,
                          "'%s' before any bus; begin with a line such as: bus lead", word[0]);
    ChainBus *bus = &chain->busses[chain->n_busses - 1];
    if (strcmp(word[0], "from") == 0)
        return take_from(chain, bus, word, count, line, error);
    if (strcmp(word[0], "to") == 0)
        return take_to(chain, bus, word, count, line, error);
    if (strcmp(word[0], "fader") == 0)
        return take_position(chain, word, count, CHAIN_MAX_FADER_DB, "dB", &bus->fader_db,
                             &bus->fader_move, line, error);
    if (strcmp(word[0], "pan") == 0) {
        bus->panned = true;
        return take_position(chain, word, count, CHAIN_MAX_PAN, "", &bus->pan, &bus->pan_move, line,
                             error);
    }
    return take_processor(chain, bus, word, count, line, error);
}

/* ---- lines ---- */

/* Cuts a line into words in place. -1: a quote is not closed; -2: too many words. */
static int split(char *line, char **word) {
    int count = 0;
    for (char *from = line;;) {
        from += strspn(from, " \t\r\n");
        if (!*from || *from == '#')
            return count;
        if (count == MAX_WORDS)
            return -2;
        char *to = from;
        word[count++] = from;
        bool quoted = false;
        for (; *from && (quoted || !strchr(" \t\r\n", *from)); from++) {
            if (*from == '"')
                quoted = !quoted;
            else
                *to++ = *from;
        }
        if (quoted)
            return -1;
        if (*from)
            from++;
        *to = '\0';
    }
}

static bool take_line(Chain *chain, char *text, int line, HostError *error) {
    char *word[MAX_WORDS];
    int count = split(text, word);
    if (count == -1)
        return chain_fail(chain, line, error, "a quote \" is not closed");
    if (count == -2)
        return chain_fail(chain, line, error, "more than %d words", MAX_WORDS);
    return count == 0 || take_statement(chain, word, (size_t)count, line, error);
}

static bool take_lines(Chain *chain, size_t size, HostError *error) {
    char *copy = text_copy(chain->text);                               /* cut into words in place */
    char *at = copy + (strncmp(copy, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0); /* an editor's mark */
    bool fine = true;
    for (int line = 1; fine && *at; line++) {
        size_t length = strcspn(at, "\n");
        bool is_text = length <= MAX_LINE && (at[length] || at + length == copy + size);
        char *next = at + length + (at[length] == '\n');
        at[length] = '\0';
        fine = is_text ? take_line(chain, at, line, error)
                       : chain_fail(chain, line, error, "this is not a line of text");
        at = next;
    }
    free(copy);
    return fine;
}

/* ---- names to numbers ---- */

static bool unknown_bus(const Chain *chain, const char *name, int line, HostError *error) {
    char known[512] = "";
    const char *names[CHAIN_MAX_BUSSES];
    for (size_t i = 0; i < chain->n_busses; i++) {
        names[i] = chain->busses[i].name;
        text_add(known, sizeof known, "%s%s", i ? ", " : "", names[i]);
    }
    const char *nearest = text_nearest(name, names, chain->n_busses);
    if (nearest)
        return chain_fail(chain, line, error,
                          "there is no bus '%s'; did you mean '%s'? The busses: %s", name, nearest,
                          known);
    return chain_fail(chain, line, error, "there is no bus '%s'; the busses: %s", name, known);
}

static bool resolve_tap(const Chain *chain, ChainTap *tap, int line, HostError *error) {
    size_t length = strlen(tap->name);
    tap->before = length > 3 && strcmp(tap->name + length - 3, ".in") == 0;
    char *bus = text_print("%.*s", (int)(tap->before ? length - 3 : length), tap->name);
    tap->bus = chain_find(chain, bus);
    bool fine = tap->bus >= 0 || unknown_bus(chain, bus, line, error);
    free(bus);
    return fine;
}

static bool resolve_bus(Chain *chain, ChainBus *bus, HostError *error) {
    bool is_mix = bus == &chain->busses[chain->mix];
    for (size_t i = 0; i < bus->n_sends; i++)
        if (!resolve_tap(chain, &bus->sends[i].from, bus->sends[i].line, error))
            return false;
    for (size_t i = 0; i < bus->n_processors; i++) {
        ChainProcessor *processor = &bus->processors[i];
        if (processor->key.name && strcmp(processor->key.name, "none") != 0 &&
            !resolve_tap(chain, &processor->key, processor->line, error))
            return false;
    }
    if (is_mix && (bus->to_name || bus->panned))
        return chain_fail(chain, bus->line, error, "the mix has no %s: it is what is written",
                          bus->to_name ? "'to'" : "pan");
    bus->to = is_mix ? -1 : chain->mix;
    if (bus->to_name && strcmp(bus->to_name, "none") == 0)
        bus->to = -1;
    else if (bus->to_name && (bus->to = chain_find(chain, bus->to_name)) < 0)
        return unknown_bus(chain, bus->to_name, bus->line, error);
    return true;
}

static bool feeds_heard(const Chain *chain, size_t bus, const bool *heard) {
    int to = chain->busses[bus].to;
    if (to >= 0 && heard[to])
        return true;
    for (size_t other = 0; other < chain->n_busses; other++)
        for (size_t s = 0; heard[other] && s < chain->busses[other].n_sends; s++)
            if (chain->busses[other].sends[s].from.bus == (int)bus)
                return true;
    return false;
}

void chain_heard(const Chain *chain, bool heard[CHAIN_MAX_BUSSES]) {
    memset(heard, 0, CHAIN_MAX_BUSSES * sizeof *heard);
    heard[chain->mix] = true;
    for (bool more = true; more;) {
        more = false;
        for (size_t i = 0; i < chain->n_busses; i++)
            if (!heard[i] && feeds_heard(chain, i, heard))
                heard[i] = more = true;
    }
}

static bool check_heard(const Chain *chain, HostError *error) {
    bool heard[CHAIN_MAX_BUSSES];
    chain_heard(chain, heard);
    for (size_t i = 0; i < chain->n_busses; i++)
        if (heard[i] && chain->busses[i].wants_file)
            return true;
    return chain_fail(chain, chain->busses[chain->take].line, error,
                      "nothing reaches the mix, so nothing would be written; let bus %s go there: "
                      "take out its 'to', or send it on",
                      chain->busses[chain->take].name);
}

static bool resolve(Chain *chain, HostError *error) {
    if (chain_find(chain, "mix") < 0)
        add_bus(chain, "mix", 0);
    chain->mix = chain_find(chain, "mix");
    chain->take = -1;
    for (size_t i = 0; i < chain->n_busses; i++)
        if (!resolve_bus(chain, &chain->busses[i], error))
            return false;
    for (size_t i = 0; i < chain->n_busses; i++) {
        ChainBus *bus = &chain->busses[i];
        bus->wants_file = (int)i != chain->mix && bus->n_sends == 0;
        for (size_t from = 0; from < chain->n_busses; from++)
            if (chain->busses[from].to == (int)i)
                bus->wants_file = false;
        if (bus->wants_file && chain->take < 0)
            chain->take = (int)i;
    }
    if (chain->take < 0)
        return chain_fail(chain, 0, error,
                          "no bus hears the take; that is the first bus without a 'from' line");
    return check_heard(chain, error) && moves_resolve(chain, error);
}

Chain *chain_load(const char *path, HostError *error) {
    size_t size = 0;
    Chain *chain = text_take(1, sizeof *chain);
    chain->path = text_copy(path);
    if (text_file_read(path, "the chain file", &chain->text, &size, error) &&
        take_lines(chain, size, error) && resolve(chain, error))
        return chain;
    chain_free(chain);
    return NULL;
}

/* ---- the command line ---- */

/* key=FILE on the command line: a bus that the file feeds, and that is only listened to. */
static bool make_key_busses(Chain *chain, HostError *error) {
    for (size_t i = 0; i < chain->busses[0].n_processors; i++) {
        ChainTap *key = &chain->busses[0].processors[i].key;
        if (!key->name || strcmp(key->name, "none") == 0)
            continue;
        size_t b = 1;
        while (b < chain->n_busses && strcmp(chain->busses[b].file, key->name) != 0)
            b++;
        if (b == chain->n_busses) {
            if (chain->n_busses >= CHAIN_MAX_BUSSES - 1)
                return host_fail(error, "more than %d keys", CHAIN_MAX_BUSSES - 2);
            char *name = text_print("key-%zu", b);
            ChainBus *bus = add_bus(chain, name, 0);
            bus->file = key->name;
            bus->to_name = text_copy("none");
            key->name = name;
        } else {
            free(key->name);
            key->name = text_copy(chain->busses[b].name);
        }
    }
    return true;
}

static bool take_words(Chain *chain, char *const *words, size_t count, HostError *error) {
    ChainProcessor *processor = NULL;
    add_bus(chain, "take", 0);
    for (size_t i = 0; i < count; i++) {
        if (!is_setting(words[i])) {
            processor = add_processor(chain, &chain->busses[0], words[i], 0, error);
            if (!processor)
                return false;
        } else if (!processor) {
            return host_fail(error, "'%s' comes before any processor; settings follow theirs",
                             words[i]);
        } else if (!add_setting(chain, processor, words[i], 0, error)) {
            return false;
        }
    }
    return make_key_busses(chain, error) && resolve(chain, error);
}

Chain *chain_from_words(char *const *words, size_t count, HostError *error) {
    Chain *chain = text_take(1, sizeof *chain);
    if (take_words(chain, words, count, error))
        return chain;
    chain_free(chain);
    return NULL;
}

/* ---- files ---- */

static bool bus_takes_file(const Chain *chain, size_t bus) {
    return chain->busses[bus].wants_file && (int)bus != chain->take;
}

static void list_wanting(const Chain *chain, char *text, size_t size) {
    for (size_t i = 0; i < chain->n_busses; i++)
        if (bus_takes_file(chain, i))
            text_add(text, size, "%s%s=FILE", *text ? ", " : "", chain->busses[i].name);
    if (!*text)
        text_add(text, size, "none");
}

bool chain_feed(Chain *chain, const char *name, const char *file, HostError *error) {
    char wanting[512] = "";
    int bus = chain_find(chain, name);
    list_wanting(chain, wanting, sizeof wanting);
    if (bus < 0)
        return chain_fail(chain, 0, error, "there is no bus '%s' to be fed by %s; allowed: %s",
                          name, file, wanting);
    if (bus == chain->take)
        return chain_fail(chain, 0, error, "bus %s is fed by the take itself; allowed: %s", name,
                          wanting);
    if (!bus_takes_file(chain, (size_t)bus))
        return chain_fail(chain, 0, error, "bus %s is fed by other busses; allowed: %s", name,
                          wanting);
    if (chain->busses[bus].file)
        return chain_fail(chain, 0, error, "bus %s is fed twice", name);
    chain->busses[bus].file = text_copy(file);
    return true;
}

bool chain_check_fed(const Chain *chain, HostError *error) {
    for (size_t i = 0; i < chain->n_busses; i++)
        if (bus_takes_file(chain, i) && !chain->busses[i].file)
            return chain_fail(chain, chain->busses[i].line, error,
                              "bus %s needs a file; name it when rendering: %s=FILE",
                              chain->busses[i].name, chain->busses[i].name);
    return true;
}
