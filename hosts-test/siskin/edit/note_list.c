/* SPDX-License-Identifier: ISC */
#include "siskin/edit/note_list.h"

#include "siskin/edit/lines.h"
#include "siskin/measure/pitch_name.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

const char *const note_lane_controls[NOTE_LANES] = {"target", "strength", "vibrato"};

/* ---- reading ---- */

static bool read_times(const NoteList *list, char *const *word, NoteLine *line, HostError *error) {
    double *const time[] = {&line->from_s, &line->to_s};
    for (size_t i = 0; i < 2; i++)
        if (!lane_time(word[i], time[i]))
            return host_fail(error, "'%s' is no time; write seconds (83.25) or minutes (1:23.25)",
                             word[i]);
    if (!(line->to_s > line->from_s))
        return host_fail(error, "a note must end after it begins, and %.10g is not after %.10g",
                         line->to_s, line->from_s);
    double before = list->n > 0 ? list->lines[list->n - 1].to_s : 0.0;
    return line->from_s >= before ||
           host_fail(error, "it begins at %.10g, before the last one ends at %.10g", line->from_s,
                     before);
}

static bool read_number(const char *what, const char *word, double least, double most,
                        double *value, HostError *error) {
    if (text_number(word, value) && *value >= least && *value <= most)
        return true;
    return host_fail(error, "%s '%s': allowed are %g to %g", what, word, least, most);
}

static bool take_line(void *user, char *const *word, size_t count, HostError *error) {
    NoteList *list = user;
    NoteLine line = {.vibrato_percent = 100.0, .strength_percent = 100.0};
    if (count < 3 || count > 6)
        return host_fail(error, "write: FROM TO NOTE, then if you like DRIFT VIBRATO STRENGTH");
    if (!read_times(list, word, &line, error))
        return false;
    if (!pitch_name_read(word[2], &line.midi))
        return host_fail(error, "'%s' is no note; write F#4, Gb4, E4-12 (cents), or 63.9 (MIDI)",
                         word[2]);
    if ((count > 3 &&
         !read_number("a drift of", word[3], -200.0, 200.0, &line.drift_cents, error)) ||
        (count > 4 &&
         !read_number("a vibrato of", word[4], 0.0, 200.0, &line.vibrato_percent, error)) ||
        (count > 5 &&
         !read_number("a strength of", word[5], 0.0, 100.0, &line.strength_percent, error)))
        return false;
    *(NoteLine *)text_grow(&list->lines, &list->n, sizeof(NoteLine)) = line;
    return true;
}

bool note_list_load(NoteList *list, const char *path, HostError *error) {
    *list = (NoteList){.path = text_copy(path)};
    bool fine = lines_read(path, "the notes", take_line, list, error);
    if (fine && list->n == 0)
        fine = host_fail(error, "%s has no line such as: 0.512 1.034 E4", path);
    if (!fine)
        note_list_free(list);
    return fine;
}

void note_list_free(NoteList *list) {
    free(list->path);
    free(list->lines);
    *list = (NoteList){0};
}

/* ---- to lanes ---- */

/* Half a joint, where a note has room for it. */
static double half_joint(const NoteLine *line) {
    return fmin(0.5 * NOTE_LIST_JOINT_S, (line->to_s - line->from_s) / 3.0);
}

static bool touches(const NoteLine *before, const NoteLine *after) {
    return before && after && after->from_s - before->to_s < NOTE_LIST_JOINT_S;
}

static void point(Lane *lane, double at_s, double value) {
    if (lane->n > 0)
        at_s = fmax(at_s, lane->points[lane->n - 1].at_s);
    *(LanePoint *)text_grow(&lane->points, &lane->n, sizeof(LanePoint)) = (LanePoint){at_s, value};
}

static double target_at(const NoteLine *line, double at_s) {
    double middle = 0.5 * (line->from_s + line->to_s);
    return line->midi + 0.01 * line->drift_cents * (at_s - middle) / (line->to_s - line->from_s);
}

/* The note between its joints, and the strength down to nothing beside a rest. */
static void add_note(Lane lanes[NOTE_LANES], const NoteLine *before, const NoteLine *line,
                     const NoteLine *after) {
    bool joined = touches(before, line), joins = touches(line, after);
    double from = line->from_s + (joined ? half_joint(line) : 0.0);
    double to = line->to_s - (joins ? half_joint(line) : 0.0);
    if (!joined)
        point(&lanes[NOTE_LANE_STRENGTH], fmax(from - NOTE_LIST_JOINT_S, 0.0), 0.0);
    for (size_t end = 0; end < 2; end++) {
        double at = end ? to : from;
        point(&lanes[NOTE_LANE_TARGET], at, target_at(line, at));
        point(&lanes[NOTE_LANE_STRENGTH], at, line->strength_percent);
        point(&lanes[NOTE_LANE_VIBRATO], at, line->vibrato_percent);
    }
    if (!joins) {
        point(&lanes[NOTE_LANE_STRENGTH], to + NOTE_LIST_JOINT_S, 0.0);
        /* What follows keeps its own vibrato. */
        point(&lanes[NOTE_LANE_VIBRATO], to + NOTE_LIST_JOINT_S, 100.0);
    }
}

void note_list_lanes(const NoteList *list, Lane lanes[NOTE_LANES]) {
    for (size_t i = 0; i < NOTE_LANES; i++)
        lanes[i] =
            (Lane){.name = text_print("%s %s", list->path, note_lane_controls[i]), .line = true};
    for (size_t i = 0; i < list->n; i++) {
        const NoteLine *before = i > 0 ? &list->lines[i - 1] : NULL;
        const NoteLine *after = i + 1 < list->n ? &list->lines[i + 1] : NULL;
        if (!touches(before, &list->lines[i])) {
            double at = fmax(list->lines[i].from_s - NOTE_LIST_JOINT_S, 0.0);
            point(&lanes[NOTE_LANE_VIBRATO], at, 100.0);
        }
        add_note(lanes, before, &list->lines[i], after);
    }
}
