/* SPDX-License-Identifier: ISC */
#include "siskin/chains/moves.h"

#include "siskin/edit/note_list.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

/* ---- reading ---- */

bool moves_name(const Chain *chain, ChainMove *move, const char *value, int line,
                HostError *error) {
    move->lane = -1;
    if (*value != '@')
        return true;
    if (!value[1])
        return chain_fail(chain, line, error, "after the @ comes the name of a lane");
    move->name = text_copy(value + 1);
    return true;
}

static Lane *find(const Chain *chain, const char *name) {
    for (size_t i = 0; i < chain->n_lanes; i++)
        if (strcmp(chain->lanes[i].name, name) == 0)
            return &chain->lanes[i];
    return NULL;
}

static Lane *add(Chain *chain, int line, HostError *error) {
    if (chain->n_lanes < CHAIN_MAX_LANES)
        return text_grow(&chain->lanes, &chain->n_lanes, sizeof(Lane));
    chain_fail(chain, line, error, "more than %d lanes", CHAIN_MAX_LANES);
    return NULL;
}

bool moves_take_lane(Chain *chain, char **word, size_t count, int line, HostError *error) {
    bool fits = count == 2 ||
                (count == 3 && (strcmp(word[2], "hold") == 0 || strcmp(word[2], "line") == 0));
    if (!fits)
        return chain_fail(chain, line, error,
                          "write: lane NAME, or lane NAME hold, or lane NAME line");
    const Lane *before = find(chain, word[1]);
    if (before)
        return chain_fail(chain, line, error, "lane %s is there already, from line %d", word[1],
                          before->line_number);
    Lane *lane = add(chain, line, error);
    if (!lane)
        return false;
    *lane = (Lane){.name = text_copy(word[1]),
                   .line = count == 3 && strcmp(word[2], "line") == 0,
                   .line_number = line};
    chain->in_lane = true;
    return true;
}

bool moves_take_point(Chain *chain, char **word, size_t count, int line, HostError *error) {
    HostError why;
    if (!chain->in_lane)
        return chain_fail(chain, line, error,
                          "'%s' belongs to a lane; write it below a line such as: lane ride line",
                          word[0]);
    return lane_take_words(&chain->lanes[chain->n_lanes - 1], word, count, &why) ||
           chain_fail(chain, line, error, "%s", why.text);
}

/* ---- names to lanes ---- */

/* A file's name, as seen from the folder of the chain. */
static char *path_of(const Chain *chain, const char *name) {
    const char *slash = chain->path && *name != '/' ? strrchr(chain->path, '/') : NULL;
    return slash ? text_print("%.*s/%s", (int)(slash - chain->path), chain->path, name)
                 : text_copy(name);
}

static Lane *load(Chain *chain, const char *name, int line, HostError *error) {
    HostError why;
    Lane read;
    char *path = path_of(chain, name);
    bool fine = lane_load(&read, path, &why);
    free(path);
    if (!fine) {
        chain_fail(chain, line, error, "there is no lane '%s' in the chain, and %s", name,
                   why.text);
        return NULL;
    }
    Lane *lane = add(chain, line, error);
    if (!lane) {
        lane_free(&read);
        return NULL;
    }
    *lane = read;
    free(lane->name);
    lane->name = text_copy(name);
    return lane;
}

static bool resolve(Chain *chain, ChainMove *move, int line, HostError *error) {
    if (!move->name)
        return true;
    Lane *lane = find(chain, move->name);
    if (!lane && !(lane = load(chain, move->name, line, error)))
        return false;
    if (lane->n == 0)
        return chain_fail(chain, lane->line_number, error, "lane %s has no line such as: 12.5 -3",
                          lane->name);
    move->lane = (int)(lane - chain->lanes);
    return true;
}

static bool resolve_position(Chain *chain, ChainMove *move, double limit, const char *what,
                             const ChainBus *bus, HostError *error) {
    double least, greatest;
    if (!resolve(chain, move, bus->line, error) || !move->name)
        return !move->name;
    lane_range(&chain->lanes[move->lane], &least, &greatest);
    if (least < -limit || greatest > limit)
        return chain_fail(chain, bus->line, error,
                          "lane %s takes the %s of bus %s to %g; %g to %g "
                          "are allowed",
                          move->name, what, bus->name, greatest > limit ? greatest : least, -limit,
                          limit);
    return true;
}

/* ---- lists of notes ---- */

static ChainSetting *setting_of(ChainProcessor *processor, const char *control) {
    for (size_t i = 0; i < processor->n_settings; i++)
        if (strcmp(processor->settings[i].control, control) == 0)
            return &processor->settings[i];
    return NULL;
}

static void set(ChainProcessor *processor, const char *control, const char *value, int lane,
                const char *lane_name) {
    ChainSetting *setting =
        text_grow(&processor->settings, &processor->n_settings, sizeof *setting);
    *setting = (ChainSetting){.control = text_copy(control),
                              .value = text_copy(value),
                              .move = {lane_name ? text_copy(lane_name) : NULL, lane}};
}

static void drop(ChainProcessor *processor, ChainSetting *setting) {
    free(setting->control);
    free(setting->value);
    free(setting->move.name);
    *setting = processor->settings[--processor->n_settings];
}

/* The list says how far each note is drawn; what is left for the processor is to get there soon,
 * and to leave nothing alone of its own. */
static bool add_note_lanes(Chain *chain, ChainProcessor *processor, const NoteList *list,
                           HostError *error) {
    static const char *const alone[][2] = {{"leave", "0"}, {"glide", "20"}};
    Lane lanes[NOTE_LANES];
    note_list_lanes(list, lanes);
    bool fine = true;
    for (size_t i = 0; i < NOTE_LANES; i++) {
        const char *control = note_lane_controls[i];
        if (fine && setting_of(processor, control))
            fine = chain_fail(chain, processor->line, error,
                              "notes= moves the %s already; say one of them", control);
        Lane *lane = fine ? add(chain, processor->line, error) : NULL;
        fine = fine && lane;
        if (!fine) {
            lane_free(&lanes[i]);
            continue;
        }
        *lane = lanes[i];
        set(processor, control, list->path, (int)(lane - chain->lanes), lane->name);
    }
    for (size_t i = 0; i < 2; i++)
        if (!setting_of(processor, alone[i][0]))
            set(processor, alone[i][0], alone[i][1], -1, NULL);
    return fine;
}

/* notes=FILE of the one processor that can do them: lanes of its controls. */
static bool resolve_notes(Chain *chain, ChainProcessor *processor, HostError *error) {
    HostError why;
    NoteList list;
    ChainSetting *notes = strcmp(processor->name, "pitch-corrector") == 0 ||
                                  strncmp(processor->name, "urn:siskin:pitch-corrector#", 27) == 0
                              ? setting_of(processor, "notes")
                              : NULL;
    if (!notes)
        return true;
    char *path = path_of(chain, notes->value);
    bool fine = note_list_load(&list, path, &why);
    free(path);
    if (!fine)
        return chain_fail(chain, processor->line, error, "%s", why.text);
    drop(processor, notes);
    fine = add_note_lanes(chain, processor, &list, error);
    note_list_free(&list);
    return fine;
}

bool moves_resolve(Chain *chain, HostError *error) {
    for (size_t b = 0; b < chain->n_busses; b++) {
        ChainBus *bus = &chain->busses[b];
        if (!resolve_position(chain, &bus->fader_move, CHAIN_MAX_FADER_DB, "fader", bus, error) ||
            !resolve_position(chain, &bus->pan_move, CHAIN_MAX_PAN, "pan", bus, error))
            return false;
        for (size_t i = 0; i < bus->n_processors; i++) {
            if (!resolve_notes(chain, &bus->processors[i], error))
                return false;
            for (size_t k = 0; k < bus->processors[i].n_settings; k++)
                if (!resolve(chain, &bus->processors[i].settings[k].move, bus->processors[i].line,
                             error))
                    return false;
        }
    }
    return true;
}
