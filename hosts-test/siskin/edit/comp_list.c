/* SPDX-License-Identifier: ISC */
#include "siskin/edit/comp_list.h"

#include "siskin/text.h"

#include <math.h>

static void print_fault(FILE *file, CompFault fault, double value) {
    static const struct {
        const char *before;
        int digits; /* behind the point; -1: the words alone */
        const char *after;
    } what[COMP_FAULTS] = {
        {"", 0, " cents off"},         {"", 0, " % other notes"},     {"other words", -1, ""},
        {"", 0, " ms off the others"}, {"", 1, " dB more noise"},     {"clicks: ", 0, ""},
        {"flat tops: ", 0, ""},        {"", 1, " dB off the others"},
    };
    fputs(what[fault].before, file);
    if (what[fault].digits >= 0)
        fprintf(file, "%.*f", what[fault].digits, value);
    fputs(what[fault].after, file);
}

/* What is worth telling: a quarter of a point and more. */
static void print_score(FILE *file, size_t take, const CompScore *score, bool chosen) {
    const double told = 0.25;
    fprintf(file, "#   take %zu%s", take + 1, chosen ? ", chosen" : "");
    if (isinf(score->points)) {
        fputs(": does not sing it\n", file);
        return;
    }
    fprintf(file, ": %.1f points", score->points);
    const char *between = " for ";
    for (CompFault fault = COMP_PITCH; fault < COMP_FAULTS; fault++) {
        if (comp_points(fault, score->value[fault]) < told)
            continue;
        fputs(between, file);
        print_fault(file, fault, score->value[fault]);
        between = ", ";
    }
    putc('\n', file);
}

void comp_print(FILE *file, const Comp *comp, const char *const *names, size_t n, double rate_hz) {
    char plain[512];
    for (size_t t = 0; t < n; t++)
        fprintf(file, "# take %zu: %s\n", t + 1, text_plain(plain, sizeof plain, names[t]));
    fputs("# From, to (seconds), take. Change a number, then: siskin comp TAKE... OUT --by LIST\n",
          file);
    for (size_t s = 0; s < comp->n; s++) {
        const CompSection *section = &comp->sections[s];
        fprintf(file, "\n# phrase %zu\n", s + 1);
        for (size_t t = 0; t < n; t++)
            print_score(file, t, &section->score[t], t == section->take);
        fprintf(file, "%9.3f %9.3f %3zu\n", (double)section->start / rate_hz,
                (double)section->end / rate_hz, section->take + 1);
    }
}

bool comp_read(const char *path, size_t n_takes, double rate_hz, JoinPiece **pieces, size_t *n,
               HostError *error) {
    Lane lane;
    *pieces = NULL;
    *n = 0;
    if (!lane_load(&lane, path, error))
        return false;
    bool fine = true;
    for (size_t i = 0; i < lane.n && fine; i += 2) {
        const LanePoint *a = &lane.points[i], *b = i + 1 < lane.n ? a + 1 : a;
        if (lane.line || b->value != a->value || b->at_s <= a->at_s)
            fine = host_fail(error, "%s: at %.3f s: write FROM TO TAKE", path, a->at_s);
        else if (!(a->value >= 1.0 && a->value <= (double)n_takes) || a->value != floor(a->value))
            fine = host_fail(error, "%s: at %.3f s: take %g; there are 1 to %zu", path, a->at_s,
                             a->value, n_takes);
        else
            *(JoinPiece *)text_grow(pieces, n, sizeof **pieces) =
                (JoinPiece){(size_t)llround(a->at_s * rate_hz), (size_t)llround(b->at_s * rate_hz),
                            (size_t)a->value - 1};
    }
    lane_free(&lane);
    return fine;
}
