/* SPDX-License-Identifier: ISC */
/* pool.h: renders takes in child processes, some at a time.
 *
 * Each take has a process of its own, so that a plugin that crashes, never comes back, hangs up on
 * memory, starts processes or ends its own takes only that one render with it. What the child left
 * half-written is removed, and what it started is ended. When this process is told to end (SIGINT,
 * SIGTERM, SIGHUP, SIGQUIT, SIGPIPE), the children end first and clean up. */
#ifndef SISKIN_POOL_H
#define SISKIN_POOL_H

#include "siskin/render/take.h"

/* job is done; `report` says how. Called in the order in which they end. */
typedef void PoolDone(void *user, size_t job, const TakeReport *report);
/* Called about ten times a second; `done` is the part of all the jobs that is done, 0..1. */
typedef void PoolTick(void *user, double done, size_t jobs_done, size_t jobs_running);

typedef struct {
    PoolDone *done;
    PoolTick *tick;
    void *user;
} PoolWatcher;

/* Fails only when processes or memory cannot be had at all; a failed render is told by its report.
 */
bool pool_run(Host *host, const TakeJob *jobs, size_t count, unsigned parallel,
              const PoolWatcher *watcher, HostError *error);

#endif
