/* SPDX-License-Identifier: ISC */
/* guard.h: sees whether code does what a real-time thread may not do: take or give back memory,
 * lock, or call the system.
 *
 * Memory and locks: a program that links guard.c replaces malloc and its family and the locking
 * calls of POSIX and C11 by its own, which hand on to the C library and, while the calling thread
 * is armed, note the name. Plugins loaded later call these too, if the program is linked with
 * -rdynamic. System calls: guard_system_calls() runs the work in a child under a seccomp filter
 * that permits none, so that even a call made without the C library is seen.
 *
 * Under a sanitizer or valgrind, which replace malloc themselves and make system calls of their
 * own, none of this works: guard_works() says so. */
#ifndef SISKIN_CONTRACT_GUARD_H
#define SISKIN_CONTRACT_GUARD_H

#include <stdbool.h>
#include <stddef.h>

bool guard_works(void);

/* From here on this thread is watched. */
void guard_arm(void);
/* Ends the watch. The name of the first forbidden function called during it, or NULL. */
const char *guard_disarm(void);

/* From now on all memory that malloc hands out is filled with this byte first; -1: left as is.
 * With two different bytes, code that reads what it never wrote gives two different results. */
void guard_fill_memory(int byte);

/* Bytes handed out by malloc and its family and not given back, over all threads. */
size_t guard_live_bytes(void);

typedef enum {
    GUARD_NO_CALL,     /* the work returned without any system call */
    GUARD_CALLED,      /* it made one: its number is in *call */
    GUARD_CRASHED,     /* it ended in some other way */
    GUARD_UNAVAILABLE, /* this system has no seccomp filters */
} GuardVerdict;

/* Whether system calls can be watched here: not under an emulator, which makes its own. */
bool guard_filters(void);

/* Runs work(user) in a child process that may make no system call. */
GuardVerdict guard_system_calls(void (*work)(void *user), void *user, int *call);

#endif
