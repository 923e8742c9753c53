/* SPDX-License-Identifier: ISC */
#include "siskin/text_file.h"

#include "siskin/text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MAX_BYTES = 1 << 20, PATIENCE_MS = 10000 };

/* Waits for more from a pipe or device, whose writer may never come. */
static bool is_ready(int fd) {
    struct pollfd ready = {.fd = fd, .events = POLLIN};
    return poll(&ready, 1, PATIENCE_MS) == 1;
}

/* Reads up to one byte more than there may be. */
static bool read_bytes(int fd, char *text, size_t *size) {
    ssize_t got = 0;
    errno = ETIMEDOUT;
    do {
        if (!is_ready(fd))
            return false;
        got = read(fd, text + *size, MAX_BYTES + 1 - *size);
        *size += got > 0 ? (size_t)got : 0;
    } while ((got > 0 && *size <= MAX_BYTES) || (got < 0 && (errno == EAGAIN || errno == EINTR)));
    return got >= 0;
}

/* A pipe that nobody has opened yet is at its end for who does not wait to open it. */
static bool wait_for_writer(int fd) {
    struct stat status;
    struct pollfd ready = {.fd = fd, .events = POLLIN};
    return fstat(fd, &status) != 0 || !S_ISFIFO(status.st_mode) ||
           (poll(&ready, 1, PATIENCE_MS) == 1 && (ready.revents & (POLLIN | POLLHUP)));
}

bool text_file_read(const char *path, const char *what, char **text, size_t *size,
                    HostError *error) {
    struct stat status;
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    const char *why = NULL;
    *text = text_take(MAX_BYTES + 2, 1);
    *size = 0;
    if (fd < 0)
        return host_fail(error, "cannot read %s %s: %s", what, path, strerror(errno));
    if (fstat(fd, &status) == 0 && S_ISDIR(status.st_mode))
        why = "it is a directory";
    else if (!wait_for_writer(fd))
        why = "it is a pipe, and nobody writes to it";
    else if (!read_bytes(fd, *text, size))
        why = strerror(errno);
    else if (*size > MAX_BYTES)
        why = "it is longer than 1 MB";
    close(fd);
    return !why || host_fail(error, "cannot read %s %s: %s", what, path, why);
}
