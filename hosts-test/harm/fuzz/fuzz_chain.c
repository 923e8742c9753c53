/* SPDX-License-Identifier: ISC */
/* fuzz_chain: the chain-file reader under libFuzzer. Whatever the bytes, it must give a chain or an
 * error that names something, and leak nothing. */
#include "siskin/chains/chain.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    int file = memfd_create("chain", 0);
    char path[64];
    if (file < 0 || write(file, data, size) != (ssize_t)size)
        abort();
    snprintf(path, sizeof path, "/proc/self/fd/%d", file);
    HostError error = {0};
    Chain *chain = chain_load(path, &error);
    if (!chain && error.text[0] == '\0')
        abort();
    if (chain) {
        chain_find(chain, "lead");
        chain_check_fed(chain, &error);
    }
    chain_free(chain);
    close(file);
    return 0;
}
