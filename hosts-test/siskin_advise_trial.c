/* SPDX-License-Identifier: ISC */
#include "siskin_advise_trial.h"

#include "siskin_advise_fit.h"
#include "siskin_safe.h"
#include "siskin_take.h"
#include "siskin_text.h"

#include <stdlib.h>

/* What the chain file says, on a command line. */
static size_t add_words(char *word[], const AdviceRule *rule, const AdviceSettings *settings) {
    size_t n = 0;
    for (unsigned pass = 0; pass < settings->passes; pass++) {
        word[n++] = text_copy(rule->processor);
        for (size_t k = 0; k < settings->n; k++)
            word[n++] =
                text_print("%s=%g", settings->setting[k].control, settings->setting[k].value);
    }
    return n;
}

static Chain *make_chain(Host *host, const Advice *advice, size_t last, HostError *error) {
    enum { MOST = ADVICE_MOST_RULES * ADVICE_MOST_PASSES * (1 + ADVICE_MOST_SETTINGS) };
    char **word = text_take(MOST, sizeof *word);
    size_t n = 0;
    bool fine = true;
    for (size_t i = 0; fine && i <= last; i++) {
        AdviceSettings settings;
        if (!advice_wants_processor(advice, i))
            continue;
        fine = advice_settings(host, advice, i, &settings, error);
        if (fine)
            n += add_words(word + n, &advice_rules[i], &settings);
    }
    Chain *chain = fine ? chain_from_words(word, n, error) : NULL;
    while (n > 0)
        free(word[--n]);
    free(word);
    return chain;
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
