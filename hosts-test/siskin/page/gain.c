/* SPDX-License-Identifier: ISC */
#include "siskin/page/gain.h"

#include "siskin/text.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a column of the file is for. */
typedef struct {
    long curve; /* -1: none */
    float sign;
} Use;

typedef struct {
    Use *uses;
    size_t n_uses, room;
} Columns;

/* ---- the head ---- */

/* The next field of a line, its quotes undone in place; NULL at the end. */
static char *next_field(char **line) {
    char *from = *line;
    char *to = from;
    char *field = from;
    bool quoted = from && *from == '"';
    if (!from)
        return NULL;
    for (from += quoted; *from && (quoted || *from != ','); from++) {
        if (quoted && *from == '"' && *++from != '"')
            break;
        *to++ = *from;
    }
    *line = *from == ',' ? from + 1 : NULL;
    *to = '\0';
    return field;
}

static GainCurve *curve_of(Gains *gains, const char *label) {
    if (gains->n_curves && strcmp(gains->curves[gains->n_curves - 1].label, label) == 0)
        return &gains->curves[gains->n_curves - 1];
    GainCurve *curve = text_grow(&gains->curves, &gains->n_curves, sizeof *gains->curves);
    curve->label = text_copy(label);
    return curve;
}

/* A processor's columns stand together, its reduction before its own meters. */
static void read_name(Gains *gains, Columns *columns, char *name) {
    Use *use = text_grow(&columns->uses, &columns->n_uses, sizeof *columns->uses);
    char *dot = strrchr(name, '.');
    *use = (Use){.curve = -1};
    if (!dot)
        return;
    *dot = '\0';
    if (strcmp(dot + 1, "reduction") == 0) {
        *use = (Use){.curve = curve_of(gains, name) - gains->curves, .sign = -1.0f};
    } else if (strcmp(dot + 1, "gain") == 0 && gains->n_curves &&
               strcmp(gains->curves[gains->n_curves - 1].label, name) == 0) {
        long curve = (long)gains->n_curves - 1;
        for (size_t i = 0; i + 1 < columns->n_uses; i++)
            if (columns->uses[i].curve == curve)
                columns->uses[i].curve = -1;
        *use = (Use){.curve = curve, .sign = 1.0f};
    }
}

static void read_head(Gains *gains, Columns *columns, char *line) {
    line[strcspn(line, "\n")] = '\0';
    char *name = next_field(&line); /* the time */
    while (name && (name = next_field(&line)))
        read_name(gains, columns, name);
}

/* ---- the rows ---- */

static void make_room(Gains *gains, Columns *columns) {
    if (gains->rows < columns->room)
        return;
    columns->room = columns->room ? 2 * columns->room : 4096;
    for (size_t i = 0; i < gains->n_curves; i++) {
        float *more = text_take(columns->room, sizeof *more);
        if (gains->rows)
            memcpy(more, gains->curves[i].db, gains->rows * sizeof *more);
        free(gains->curves[i].db);
        gains->curves[i].db = more;
    }
}

static void read_row(Gains *gains, Columns *columns, char *line) {
    char *at = strchr(line, ',');
    make_room(gains, columns);
    for (size_t i = 0; i < columns->n_uses && at; i++) {
        char *end = NULL;
        float value = strtof(at + 1, &end);
        const Use *use = &columns->uses[i];
        if (use->curve >= 0)
            gains->curves[use->curve].db[gains->rows] =
                end == at + 1 ? NAN : use->sign * value + 0.0f;
        at = strchr(at + 1, ',');
    }
    gains->rows++;
}

bool gains_read(Gains *gains, const char *path, double step_s, HostError *error) {
    Columns columns = {0};
    char *line = NULL;
    size_t size = 0;
    *gains = (Gains){.step_s = step_s};
    FILE *file = fopen(path, "r");
    if (!file)
        return host_fail(error, "cannot read %s: %s", path, strerror(errno));
    if (getline(&line, &size, file) > 0)
        read_head(gains, &columns, line);
    while (getline(&line, &size, file) > 0)
        read_row(gains, &columns, line);
    bool fine = !ferror(file) || host_fail(error, "cannot read %s: %s", path, strerror(errno));
    fclose(file);
    free(line);
    free(columns.uses);
    return fine;
}

void gains_add_lane(Gains *gains, const char *label, const Lane *lane, double length_s) {
    if (gains->rows == 0)
        gains->rows = (size_t)ceil(length_s / gains->step_s) + 1;
    GainCurve *curve = text_grow(&gains->curves, &gains->n_curves, sizeof *gains->curves);
    *curve = (GainCurve){.label = text_copy(label), .db = text_take(gains->rows, sizeof(float))};
    for (size_t row = 0; row < gains->rows; row++)
        curve->db[row] = (float)lane_value(lane, (double)row * gains->step_s);
}

void gains_free(Gains *gains) {
    for (size_t i = 0; i < gains->n_curves; i++) {
        free(gains->curves[i].label);
        free(gains->curves[i].db);
    }
    free(gains->curves);
    *gains = (Gains){0};
}

/* ---- asking ---- */

static size_t row_at(const Gains *gains, double s) {
    double row = s / gains->step_s;
    return row <= 0.0 ? 0 : row >= (double)gains->rows ? gains->rows : (size_t)row;
}

double gains_most_cut(const Gains *gains, const GainCurve *curve, double from_s, double to_s) {
    double most = 0.0;
    size_t end = row_at(gains, to_s) + 1;
    for (size_t row = row_at(gains, from_s); row < end && row < gains->rows; row++)
        most = fmax(most, -(double)curve->db[row]); /* fmax passes over NaN */
    return most;
}

void gains_fold(const Gains *gains, const GainCurve *curve, float *db, size_t columns) {
    memset(db, 0, columns * sizeof *db);
    for (size_t row = 0; row < gains->rows; row++) {
        float *to = &db[row * columns / gains->rows];
        if (fabsf(curve->db[row]) > fabsf(*to)) /* not for NaN */
            *to = curve->db[row];
    }
}

static bool is_called(const char *label, const char *name) {
    const char *colon = strstr(label, ": ");
    const char *own = colon ? colon + 2 : label;
    size_t length = strlen(name);
    return strncmp(own, name, length) == 0 && (own[length] == '\0' || own[length] == ' ');
}

const GainCurve *gains_of(const Gains *gains, const char *name) {
    for (size_t i = 0; i < gains->n_curves; i++)
        if (is_called(gains->curves[i].label, name))
            return &gains->curves[i];
    return NULL;
}
