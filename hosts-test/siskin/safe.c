/* SPDX-License-Identifier: ISC */
#include "siskin/safe.h"

#include "siskin/text.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

/* Names to remove when a signal ends the process. A handler can reach nothing but globals. */
static char *volatile unfinished[SAFE_MOST];

static const int ENDING[] = {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE};

static void remove_and_die(int signal_number) {
    for (size_t i = 0; i < SAFE_MOST; i++)
        if (unfinished[i])
            unlink(unfinished[i]);
    for (size_t i = 0; i < SAFE_MOST; i++) /* folders, now that they are empty */
        if (unfinished[i])
            rmdir(unfinished[i]);
    signal(signal_number, SIG_DFL);
    raise(signal_number);
}

void safe_catch_signals(void) {
    struct sigaction action = {.sa_handler = remove_and_die, .sa_flags = SA_RESTART};
    sigemptyset(&action.sa_mask);
    for (size_t i = 0; i < sizeof ENDING / sizeof *ENDING; i++) {
        struct sigaction before;
        /* nohup and background jobs of a shell ignore some of these on purpose. */
        if (sigaction(ENDING[i], NULL, &before) == 0 && before.sa_handler != SIG_IGN)
            sigaction(ENDING[i], &action, NULL);
    }
    signal(SIGXFSZ, SIG_IGN);
}

/* The path that a write to `path` ends up at: its links followed where they lead to a file. */
static char *follow(const char *path) {
    char *real = realpath(path, NULL);
    return real ? real : text_copy(path);
}

/* ".NAME.HASH.": what the parts of a path begin with. File names end at 255 bytes: the name is cut
 * so that the additions always fit, and its hash keeps those apart that begin alike. */
static char *part_front(const char *path) {
    const char *base = text_base(path);
    return text_print(".%.180s.%016llx.", base,
                      (unsigned long long)text_hash(TEXT_HASH_BEGIN, base, strlen(base)));
}

static char *folder_of(const char *path) {
    char *copy = text_copy(path);
    char *folder = text_copy(dirname(copy));
    free(copy);
    return folder;
}

static char *part_name(const char *path, pid_t process) {
    char *folder = folder_of(path), *front = part_front(path);
    char *name = text_print("%s/%s%ld.part", folder, front, (long)process);
    free(folder);
    free(front);
    return name;
}

/* Whether nobody writes this part any more: who does has it locked. */
static bool is_orphan(const char *part, const char *process) {
    int fd = open(part, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    bool dead = kill((pid_t)strtol(process, NULL, 10), 0) != 0 && errno == ESRCH;
    bool orphan = fd >= 0 && dead && flock(fd, LOCK_EX | LOCK_NB) == 0;
    if (fd >= 0)
        close(fd);
    return orphan;
}

/* What runs that were killed outright have left of this file. */
static void remove_orphans(const char *path) {
    char *folder = folder_of(path), *front = part_front(path);
    DIR *dir = opendir(folder);
    for (const struct dirent *entry; dir && (entry = readdir(dir));) {
        const char *process = entry->d_name + strlen(front);
        if (strncmp(entry->d_name, front, strlen(front)) != 0 || !isdigit((unsigned char)*process))
            continue;
        char *part = text_print("%s/%s", folder, entry->d_name);
        if (is_orphan(part, process))
            unlink(part);
        free(part);
    }
    if (dir)
        closedir(dir);
    free(folder);
    free(front);
}

static int free_slot(void) {
    for (int i = 0; i < SAFE_MOST; i++)
        if (!unfinished[i])
            return i;
    return -1;
}

static mode_t usual_mode(void) {
    mode_t mask = umask(0);
    umask(mask);
    return 0666 & ~mask;
}

static bool fail_open(SafeFile *file, HostError *error, const char *why) {
    host_fail(error, "cannot write %s: %s", file->path, why);
    free(file->path);
    free(file->part);
    *file = (SafeFile){.fd = -1, .slot = -1};
    return false;
}

bool safe_open(SafeFile *file, const char *path, HostError *error) {
    struct stat status;
    mode_t mode = usual_mode();
    *file = (SafeFile){.path = follow(path), .fd = -1, .slot = free_slot()};
    if (file->slot < 0)
        return fail_open(file, error, "too many files at once");
    if (stat(file->path, &status) == 0) {
        if (S_ISDIR(status.st_mode))
            return fail_open(file, error, "it is a directory");
        if (!S_ISREG(status.st_mode))
            return fail_open(file, error, "it is not a plain file");
        if (access(file->path, W_OK) != 0)
            return fail_open(file, error, strerror(errno));
        mode = status.st_mode & 07777;
    }
    remove_orphans(file->path);
    file->part = part_name(file->path, getpid());
    unlink(file->part); /* of a dead process that had our number: this one is ours alone */
    unfinished[file->slot] = file->part; /* ahead: a signal may come as soon as it is there */
    file->fd = open(file->part, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
    if (file->fd < 0) {
        unfinished[file->slot] = NULL;
        return fail_open(file, error, strerror(errno));
    }
    flock(file->fd, LOCK_EX | LOCK_NB);                  /* no matter where there are no locks */
    if (fchmod(file->fd, mode) != 0 && errno != EPERM) { /* EPERM: file systems without modes */
        const char *why = strerror(errno);
        safe_discard(file);
        return host_fail(error, "cannot write %s: %s", path, why);
    }
    return true;
}

static void release(SafeFile *file) {
    unfinished[file->slot] = NULL;
    free(file->path);
    free(file->part);
    *file = (SafeFile){.fd = -1, .slot = -1};
}

void safe_discard(SafeFile *file) {
    if (!file->part)
        return;
    if (file->fd >= 0)
        close(file->fd);
    unlink(file->part);
    release(file);
}

char *safe_temporary(HostError *error) {
    const char *temporary = getenv("TMPDIR");
    char *folder = text_print("%s/siskin-XXXXXX", temporary ? temporary : "/tmp");
    int slot = free_slot();
    sigset_t signals, before;
    sigemptyset(&signals);
    for (size_t i = 0; i < sizeof ENDING / sizeof *ENDING; i++)
        sigaddset(&signals, ENDING[i]);
    /* None may come between its being there and its being known. */
    sigprocmask(SIG_BLOCK, &signals, &before);
    bool made = slot >= 0 && mkdtemp(folder);
    if (made)
        unfinished[slot] = folder;
    sigprocmask(SIG_SETMASK, &before, NULL);
    if (made)
        return folder;
    host_fail(error, "cannot make the folder %s: %s", folder,
              slot < 0 ? "too many files at once" : strerror(errno));
    free(folder);
    return NULL;
}

void safe_temporary_end(char *folder) {
    if (!folder)
        return;
    rmdir(folder);
    for (size_t i = 0; i < SAFE_MOST; i++)
        if (unfinished[i] == folder)
            unfinished[i] = NULL;
    free(folder);
}

/* The rename itself is on the disk only when the directory is. */
static void sync_directory(const char *path) {
    char *folder = folder_of(path);
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd);
        close(fd);
    }
    free(folder);
}

static bool bring_to_disk(SafeFile *file, HostError *error) {
    /* EINVAL: a file system that cannot sync; its write errors were seen by write(). */
    bool fine = fsync(file->fd) == 0 || errno == EINVAL || errno == ENOTSUP;
    int why = errno;
    if (close(file->fd) != 0 && fine) {
        fine = false;
        why = errno;
    }
    file->fd = -1;
    return fine || host_fail(error, "cannot write %s: %s", file->path, strerror(why));
}

bool safe_commit(SafeFile *const *files, size_t count, HostError *error) {
    bool fine = true;
    size_t final = 0;
    for (size_t i = 0; i < count && fine; i++)
        fine = bring_to_disk(files[i], error);
    for (; final < count && fine; final++) {
        if (rename(files[final]->part, files[final]->path) != 0) {
            fine = host_fail(error, "cannot write %s: %s", files[final]->path, strerror(errno));
            break;
        }
        sync_directory(files[final]->path);
        release(files[final]);
    }
    for (size_t i = final; i < count; i++)
        safe_discard(files[i]);
    return fine;
}

void safe_remove_leftover(const char *path, pid_t process) {
    char *real = follow(path);
    char *part = part_name(real, process);
    unlink(part);
    free(part);
    free(real);
}

bool safe_same_file(const char *a, const char *b) {
    struct stat sa;
    struct stat sb;
    return stat(a, &sa) == 0 && stat(b, &sb) == 0 && sa.st_dev == sb.st_dev &&
           sa.st_ino == sb.st_ino;
}

size_t safe_write(const SafeFile *file, const void *bytes, size_t n) {
    size_t done = 0;
    while (done < n) {
        ssize_t wrote = write(file->fd, (const char *)bytes + done, n - done);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote == 0)
            errno = ENOSPC;
        if (wrote <= 0)
            break;
        done += (size_t)wrote;
    }
    return done;
}

FILE *safe_stream(const SafeFile *file, HostError *error) {
    int fd = fcntl(file->fd, F_DUPFD_CLOEXEC, 0);
    FILE *stream = fd >= 0 ? fdopen(fd, "w") : NULL;
    if (stream)
        return stream;
    host_fail(error, "cannot write %s: %s", file->path, strerror(errno));
    if (fd >= 0)
        close(fd);
    return NULL;
}

bool safe_stream_end(const SafeFile *file, FILE *stream, HostError *error) {
    errno = 0;
    bool failed = fflush(stream) != 0 || ferror(stream);
    failed = fclose(stream) != 0 || failed;
    return !failed || host_fail(error, "cannot write %s: %s", file->path,
                                errno ? strerror(errno) : "writing failed");
}

bool safe_put_text(const char *path, const char *text, HostError *error) {
    SafeFile safe = {0};
    SafeFile *const files[] = {&safe};
    FILE *file = safe_open(&safe, path, error) ? safe_stream(&safe, error) : NULL;
    if (file)
        fputs(text, file);
    bool fine = file && safe_stream_end(&safe, file, error) && safe_commit(files, 1, error);
    safe_discard(&safe);
    return fine;
}
