/* SPDX-License-Identifier: ISC */
#include "siskin/command.h"

#include <stdio.h>

int command_fail(const char *command, int status, const HostError *error) {
    fprintf(stderr, "siskin %s: %s\n", command, error->text);
    return status;
}
