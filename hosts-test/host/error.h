/* SPDX-License-Identifier: ISC */
/* error.h: why something failed, as one line of plain text without a final newline or full stop. */
#ifndef SISKIN_HOST_ERROR_H
#define SISKIN_HOST_ERROR_H

#include <stdbool.h>

typedef struct {
    char text[1024];
} HostError;

/* Formats into `error` (which may be NULL); returns false, so that callers can return it. */
bool host_fail(HostError *error, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
