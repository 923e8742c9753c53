/* SPDX-License-Identifier: ISC */
/* command.h: the commands of the program. Each gets the words after its own name, and
 * returns the exit status. */
#ifndef SISKIN_COMMAND_H
#define SISKIN_COMMAND_H

#include "host/host.h"

enum {
    STATUS_OK = 0,
    STATUS_FAILED = 1, /* something went wrong with a file, a plugin or the machine */
    STATUS_USAGE = 2,  /* the command cannot be what was meant */
};

int command_advise(int argc, char **argv);
int command_align(int argc, char **argv);
int command_comp(int argc, char **argv);
int command_finish(int argc, char **argv);
int command_list(int argc, char **argv);
int command_match(int argc, char **argv);
int command_measure(int argc, char **argv);
int command_nudge(int argc, char **argv);
int command_render(int argc, char **argv);
int command_report(int argc, char **argv);
int command_ride(int argc, char **argv);
int command_notes(int argc, char **argv);

/* Sends on what was printed so far, and remembers what went wrong with it. Each command prints as
 * if that could not fail; in the end command_end_output says why it did, and gives the exit
 * status. */
void command_flush(void);
int command_end_output(int status);

/* Prints "siskin COMMAND: text" to stderr, controls in it escaped; returns `status`. */
int command_fail(const char *command, int status, const HostError *error);

#endif
