/* SPDX-License-Identifier: ISC */
#include "siskin/edit/lane.h"

#include "siskin/edit/lines.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double LONGEST_S = 1e6; /* 11 days */

/* ---- reading ---- */

bool lane_time(const char *word, double *seconds) {
    double minutes = 0.0;
    const char *colon = strchr(word, ':');
    if (colon) {
        char *before = text_print("%.*s", (int)(colon - word), word);
        bool fine = text_number(before, &minutes) && minutes == floor(minutes);
        free(before);
        if (!fine)
            return false;
    }
    if (!text_number(colon ? colon + 1 : word, seconds) || *seconds < 0.0 || minutes < 0.0 ||
        (colon && *seconds >= 60.0))
        return false;
    *seconds += 60.0 * minutes;
    return *seconds <= LONGEST_S;
}

bool lane_is_line(const char *first_word) {
    double time;
    return strcmp(first_word, "hold") == 0 || strcmp(first_word, "line") == 0 ||
           lane_time(first_word, &time);
}

static bool add(Lane *lane, double at_s, double value, HostError *error) {
    if (lane->n > 0 && at_s < lane->points[lane->n - 1].at_s)
        return host_fail(error, "the time %.10g comes after %.10g; times must grow", at_s,
                         lane->points[lane->n - 1].at_s);
    *(LanePoint *)text_grow(&lane->points, &lane->n, sizeof(LanePoint)) = (LanePoint){at_s, value};
    return true;
}

bool lane_take_words(Lane *lane, char *const *word, size_t count, HostError *error) {
    double from = 0.0, to = 0.0, value = 0.0;
    if (count == 1 && (strcmp(word[0], "hold") == 0 || strcmp(word[0], "line") == 0)) {
        lane->line = strcmp(word[0], "line") == 0;
        return true;
    }
    if (count != 2 && count != 3)
        return host_fail(error, "write: TIME VALUE, or FROM TO VALUE");
    for (size_t i = 0; i + 1 < count; i++)
        if (!lane_time(word[i], i == 0 ? &from : &to))
            return host_fail(error, "'%s' is no time; write seconds (83.25) or minutes (1:23.25)",
                             word[i]);
    if (!text_number(word[count - 1], &value))
        return host_fail(error, "'%s' is no number", word[count - 1]);
    if (count == 2)
        return add(lane, from, value, error);
    if (!(to > from))
        return host_fail(error, "a stretch must end after it begins, and %.10g is not after %.10g",
                         to, from);
    return add(lane, from, value, error) && add(lane, to, value, error);
}

static bool take_line(void *lane, char *const *word, size_t count, HostError *error) {
    return lane_take_words(lane, word, count, error);
}

bool lane_load(Lane *lane, const char *path, HostError *error) {
    *lane = (Lane){.name = text_copy(path)};
    bool fine = lines_read(path, "the lane", take_line, lane, error);
    if (fine && lane->n == 0)
        fine = host_fail(error, "%s has no line such as: 12.5 -3", path);
    if (!fine)
        lane_free(lane);
    return fine;
}

void lane_free(Lane *lane) {
    free(lane->name);
    free(lane->points);
    *lane = (Lane){0};
}

/* ---- asking ---- */

static double between(const Lane *lane, const LanePoint *a, const LanePoint *b, double part) {
    return lane->line ? a->value + part * (b->value - a->value) : a->value;
}

double lane_value(const Lane *lane, double at_s) {
    size_t next = 0;
    while (next < lane->n && lane->points[next].at_s <= at_s)
        next++;
    if (next == 0)
        return lane->points[0].value;
    const LanePoint *a = &lane->points[next - 1], *b = &lane->points[next];
    if (next == lane->n)
        return a->value;
    return between(lane, a, b, (at_s - a->at_s) / (b->at_s - a->at_s));
}

void lane_range(const Lane *lane, double *least, double *greatest) {
    *least = INFINITY;
    *greatest = -INFINITY;
    for (size_t i = 0; i < lane->n; i++) {
        *least = fmin(*least, lane->points[i].value);
        *greatest = fmax(*greatest, lane->points[i].value);
    }
}

/* ---- frame by frame ---- */

void lane_begin(LaneCursor *cursor, const Lane *lane, double rate_hz) {
    *cursor = (LaneCursor){.lane = lane, .rate_hz = rate_hz};
}

static int64_t frame_of(const LaneCursor *cursor, size_t point) {
    return (int64_t)llround(cursor->lane->points[point].at_s * cursor->rate_hz);
}

static void seek(LaneCursor *cursor, int64_t frame) {
    if (cursor->next > 0 && frame_of(cursor, cursor->next - 1) > frame)
        cursor->next = 0;
    while (cursor->next < cursor->lane->n && frame_of(cursor, cursor->next) <= frame)
        cursor->next++;
}

double lane_at(LaneCursor *cursor, int64_t frame) {
    const Lane *lane = cursor->lane;
    seek(cursor, frame);
    if (cursor->next == 0)
        return lane->points[0].value;
    const LanePoint *a = &lane->points[cursor->next - 1], *b = &lane->points[cursor->next];
    if (cursor->next == lane->n)
        return a->value;
    int64_t from = frame_of(cursor, cursor->next - 1), to = frame_of(cursor, cursor->next);
    return between(lane, a, b, (double)(frame - from) / (double)(to - from));
}

int64_t lane_piece(LaneCursor *cursor, int64_t frame, int64_t most_moving, double *from,
                   double *to) {
    const Lane *lane = cursor->lane;
    *from = *to = lane_at(cursor, frame);
    if (cursor->next == lane->n)
        return INT64_MAX;
    int64_t end = frame_of(cursor, cursor->next), left = end - frame;
    const LanePoint *b = &lane->points[cursor->next];
    if (cursor->next == 0 || !lane->line || b[-1].value == b->value)
        return left;
    int64_t begin = frame_of(cursor, cursor->next - 1);
    left = left < most_moving ? left : most_moving;
    *to = between(lane, b - 1, b, (double)(frame + left - begin) / (double)(end - begin));
    return left;
}
