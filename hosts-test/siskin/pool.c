/* SPDX-License-Identifier: ISC */
#include "siskin/pool.h"

#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

enum { TICK_MS = 100 };
enum { NO_MEMORY = 71 };          /* exit status of a child that got none */
static const double LAST_S = 2.0; /* for a child that was asked to end */

typedef struct {
    pid_t process; /* 0: this place is free */
    int pipe;      /* nothing is sent through it: it closes when the process ends; -1: it has */
    size_t job;
    TakeReport *report; /* shared with the process */
    int running;        /* where it was at the last tick: in which processor, and how far */
    uint64_t at;
    double stuck_s; /* for how long it has been there */
    bool given_up;
} Place;

typedef struct {
    Host *host;
    const TakeJob *jobs;
    size_t count, started, done;
    Place *places;
    unsigned n_places;
    const PoolWatcher *watcher;
} Pool;

/* The signal that asked this process to end. A handler can reach nothing but globals. */
static volatile sig_atomic_t asked_to_end;

static void remember(int signal_number) {
    asked_to_end = signal_number;
}

static const int ending[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE};
enum { N_ENDING = sizeof ending / sizeof *ending };

static void catch_signals(struct sigaction *before) {
    struct sigaction action = {.sa_handler = remember}; /* no SA_RESTART: poll() must return */
    sigemptyset(&action.sa_mask);
    for (size_t i = 0; i < N_ENDING; i++) {
        sigaction(ending[i], NULL, &before[i]);
        if (before[i].sa_handler != SIG_IGN)
            sigaction(ending[i], &action, NULL);
    }
}

static void restore_signals(const struct sigaction *before) {
    for (size_t i = 0; i < N_ENDING; i++)
        sigaction(ending[i], &before[i], NULL);
}

/* ---- the child ---- */

static _Noreturn void be_child(const Pool *pool, const Place *place, pid_t parent) {
    for (size_t i = 0; i < N_ENDING; i++)
        if (signal(ending[i], SIG_DFL) == SIG_IGN)
            signal(ending[i], SIG_IGN);
    setpgid(0, 0);            /* so that all that a plugin starts can be ended with it */
    signal(SIGTTOU, SIG_IGN); /* what plugins print may go to the terminal all the same */
    safe_catch_signals();
    prctl(PR_SET_PDEATHSIG, SIGTERM); /* for a parent that is killed outright */
    if (getppid() != parent)
        _exit(1);
    text_no_memory(pool->jobs[place->job].take, NO_MEMORY);
    take_render(pool->host, &pool->jobs[place->job], place->report);
    fflush(NULL); /* what plugins printed */
    _exit(0);
}

static bool start(Pool *pool, Place *place, HostError *error) {
    int ends[2];
    pid_t parent = getpid();
    if (pipe2(ends, O_CLOEXEC) != 0)
        return host_fail(error, "cannot start a render: %s", strerror(errno));
    memset(place->report, 0, sizeof *place->report);
    place->job = pool->started;
    place->stuck_s = 0.0;
    place->given_up = false;
    fflush(NULL);
    pid_t process = fork();
    if (process == 0)
        be_child(pool, place, parent);
    close(ends[1]);
    if (process > 0)
        setpgid(process, process); /* whoever comes first */
    if (process < 0) {
        close(ends[0]);
        return host_fail(error, "cannot start a render: %s", strerror(errno));
    }
    place->process = process;
    place->pipe = ends[0];
    pool->started++;
    return true;
}

/* ---- the end of a child ---- */

static double patience_s(const TakeJob *job) {
    return job->patience_s > 0.0 ? job->patience_s : TAKE_PATIENCE_S;
}

/* Ends a child whose processor does not come back. Only ticks count, not the clock: while all is
 * stopped, or the machine asleep, nothing is stuck. */
static void watch(const Pool *pool, Place *place) {
    int running = atomic_load(&place->report->status.running);
    uint64_t at = atomic_load(&place->report->status.done);
    bool stuck = running && running == place->running && at == place->at;
    place->stuck_s = stuck ? place->stuck_s + TICK_MS / 1000.0 : 0.0;
    place->running = running;
    place->at = at;
    if (place->stuck_s <= patience_s(&pool->jobs[place->job]) || place->given_up)
        return;
    place->given_up = true;
    kill(-place->process, SIGKILL); /* it may have blocked what asks more kindly */
}

static void remove_leftovers(const TakeJob *job, pid_t process) {
    char *path[TAKE_MAX_OUTPUTS];
    size_t count = take_outputs(job, path);
    for (size_t i = 0; i < count; i++) {
        safe_remove_leftover(path[i], process);
        free(path[i]);
    }
}

static void explain_end(TakeReport *report, HostError *error, const TakeJob *job, bool given_up,
                        int status) {
    int running = atomic_load(&report->status.running);
    const char *who = running >= 1 && running <= CHAIN_MAX_PROCESSORS
                          ? report->processor[running - 1].label
                          : "the render";
    if (given_up)
        host_fail(error, "%s did not come back within %g s", who, patience_s(job));
    else if (WIFSIGNALED(status))
        host_fail(error, "%s crashed (%s)", who, strsignal(WTERMSIG(status)));
    else if (WEXITSTATUS(status) == NO_MEMORY)
        host_fail(error, "%s: out of memory", job->take);
    else
        host_fail(error, "%s ended the process (status %d)", who, WEXITSTATUS(status));
}

/* Whether the child has ended; then all that it started is ended, too, and `status` known. */
static bool has_ended(Place *place, int *status) {
    siginfo_t info = {0};
    if (waitid(P_PID, (id_t)place->process, &info, WEXITED | WNOHANG | WNOWAIT) != 0 ||
        info.si_pid == 0)
        return false;
    kill(-place->process, SIGKILL); /* its number is taken until it is waited for */
    while (waitpid(place->process, status, 0) < 0 && errno == EINTR)
        ;
    return true;
}

static void empty(Place *place, const TakeJob *job) {
    if (!place->report->done)
        remove_leftovers(job, place->process);
    if (place->pipe >= 0)
        close(place->pipe);
    place->process = 0;
}

/* An output that is complete stays so, whatever a plugin does in its end. */
static void explain_late_end(const Place *place, const TakeJob *job, int status) {
    HostError why = {""};
    if (place->given_up || WIFSIGNALED(status) || WEXITSTATUS(status) != 0) {
        explain_end(place->report, &why, job, place->given_up, status);
        text_add(place->report->notes, sizeof place->report->notes,
                 "%s in its end; %s is complete all the same\n", why.text, job->out);
    }
}

static void reap(Pool *pool, Place *place, int status) {
    const TakeJob *job = &pool->jobs[place->job];
    TakeReport *report = place->report;
    if (report->done)
        explain_late_end(place, job, status);
    else if (!report->error.text[0])
        explain_end(report, &report->error, job, place->given_up, status);
    empty(place, job);
    pool->done++;
    pool->watcher->done(pool->watcher->user, place->job, report);
}

static void tell_all(const Pool *pool, int signal_number) {
    for (unsigned i = 0; i < pool->n_places; i++)
        if (pool->places[i].process)
            kill(-pool->places[i].process, signal_number);
}

static bool any_left(Pool *pool) {
    bool any = false;
    for (unsigned i = 0; i < pool->n_places; i++) {
        Place *place = &pool->places[i];
        int status = 0;
        if (place->process && has_ended(place, &status))
            empty(place, &pool->jobs[place->job]);
        any = any || place->process;
    }
    return any;
}

/* Asked kindly first; a plugin may hear nothing any more. */
static void end_all(Pool *pool) {
    const int kind_ticks = (int)(1000.0 * LAST_S / TICK_MS);
    tell_all(pool, SIGTERM);
    for (int tick = 0; any_left(pool); tick++) {
        if (tick == kind_ticks)
            tell_all(pool, SIGKILL);
        poll(NULL, 0, tick ? TICK_MS : TICK_MS / 10);
    }
}

/* ---- the loop ---- */

static void tick(const Pool *pool) {
    double done = (double)pool->done;
    size_t running = 0;
    for (unsigned i = 0; i < pool->n_places; i++) {
        if (!pool->places[i].process)
            continue;
        GraphStatus *status = &pool->places[i].report->status;
        running++;
        done += graph_done(status);
    }
    pool->watcher->tick(pool->watcher->user, done / (double)pool->count, pool->done, running);
}

/* Until a pipe closes or a tick is over. A plugin may close the pipe, or hand it on to processes of
 * its own: who has ended is asked of the system alone. */
static void wait_a_moment(Pool *pool) {
    struct pollfd *fds = text_take(pool->n_places, sizeof *fds);
    for (unsigned i = 0; i < pool->n_places; i++) /* a negative fd is passed over */
        fds[i] = (struct pollfd){.fd = pool->places[i].process ? pool->places[i].pipe : -1,
                                 .events = POLLIN};
    int ready = poll(fds, pool->n_places, TICK_MS);
    for (unsigned i = 0; i < pool->n_places && !asked_to_end; i++) {
        Place *place = &pool->places[i];
        int status = 0;
        if (fds[i].fd >= 0 && fds[i].revents) {
            close(place->pipe);
            place->pipe = -1;
        }
        if (place->process && has_ended(place, &status))
            reap(pool, place, status);
        else if (place->process && ready == 0)
            watch(pool, place);
    }
    free(fds);
}

static bool run(Pool *pool, HostError *error) {
    while (pool->done < pool->count && !asked_to_end) {
        for (unsigned i = 0; i < pool->n_places && pool->started < pool->count; i++)
            if (!pool->places[i].process && !start(pool, &pool->places[i], error))
                return false;
        wait_a_moment(pool);
        if (pool->done < pool->count && !asked_to_end)
            tick(pool);
    }
    return true;
}

bool pool_run(Host *host, const TakeJob *jobs, size_t count, unsigned parallel,
              const PoolWatcher *watcher, HostError *error) {
    unsigned n_places = parallel < count ? parallel : (unsigned)count;
    struct sigaction before[N_ENDING];
    TakeReport *reports = mmap(NULL, n_places * sizeof *reports, PROT_READ | PROT_WRITE,
                               MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (reports == MAP_FAILED)
        return host_fail(error, "out of memory");
    Pool pool = {
        .host = host, .jobs = jobs, .count = count, .n_places = n_places, .watcher = watcher};
    pool.places = text_take(n_places, sizeof *pool.places);
    for (unsigned i = 0; i < n_places; i++)
        pool.places[i].report = &reports[i];
    catch_signals(before);
    bool fine = run(&pool, error);
    end_all(&pool);
    restore_signals(before);
    munmap(reports, n_places * sizeof *reports);
    free(pool.places);
    if (asked_to_end)
        raise(asked_to_end);
    return fine;
}
