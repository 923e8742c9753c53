/* SPDX-License-Identifier: ISC */
#include "siskin/edit/comp_take.h"

#include "siskin/edit/comp_list.h"
#include "siskin/measure/takes.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>

/* ---- reading ---- */

static bool find_clicks(CompFiles *files, size_t t, Progress *progress, HostError *error) {
    Measures measures;
    if (!takes_measure(files->path[t], &measures, progress, error))
        return false;
    files->click_s[t] = text_take(measures.n_clicks + 1, sizeof(double));
    for (size_t i = 0; i < measures.n_clicks; i++)
        if (measures.clicks[i].height_db >= MEASURE_CLEAR_CLICK_DB)
            files->click_s[t][files->n_clicks[t]++] = measures.clicks[i].at_s;
    measures_free(&measures);
    return true;
}

bool comp_files_read(CompFiles *files, const char *const *path, size_t n, bool choose,
                     Progress *progress, HostError *error) {
    files->path = path;
    files->n = n;
    for (size_t t = 0; t < n; t++) {
        Whole *w = &files->whole[t];
        if (!whole_read(w, path[t], t ? files->whole[0].rate_hz : 0.0, error) ||
            (choose && !find_clicks(files, t, progress, error)))
            return false;
        if (!hearing_of(&files->hearing[t], w->mid, w->n, w->rate_hz))
            return host_fail(error, "%s: out of memory", path[t]);
    }
    progress_clear(progress);
    return true;
}

void comp_files_free(CompFiles *files) {
    for (size_t t = 0; t < files->n; t++) {
        whole_free(&files->whole[t]);
        hearing_free(&files->hearing[t]);
        free(files->click_s[t]);
    }
    comp_free(&files->comp);
    free(files->pieces);
}

/* ---- choosing ---- */

bool comp_files_choose(CompFiles *files, HostError *error) {
    CompTake takes[COMP_TAKES];
    for (size_t t = 0; t < files->n; t++)
        takes[t] = (CompTake){&files->hearing[t], files->whole[t].mid, files->click_s[t],
                              files->n_clicks[t]};
    if (!comp_choose(&files->comp, takes, files->n))
        return host_fail(error, "out of memory");
    if (files->comp.n == 0)
        return host_fail(error, "no phrase was found in any of the takes");
    for (size_t s = 0; s < files->comp.n; s++) {
        const CompSection *section = &files->comp.sections[s];
        *(JoinPiece *)text_grow(&files->pieces, &files->n_pieces, sizeof *files->pieces) =
            (JoinPiece){section->start, section->end, section->take};
    }
    return true;
}

bool comp_files_obey(CompFiles *files, const char *list, HostError *error) {
    free(files->pieces);
    return comp_read(list, files->n, files->whole[0].rate_hz, &files->pieces, &files->n_pieces,
                     error);
}

void comp_files_print(FILE *file, const CompFiles *files) {
    comp_print(file, &files->comp, files->path, files->n, files->whole[0].rate_hz);
}

/* ---- writing ---- */

bool comp_files_join(const CompFiles *files, const char *out, const AudioFormat *format,
                     HostError *error) {
    JoinTake takes[COMP_TAKES];
    float *made[AUDIO_CHANNELS] = {NULL};
    unsigned channels = 1;
    size_t n_out = 0;
    for (size_t t = 0; t < files->n; t++) {
        const Whole *w = &files->whole[t];
        takes[t] =
            (JoinTake){&files->hearing[t], {w->channel[0], w->channel[w->channels - 1]}, w->n};
        channels = w->channels > channels ? w->channels : channels;
        n_out = w->n > n_out ? w->n : n_out;
    }
    for (unsigned c = 0; c < channels; c++)
        made[c] = text_take(n_out + 1, sizeof(float));
    Whole like = files->whole[0];
    like.channels = channels;
    const float *const channel[AUDIO_CHANNELS] = {made[0], made[1]};
    bool fine =
        join_takes(takes, files->n, files->pieces, files->n_pieces, channels, made, n_out, error) &&
        whole_write(out, format, &like, channel, n_out, error);
    for (unsigned c = 0; c < AUDIO_CHANNELS; c++)
        free(made[c]);
    return fine;
}

double comp_files_rooms_db(const CompFiles *files) {
    double least = INFINITY, most = -INFINITY;
    for (size_t i = 0; i < files->n_pieces; i++) {
        double room_db = join_room_db(&files->hearing[files->pieces[i].take]);
        least = fmin(least, room_db);
        most = fmax(most, room_db);
    }
    return most > least ? most - least : 0.0;
}
