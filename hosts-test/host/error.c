/* SPDX-License-Identifier: ISC */
#include "host/error.h"

#include <stdarg.h>
#include <stdio.h>

bool host_fail(HostError *error, const char *format, ...) {
    if (!error)
        return false;
    va_list args;
    va_start(args, format);
    vsnprintf(error->text, sizeof error->text, format, args);
    va_end(args);
    return false;
}
