/* SPDX-License-Identifier: ISC */
/* order.h: the chain that a command line asks for. */
#ifndef SISKIN_CHAINS_ORDER_H
#define SISKIN_CHAINS_ORDER_H

#include "siskin/chains/chain.h"

/* What follows TAKE and OUT: with a chain (its file, or the name of a ready one) BUS=FILE words,
 * else processors with their controls. NULL: it cannot be; the text says why. */
Chain *order_chain(const char *chain, int n_words, char *const *words, HostError *error);

#endif
