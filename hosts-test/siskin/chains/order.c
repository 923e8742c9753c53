/* SPDX-License-Identifier: ISC */
#include "siskin/chains/order.h"

#include "siskin/place.h"
#include "siskin/text.h"

#include <stdlib.h>
#include <string.h>

static Chain *load(const char *name, HostError *error) {
    char *path = place_chain(name);
    Chain *chain = chain_load(path, error);
    free(path);
    return chain;
}

static bool feed(Chain *chain, int n_words, char *const *words, HostError *error) {
    for (int i = 0; i < n_words; i++) {
        const char *equals = strchr(words[i], '=');
        if (!equals || equals == words[i] || !equals[1])
            return host_fail(error, "'%s': with --chain, what follows OUT is BUS=FILE", words[i]);
        char *bus = text_print("%.*s", (int)(equals - words[i]), words[i]);
        bool fine = chain_feed(chain, bus, equals + 1, error);
        free(bus);
        if (!fine)
            return false;
    }
    return true;
}

Chain *order_chain(const char *name, int n_words, char *const *words, HostError *error) {
    Chain *chain = NULL;
    if (name)
        chain = load(name, error);
    else if (n_words == 0)
        host_fail(error, "name at least one processor, or a chain with --chain FILE");
    else
        chain = chain_from_words(words, (size_t)n_words, error);
    if (chain && (!name || feed(chain, n_words, words, error)) && chain_check_fed(chain, error))
        return chain;
    chain_free(chain);
    return NULL;
}
