/* SPDX-License-Identifier: ISC */
#include "siskin/edit/align_take.h"

#include "siskin/edit/move_command.h"
#include "siskin/measure/statistics.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

static bool hear(Hearing *hearing, const Whole *whole, const char *path, HostError *error) {
    return hearing_of(hearing, whole->mid, whole->n, whole->rate_hz) ||
           host_fail(error, "%s: out of memory", path);
}

static bool read_both(AlignFiles *files, const char *take, const char *lead, Progress *progress,
                      HostError *error) {
    bool fine = whole_read(&files->take, take, 0.0, error) &&
                whole_read(&files->lead, lead, files->take.rate_hz, error);
    progress_show(progress, text_base(take), 0.1);
    fine = fine && hear(&files->of_lead, &files->lead, lead, error);
    progress_show(progress, text_base(take), 0.4);
    fine = fine && hear(&files->of_take, &files->take, take, error);
    progress_show(progress, text_base(take), 0.7);
    progress_clear(progress);
    return fine;
}

bool align_files_find(AlignFiles *files, const char *take, const char *lead, double tightness,
                      Progress *progress, HostError *error) {
    if (!read_both(files, take, lead, progress, error))
        return false;
    Alignment *a = &files->alignment;
    if (!align_find(a, &files->of_lead, files->lead.mid, &files->of_take, files->take.mid,
                    tightness))
        return host_fail(error, "out of memory");
    size_t matched = 0;
    for (size_t i = 0; i < a->n; i++)
        matched += a->phrases[i].kind == ALIGN_MATCHED;
    return matched > 0 || host_fail(error, "%s and %s have no phrase in common", take, lead);
}

bool align_files_write(AlignFiles *files, const char *out, const AudioFormat *format,
                       HostError *error) {
    return move_write(&files->take, &files->of_take, &files->alignment.map, files->lead.n, out,
                      format, &files->splices, error);
}

void align_files_free(AlignFiles *files) {
    whole_free(&files->lead);
    whole_free(&files->take);
    hearing_free(&files->of_lead);
    hearing_free(&files->of_take);
    align_free(&files->alignment);
    splices_free(&files->splices);
}

AlignApart align_files_apart(const AlignFiles *files, const AlignPhrase *phrase, bool after) {
    double *ms = text_take(phrase->n + 1, sizeof *ms), most = 0.0;
    for (size_t i = 0; i < phrase->n; i++) {
        const AlignAnchor *a = &files->alignment.anchors[phrase->first + i];
        double at = after ? splices_at(&files->splices, a->take) : a->take;
        ms[i] = 1e3 * fabs(at - a->lead) / files->take.rate_hz;
        most = fmax(most, ms[i]);
    }
    AlignApart result = {statistics_median(ms, phrase->n), most};
    free(ms);
    return result;
}
