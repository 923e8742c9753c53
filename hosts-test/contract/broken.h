/* SPDX-License-Identifier: ISC */
/* broken.h: plugins and bundles that break their promises, one each, and what must be said
 * of them. Every promise of contract.h is broken here at least once. */
#ifndef SISKIN_CONTRACT_BROKEN_H
#define SISKIN_CONTRACT_BROKEN_H

#include "contract/contract.h"

typedef struct {
    const char *what;    /* the plugin's id, or what was done to the Turtle */
    const char *promise; /* the name of the one that it breaks */
    const char *reason;  /* a part of what must be said */
    Subject subject;     /* plugin NULL: the bundle could not be read at all */
    HostError unread;    /* then: why */
} BrokenCase;

/* All of them, from the folder of test bundles. The array is the caller's to free; NULL, with a
 * message on stderr, if the folder lacks one. Spoilt copies of a bundle are made in a folder of
 * their own under TMPDIR, which contract_broken_end() takes away. */
BrokenCase *contract_broken(const char *bundles, size_t *count);
void contract_broken_end(void);

#endif
