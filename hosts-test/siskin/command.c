/* SPDX-License-Identifier: ISC */
#include "siskin/command.h"
#include "siskin/text.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

int command_fail(const char *command, int status, const HostError *error) {
    char text[2 * sizeof error->text]; /* names in it may hold anything */
    fprintf(stderr, "siskin %s: %s\n", command, text_plain(text, sizeof text, error->text));
    return status;
}

static int output_errno; /* of the first thing that could not be printed */

void command_flush(void) {
    errno = 0;
    if (fflush(stdout) != 0 && !output_errno)
        output_errno = errno;
}

int command_end_output(int status) {
    command_flush();
    if (!ferror(stdout) && !output_errno)
        return status;
    fprintf(stderr, "siskin: cannot write the output: %s\n",
            output_errno ? strerror(output_errno) : "some of it was not taken");
    return status == STATUS_OK ? STATUS_FAILED : status;
}
