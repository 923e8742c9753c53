/* SPDX-License-Identifier: ISC */
#include "siskin/finish/workers.h"

#include "siskin/safe.h"
#include "siskin/text.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

enum { TICK_MS = 50, AGAIN_TICKS = 10 };

typedef struct {
    pid_t process; /* 0: it does not run */
    unsigned wait; /* ticks until it may be tried again */
    bool done;
} Place;

static _Noreturn void be_child(const Workers *workers, size_t job, pid_t parent) {
    safe_catch_signals();
    prctl(PR_SET_PDEATHSIG, SIGTERM);
    if (getppid() != parent)
        _exit(1);
    int status = workers->work(workers->user, job);
    fflush(NULL);
    _exit(status);
}

static bool start(const Workers *workers, Place *place, size_t job, HostError *error) {
    pid_t parent = getpid();
    fflush(NULL);
    place->process = fork();
    if (place->process == 0)
        be_child(workers, job, parent);
    if (place->process > 0)
        return true;
    place->process = 0;
    return host_fail(error, "cannot start a process: %s", strerror(errno));
}

static void reap(const Workers *workers, Place *place, size_t job, int status) {
    place->process = 0;
    if (WIFEXITED(status) && WEXITSTATUS(status) == WORKERS_AGAIN) {
        place->wait = AGAIN_TICKS;
        return;
    }
    place->done = true;
    workers->done(workers->user, job, status);
}

static size_t count_running(const Workers *workers, const Place *places) {
    size_t running = 0;
    for (size_t i = 0; i < workers->count; i++)
        running += places[i].process != 0;
    return running;
}

static bool start_some(const Workers *workers, Place *places, HostError *error) {
    size_t running = count_running(workers, places);
    for (size_t i = 0; i < workers->count && running < workers->parallel; i++) {
        Place *place = &places[i];
        if (place->done || place->process || place->wait)
            continue;
        if (!start(workers, place, i, error))
            return false;
        running++;
    }
    return true;
}

/* Returns how many are done. */
static size_t look_round(const Workers *workers, Place *places) {
    size_t done = 0;
    for (size_t i = 0; i < workers->count; i++) {
        Place *place = &places[i];
        int status = 0;
        place->wait -= place->wait > 0;
        if (place->process && waitpid(place->process, &status, WNOHANG) == place->process)
            reap(workers, place, i, status);
        done += place->done;
    }
    return done;
}

bool workers_run(const Workers *workers, HostError *error) {
    Place *places = text_take(workers->count + 1, sizeof *places);
    bool fine = true;
    for (size_t done = 0; done < workers->count && fine;) {
        fine = start_some(workers, places, error);
        workers->tick(workers->user, done, count_running(workers, places));
        poll(NULL, 0, TICK_MS);
        done = look_round(workers, places);
    }
    while (count_running(workers, places) > 0) {
        poll(NULL, 0, TICK_MS);
        look_round(workers, places);
    }
    free(places);
    return fine;
}
