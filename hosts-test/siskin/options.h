/* SPDX-License-Identifier: ISC */
/* options.h: options of a command, by table: `--name`, `--name VALUE` or `--name=VALUE`,
 * anywhere among the words; `--` ends them. */
#ifndef SISKIN_OPTIONS_H
#define SISKIN_OPTIONS_H

#include "host/host.h"

typedef struct {
    const char *name;    /* without the dashes */
    const char *metavar; /* what the value is called in the help; NULL: a flag */
    const char *help;    /* one or more lines separated by \n */
    const char **value;  /* where the value goes (stays as it was when the option is not given) */
    bool *flag;          /* set to true when given; for flags */
} Option;

/* Takes the options out of argv; the other words stay, in order, and *argc is their number. Fails
 * on an unknown option, a missing value, or a value for a flag. */
bool options_take(const Option *options, size_t count, int *argc, char **argv, HostError *error);

/* A number that an option was given; without `word` *value stays. Fails, naming both bounds, on
 * what is none or lies outside. */
bool options_number(const char *word, const char *name, double least, double most, double *value,
                    HostError *error);

/* One of some words: *value becomes its number from 1 on; without `word` it stays. Fails, naming
 * all of them, on another. */
bool options_choice(const char *word, const char *name, const char *const *choices, size_t count,
                    int *value, HostError *error);

/* The help lines of a table, to stdout. */
void options_print(const Option *options, size_t count);

#endif
