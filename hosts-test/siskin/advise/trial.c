/* SPDX-License-Identifier: ISC */
#include "siskin/advise/trial.h"

#include "siskin/advise/fit.h"
#include "siskin/chains/settings.h"
#include "siskin/render/take.h"
#include "siskin/safe.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

/* As its user would have it: from a file. It is never committed, so that a signal removes it. */
static Chain *make_chain(const char *folder, Host *host, const Advice *advice, size_t last,
                         HostError *error) {
    char *path = text_print("%s/try.chain", folder);
    SafeFile safe = {0};
    FILE *file = safe_open(&safe, path, error) ? safe_stream(&safe, error) : NULL;
    bool fine = file && advice_write_bare(file, host, advice, last, error);
    fine = file && safe_stream_end(&safe, file, error) && fine;
    Chain *chain = fine ? chain_load(safe.part, error) : NULL;
    safe_discard(&safe);
    free(path);
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

static bool measure_render(const char *folder, Host *host, const char *take, const Chain *chain,
                           Progress *progress, Measures *result, Envelope *envelope,
                           HostError *error) {
    char *path = text_print("%s/result.wav", folder);
    SafeFile file;
    bool fine = safe_open(&file, path, error);
    if (fine) {
        show(progress, 0.0);
        fine = render(host, take, file.part, chain, error) &&
               measure_take(file.part, result, show, progress, error);
        if (fine && envelope && !envelope_read(envelope, file.part, error)) {
            measures_free(result);
            fine = false;
        }
        progress_clear(progress);
        safe_discard(&file);
    }
    free(path);
    return fine;
}

/* All of it lies beside nothing of the user's. */
bool advice_try(Host *host, const Advice *advice, size_t last, Progress *progress, Measures *result,
                Envelope *envelope, HostError *error) {
    char *folder = safe_temporary(error);
    if (!folder)
        return false;
    Chain *chain = make_chain(folder, host, advice, last, error);
    bool fine = chain && measure_render(folder, host, advice->of[0]->path, chain, progress, result,
                                        envelope, error);
    chain_free(chain);
    safe_temporary_end(folder);
    return fine;
}
