/* SPDX-License-Identifier: ISC */
/* workers.h: jobs done by child processes of our own, some at a time, each in a process of its own,
 * so that what crashes takes only its own job with it. A child is told to end when this process
 * does. */
#ifndef SISKIN_FINISH_WORKERS_H
#define SISKIN_FINISH_WORKERS_H

#include "host/error.h"

#include <stdbool.h>
#include <stddef.h>

enum { WORKERS_AGAIN = 75 }; /* a job that cannot be done now: it is tried again later */

typedef struct {
    size_t count;
    unsigned parallel;
    int (*work)(void *user, size_t job);              /* in the child; its exit status */
    void (*done)(void *user, size_t job, int status); /* as of waitpid */
    void (*tick)(void *user, size_t done, size_t running);
    void *user;
} Workers;

/* Fails when no process can be had; those under way are waited for. */
bool workers_run(const Workers *workers, HostError *error);

#endif
