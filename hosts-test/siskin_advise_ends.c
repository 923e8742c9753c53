/* SPDX-License-Identifier: ISC */
#include "siskin_advise_ends.h"

#include "siskin_advise_chain.h"
#include "siskin_safe.h"
#include "siskin_take.h"
#include "siskin_text.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The row that ends those of the first processor. */
static size_t last_row(void) {
    size_t i = 0;
    while (i + 1 < advice_n_rules && advice_rules[i + 1].processor &&
           strcmp(advice_rules[i + 1].processor, advice_rules[0].processor) == 0)
        i++;
    return i;
}

bool advice_needs_ends(const Advice *advice) {
    return advice_wants_processor(advice, last_row());
}

static Chain *make_chain(Host *host, const Advice *advice, HostError *error) {
    AdviceSettings settings;
    char *word[1 + ADVICE_MOST_SETTINGS];
    size_t n = 0, row = last_row();
    if (!advice_settings(host, advice, row, &settings, error))
        return NULL;
    word[n++] = text_copy(advice_rules[row].processor);
    for (size_t k = 0; k < settings.n; k++)
        word[n++] = text_print("%s=%g", settings.setting[k].control, settings.setting[k].value);
    Chain *chain = chain_from_words(word, n, error);
    while (n > 0)
        free(word[--n]);
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

/* The render lies beside nothing of the user's, as an unfinished file that a signal removes. */
static bool measure_aside(Host *host, const char *take, const Chain *chain, const char *folder,
                          Measures *clean, HostError *error) {
    char *path = text_print("%s/clean.wav", folder);
    SafeFile file;
    bool fine = safe_open(&file, path, error);
    if (fine) {
        fine = render(host, take, file.part, chain, error) &&
               measure_take(file.part, clean, NULL, NULL, error);
        safe_discard(&file);
    }
    free(path);
    return fine;
}

bool advice_measure_clean(Host *host, const Advice *advice, Measures *clean, HostError *error) {
    const char *temporary = getenv("TMPDIR");
    char *folder = text_print("%s/siskin-advise-XXXXXX", temporary ? temporary : "/tmp");
    Chain *chain = make_chain(host, advice, error);
    bool fine = chain != NULL;
    if (fine && !mkdtemp(folder)) {
        fine = host_fail(error, "cannot make the folder %s: %s", folder, strerror(errno));
    } else if (fine) {
        fine = measure_aside(host, advice->of[0]->path, chain, folder, clean, error);
        rmdir(folder);
    }
    chain_free(chain);
    free(folder);
    return fine;
}
