/* SPDX-License-Identifier: ISC */
#include "siskin/advise/trial.h"

#include "siskin/advise/fit.h"
#include "siskin/chains/settings.h"
#include "siskin/render/take.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

static Chain *make_chain(Host *host, const Advice *advice, size_t last, HostError *error) {
    char *line = advice_line(host, advice, last, error);
    if (!line)
        return NULL;
    char **word = text_take(strlen(line) + 1, sizeof *word);
    size_t n = 0;
    for (char *at = strtok(line, " ;"); at; at = strtok(NULL, " ;"))
        word[n++] = at;
    Chain *chain = chain_from_words(word, n, error);
    free(word);
    free(line);
    if (!chain || settings_read(host, chain, error))
        return chain;
    chain_free(chain);
    return NULL;
}

static bool render(Host *host, const char *take, const char *out, const Chain *chain,
                   HostError *error) {
    TakeReport *report = text_take(1, sizeof *report);
    const TakeJob job = {.take = take,
                         .out = out,
                         .chain = chain,
                         .format = {.container = AUDIO_WAV, .bits = AUDIO_BITS_FLOAT}};
    take_render(host, &job, report);
    bool done = report->done;
    *error = report->error;
    free(report);
    return done;
}

static void show(void *user, double done) {
    progress_show(user, "trying what is advised", done);
}

/* The render lies beside nothing of the user's. */
static bool measure_aside(Host *host, const char *take, const Chain *chain, Progress *progress,
                          Measures *result, HostError *error) {
    char *folder = safe_temporary(error);
    if (!folder)
        return false;
    char *path = text_print("%s/result.wav", folder);
    SafeFile file;
    bool fine = safe_open(&file, path, error);
    if (fine) {
        show(progress, 0.0);
        fine = render(host, take, file.part, chain, error) &&
               measure_take(file.part, result, show, progress, error);
        progress_clear(progress);
        safe_discard(&file);
    }
    free(path);
    safe_temporary_end(folder);
    return fine;
}

bool advice_try(Host *host, const Advice *advice, size_t last, Progress *progress, Measures *result,
                HostError *error) {
    Chain *chain = make_chain(host, advice, last, error);
    bool fine = chain && measure_aside(host, advice->of[0]->path, chain, progress, result, error);
    chain_free(chain);
    return fine;
}
