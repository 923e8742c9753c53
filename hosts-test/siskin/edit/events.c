/* SPDX-License-Identifier: ISC */
#include "siskin/edit/events.h"

#include "siskin/safe.h"
#include "siskin/text.h"
#include "siskin/text_file.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

/* ---- reading ---- */

typedef enum { TAKE, KIND, START, END, DO, COLUMNS } Column;

static const char *const COLUMN[COLUMNS] = {"take", "kind", "start_s", "end_s", "do"};

enum { MOST_CELLS = 32 };

/* Cuts a line into cells (RFC 4180), in place; 0: a quote has no end, or there are too many. */
static size_t split(char *line, char **cell) {
    size_t n = 0;
    for (char *from = line;; from++) {
        char *to = from;
        bool quoted = *from == '"';
        if (n == MOST_CELLS)
            return 0;
        cell[n++] = to;
        for (from += quoted; *from && (quoted || *from != ','); from++) {
            if (quoted && *from == '"' && *++from != '"') {
                quoted = false;
                from--;
                continue;
            }
            *to++ = *from;
        }
        if (quoted)
            return 0;
        bool last = *from == '\0';
        *to = '\0';
        if (last)
            return n;
    }
}

/* Where each column is. */
static bool read_head(char **cell, size_t n, size_t place[COLUMNS], HostError *error) {
    for (size_t c = 0; c < COLUMNS; c++) {
        place[c] = SIZE_MAX;
        for (size_t i = 0; i < n; i++)
            if (strcasecmp(cell[i], COLUMN[c]) == 0)
                place[c] = i;
        if (place[c] == SIZE_MAX && c != TAKE)
            return host_fail(error,
                             "the first line names no column '%s'; siskin measure --events "
                             "prints a list with all that are needed",
                             COLUMN[c]);
    }
    return true;
}

static bool read_line(char **cell, size_t n, const size_t place[COLUMNS], EventLine *line,
                      HostError *error) {
    for (size_t c = 0; c < COLUMNS; c++)
        if (place[c] >= n && c != TAKE)
            return host_fail(error, "nothing stands in the column '%s'", COLUMN[c]);
    const char *what = cell[place[DO]];
    *line = (EventLine){.leave = strcasecmp(what, "leave") == 0};
    if (!line->leave && strcasecmp(what, "treat") != 0)
        return host_fail(error, "'%s' is neither treat nor leave", what);
    if (!lane_time(cell[place[START]], &line->start_s))
        return host_fail(error, "'%s' is no time", cell[place[START]]);
    if (!lane_time(cell[place[END]], &line->end_s) || line->end_s < line->start_s)
        return host_fail(error, "'%s' is no time after %s", cell[place[END]], cell[place[START]]);
    line->kind = text_copy(cell[place[KIND]]);
    line->take = text_copy(place[TAKE] < n ? cell[place[TAKE]] : "");
    return true;
}

static bool is_empty(char **cell, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (*cell[i])
            return false;
    return true;
}

/* `text` is cut in place. */
static bool read_lines(Events *events, char *text, HostError *error) {
    size_t place[COLUMNS] = {0};
    bool has_head = false, fine = true;
    for (int number = 1; *text && fine; number++) {
        HostError why = {""};
        EventLine line;
        char *cell[MOST_CELLS];
        size_t length = strcspn(text, "\n");
        char *next = text + length + (text[length] == '\n');
        text[length] = '\0';
        if (length > 0 && text[length - 1] == '\r')
            text[length - 1] = '\0';
        size_t n = split(text, cell);
        text = next;
        if (n > 0 && is_empty(cell, n))
            continue;
        if (n == 0)
            fine = host_fail(&why, "a quote does not end, or there are over %d cells", MOST_CELLS);
        else if (!has_head)
            fine = has_head = read_head(cell, n, place, &why);
        else if ((fine = read_line(cell, n, place, &line, &why)))
            *(EventLine *)text_grow(&events->lines, &events->n, sizeof line) = line;
        if (!fine)
            host_fail(error, "%s, line %d: %s", events->path, number, why.text);
    }
    return fine && (has_head || host_fail(error, "%s is empty", events->path));
}

static int by_start(const void *a, const void *b) {
    double x = ((const EventLine *)a)->start_s, y = ((const EventLine *)b)->start_s;
    return (x > y) - (x < y);
}

bool events_load(Events *events, const char *path, HostError *error) {
    static const char byte_order_mark[] = "\xEF\xBB\xBF"; /* some spreadsheets begin with it */
    char *text = NULL;
    size_t size = 0;
    *events = (Events){.path = text_copy(path)};
    bool fine = text_file_read(path, "the list of events", &text, &size, error);
    if (fine && strlen(text) != size)
        fine = host_fail(error, "%s is no text", path);
    bool marked = fine && strncmp(text, byte_order_mark, strlen(byte_order_mark)) == 0;
    if (fine)
        fine = read_lines(events, marked ? text + strlen(byte_order_mark) : text, error);
    free(text);
    if (fine && events->n)
        qsort(events->lines, events->n, sizeof *events->lines, by_start);
    if (!fine)
        events_free(events);
    return fine;
}

void events_free(Events *events) {
    for (size_t i = 0; i < events->n; i++) {
        free(events->lines[i].take);
        free(events->lines[i].kind);
    }
    free(events->lines);
    free(events->path);
    *events = (Events){0};
}

/* ---- whose they are ---- */

/* A path as it stands in a list, where text_csv has put it. */
static char *as_cell(const char *path) {
    char *text = NULL, *cell[MOST_CELLS];
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    if (file)
        text_csv(file, path);
    if (!file || fclose(file) != 0)
        return text_copy(path);
    split(text, cell);
    return text;
}

/* By its path, by the file, or, when the list was made elsewhere, by its name. */
static bool is_of(const EventLine *line, const char *take, const char *cell) {
    if (!*line->take || strcmp(line->take, cell) == 0 || safe_same_file(line->take, take))
        return true;
    return access(line->take, F_OK) != 0 && strcmp(text_base(line->take), text_base(cell)) == 0;
}

/* The lines of a take, in order; the caller frees the array. */
static const EventLine **lines_of(const Events *events, const char *take, size_t *count) {
    char *cell = as_cell(take);
    const EventLine **lines = text_take(events->n, sizeof(const EventLine *));
    *count = 0;
    for (size_t i = 0; i < events->n; i++)
        if (is_of(&events->lines[i], take, cell))
            lines[(*count)++] = &events->lines[i];
    free(cell);
    return lines;
}

uint64_t events_hash(uint64_t hash, const Events *events, const char *take) {
    size_t count = 0;
    const EventLine **lines = lines_of(events, take, &count);
    for (size_t i = 0; i < count; i++) {
        const double numbers[] = {lines[i]->start_s, lines[i]->end_s, lines[i]->leave};
        hash = text_hash(hash, lines[i]->kind, strlen(lines[i]->kind) + 1);
        hash = text_hash(hash, numbers, sizeof numbers);
    }
    free(lines);
    return hash;
}

/* ---- as a lane ---- */

/* How far from a sound a processor still turns its gain for it, at its slowest settings but for
 * de-esser's release, which a vowel cuts short. */
static const struct {
    const char *processor, *kind, *control;
    double reach_s;
} TREATS[] = {
    {"breath-ducker", "breath", "enabled", 0.1}, {"gap-trimmer", "breath", "enabled", 0.02},
    {"de-esser", "sibilant", "enabled", 0.05},   {"transient-tamer", "click", "enabled", 0.05},
    {"rumble-filter", "thump", "thumps", 0.05},
};

enum { N_TREATS = sizeof TREATS / sizeof *TREATS };

static const double SWITCH_S = 0.02; /* a processor that is switched crossfades over so long */

static bool treats(size_t row, const char *processor, const char *kind) {
    return processor && strcmp(TREATS[row].processor, processor) == 0 &&
           strcasecmp(TREATS[row].kind, kind) == 0;
}

/* Off from *from to *to around line `at`: neighbours that are treated keep half of what lies
 * between. */
static void stretch(const EventLine *const *lines, size_t count, size_t at, double reach_s,
                    double *from, double *to) {
    *from = lines[at]->start_s - reach_s - SWITCH_S;
    *to = lines[at]->end_s + reach_s;
    for (size_t i = 0; i < count; i++) {
        if (lines[i]->leave)
            continue;
        if (lines[i]->end_s <= lines[at]->start_s)
            *from = fmax(*from, 0.5 * (lines[i]->end_s + lines[at]->start_s) - SWITCH_S);
        if (lines[i]->start_s >= lines[at]->end_s)
            *to = fmin(*to, 0.5 * (lines[at]->end_s + lines[i]->start_s));
    }
    *from = fmax(*from, 0.0);
}

static void add(Lane *lane, double at_s, double value) {
    *(LanePoint *)text_grow(&lane->points, &lane->n, sizeof(LanePoint)) = (LanePoint){at_s, value};
}

/* Stretches that overlap become one. */
static void add_stretch(Lane *lane, double from, double to) {
    LanePoint *last = lane->n ? &lane->points[lane->n - 1] : NULL;
    if (!last && from > 0.0)
        add(lane, 0.0, 1.0);
    if (last && last->at_s >= from) {
        last->at_s = fmax(last->at_s, to);
        return;
    }
    add(lane, from, 0.0);
    add(lane, to, 1.0);
}

static void fill(Lane *lane, const EventLine **lines, size_t count, size_t row) {
    size_t n = 0;
    for (size_t i = 0; i < count; i++) /* those of its kind, to the front */
        if (treats(row, TREATS[row].processor, lines[i]->kind))
            lines[n++] = lines[i];
    for (size_t i = 0; i < n; i++) {
        double from, to;
        if (!lines[i]->leave)
            continue;
        stretch(lines, n, i, TREATS[row].reach_s, &from, &to);
        add_stretch(lane, from, to);
    }
}

const char *events_control(const char *processor) {
    for (size_t row = 0; processor && row < N_TREATS; row++)
        if (strcmp(TREATS[row].processor, processor) == 0)
            return TREATS[row].control;
    return NULL;
}

Lane events_lane(const Events *events, const char *take, const char *processor) {
    Lane lane = {0};
    for (size_t row = 0; row < N_TREATS; row++) {
        size_t count = 0;
        if (!processor || strcmp(TREATS[row].processor, processor) != 0)
            continue;
        const EventLine **lines = lines_of(events, take, &count);
        fill(&lane, lines, count, row);
        free(lines);
    }
    return lane;
}

/* ---- what will not happen ---- */

static bool any_treats(const char *const *processors, size_t count, const char *kind) {
    for (size_t i = 0; i < count; i++)
        for (size_t row = 0; row < N_TREATS; row++)
            if (treats(row, processors[i], kind))
                return true;
    return false;
}

void events_note(const Events *events, const char *take, const char *const *processors,
                 size_t count, char *text, size_t size) {
    size_t n = 0, idle = 0;
    const EventLine **lines = lines_of(events, take, &n), *first = NULL;
    for (size_t i = 0; i < n; i++)
        if (lines[i]->leave && !any_treats(processors, count, lines[i]->kind)) {
            first = first ? first : lines[i];
            idle++;
        }
    if (n == 0)
        text_add(text, size, "%s has no line of %s\n", events->path, take);
    if (first)
        text_add(text, size,
                 "%s leaves %zu that no processor here treats, the first a %s at %.4f s\n",
                 events->path, idle, first->kind, first->start_s);
    free(lines);
}
