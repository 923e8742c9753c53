/* SPDX-License-Identifier: ISC */
#include "siskin/edit/shifts.h"

#include <math.h>

static const double MOST_MS = 10000.0;
static const double NEAR_S = 0.3, STRETCHED_S = 0.25;

typedef struct {
    TimeMap *map;
    const Lane *lane;
    const Hearing *take;
    HostError *error;
} Mapper;

static double frames_of(const Mapper *m, double seconds) {
    return seconds * m->take->rate_hz;
}

static bool add(const Mapper *m, double from, double shift) {
    size_t before = m->map->n;
    const MapPoint *last = before ? &m->map->points[before - 1] : NULL;
    if (last && from == last->from && from + shift == last->to)
        return true;
    time_map_add(m->map, from, from + shift);
    if (m->map->n > before)
        return true;
    return host_fail(m->error, "%s: at %.3f s: a shift of %+.1f ms moves it over what is before it",
                     m->lane->name, from / m->take->rate_hz, 1e3 * shift / m->take->rate_hz);
}

static bool check(const Mapper *m) {
    double end_s = (double)m->take->frames / m->take->rate_hz;
    for (size_t i = 0; i < m->lane->n; i++) {
        const LanePoint *p = &m->lane->points[i];
        if (fabs(p->value) > MOST_MS)
            return host_fail(m->error, "%s: at %.3f s: a shift of %g ms; allowed are %g either way",
                             m->lane->name, p->at_s, p->value, MOST_MS);
        if (p->at_s > end_s + 1e-3)
            return host_fail(m->error, "%s: %.3f s is behind the end of the take, %.3f s",
                             m->lane->name, p->at_s, end_s);
        if (!m->lane->line &&
            (i % 2 ? p->value != p[-1].value || p->at_s <= p[-1].at_s : i + 1 == m->lane->n))
            return host_fail(m->error,
                             "%s: at %.3f s: write FROM TO SHIFT_MS; a TIME SHIFT_MS is for a file "
                             "that begins with 'line'",
                             m->lane->name, p->at_s);
    }
    return true;
}

/* ---- with `line` ---- */

static bool map_line(const Mapper *m) {
    for (size_t i = 0; i < m->lane->n; i++) {
        const LanePoint *p = &m->lane->points[i];
        if (!add(m, frames_of(m, p->at_s), frames_of(m, 1e-3 * p->value)))
            return false;
    }
    return true;
}

/* ---- without ---- */

typedef struct {
    double start, end; /* frames */
} Rest;

/* The first rest of 20 ms and more between two frames, or the last; false: none. */
static bool find_rest(const Mapper *m, double from, double to, bool last, Rest *rest) {
    const Hearing *h = m->take;
    size_t first = (size_t)ceil(fmax(from, 0.0) / (double)h->hop), run = 0;
    size_t end = (size_t)(fmin(to, (double)h->frames) / (double)h->hop), least = 4;
    bool found = false;
    for (size_t k = first; k < end; k++) {
        run = hearing_quiet(h, k) ? run + 1 : 0;
        bool ends = k + 1 == end || !hearing_quiet(h, k + 1);
        if (run < least || !ends || (found && !last))
            continue;
        *rest = (Rest){(double)((k + 1 - run) * h->hop), (double)((k + 1) * h->hop)};
        found = true;
    }
    return found;
}

/* From `from`, moved by `before`, to `to`, moved by `after`, back in place between them if there is
 * time for that. */
static bool map_between(const Mapper *m, double from, double before, double to, double after) {
    double near = frames_of(m, NEAR_S), span = fmin(frames_of(m, STRETCHED_S), (to - from) / 3.0);
    Rest first, last;
    bool leaves = before != 0.0 && find_rest(m, from, fmin(to, from + near), false, &first);
    bool comes = after != 0.0 && find_rest(m, fmax(from, to - near), to, true, &last);
    if (!leaves)
        first = (Rest){from, before == 0.0 ? from : from + span};
    if (!comes)
        last = (Rest){after == 0.0 ? to : to - span, to};
    if (first.end >= last.start) { /* one and the same, or no room: straight over */
        double start = leaves ? first.start : comes ? last.start : from;
        double end = leaves && !comes ? first.end : last.end;
        return add(m, start, before) && (end <= start || add(m, end, after));
    }
    return add(m, first.start, before) && add(m, first.end, 0.0) && add(m, last.start, 0.0) &&
           add(m, last.end, after);
}

static bool map_words(const Mapper *m) {
    double at = 0.0, shift = 0.0, end = (double)m->take->frames;
    if (!add(m, 0.0, 0.0))
        return false;
    for (size_t i = 0; i + 1 < m->lane->n; i += 2) {
        const LanePoint *p = &m->lane->points[i];
        double from = fmin(frames_of(m, p[0].at_s), end), to = fmin(frames_of(m, p[1].at_s), end);
        double next = frames_of(m, 1e-3 * p->value);
        if (!map_between(m, at, shift, from, next) || !add(m, from, next) || !add(m, to, next))
            return false;
        at = to;
        shift = next;
    }
    return map_between(m, at, shift, end, 0.0);
}

bool shifts_map(TimeMap *map, const Lane *lane, const Hearing *take, HostError *error) {
    const Mapper m = {map, lane, take, error};
    *map = (TimeMap){0};
    bool fine = check(&m) && (lane->line ? map_line(&m) : map_words(&m));
    if (!fine)
        time_map_free(map);
    return fine;
}

/* ---- as text ---- */

static void print_phrase(FILE *file, const AlignPhrase *phrase, size_t number, double rate_hz) {
    static const char *const what[] = {"", "", "; the lead has none here, so it stays",
                                       "; not what the lead sings, so it stays"};
    if (phrase->kind != ALIGN_LACKING)
        fprintf(file, "# phrase %zu: %.2f to %.2f s%s\n", number,
                (double)phrase->take.start / rate_hz, (double)phrase->take.end / rate_hz,
                what[phrase->kind]);
}

void shifts_print(FILE *file, const Alignment *alignment, const Hearing *take) {
    size_t next = 0;
    fputs("# Seconds of the double, and by how many ms that moment moves, later being positive.\n"
          "line\n",
          file);
    for (size_t i = 0; i < alignment->map.n; i++) {
        const MapPoint *p = &alignment->map.points[i];
        while (next < alignment->n && (alignment->phrases[next].kind == ALIGN_LACKING ||
                                       (double)alignment->phrases[next].take.start <= p->from)) {
            print_phrase(file, &alignment->phrases[next], next + 1, take->rate_hz);
            next++;
        }
        fprintf(file, "%10.4f %+8.2f\n", p->from / take->rate_hz,
                1e3 * (p->to - p->from) / take->rate_hz);
    }
}
