/* SPDX-License-Identifier: ISC */
#include "contract/guard.h"

#include <dlfcn.h>
#include <errno.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <malloc.h>
#include <pthread.h>
#include <semaphore.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <threads.h>
#include <unistd.h>

#ifdef __has_feature
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer) ||                         \
    __has_feature(memory_sanitizer)
#define WATCHED_OTHERWISE 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define WATCHED_OTHERWISE 1
#endif

static _Thread_local bool armed;
static _Thread_local const char *seen;

void guard_arm(void) {
    seen = NULL;
    armed = true;
}

const char *guard_disarm(void) {
    armed = false;
    return seen;
}

#ifdef WATCHED_OTHERWISE

bool guard_works(void) {
    return false;
}
void guard_fill_memory(int byte) {
    (void)byte;
}
size_t guard_live_bytes(void) {
    return 0;
}

#else

/* Valgrind loads its own malloc this way, and nobody else does. */
bool guard_works(void) {
    const char *preload = getenv("LD_PRELOAD");
    return !preload || !strstr(preload, "vgpreload");
}

static void note(const char *name) {
    if (armed && !seen)
        seen = name;
}

/* ---- memory ---- */

/* Plugins must find these before the C library's, though everything else here is hidden. */
#pragma GCC visibility push(default)

/* The C library's own entry points, which it exports for this purpose. */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *memory, size_t size);
void *__libc_memalign(size_t alignment, size_t size);
void __libc_free(void *memory);

static atomic_int fill = -1;
static atomic_size_t live;

void guard_fill_memory(int byte) {
    atomic_store(&fill, byte);
}

size_t guard_live_bytes(void) {
    return atomic_load(&live);
}

static void *handed_out(void *memory, bool raw) {
    if (!memory)
        return NULL;
    size_t size = malloc_usable_size(memory);
    atomic_fetch_add(&live, size);
    int byte = atomic_load(&fill);
    if (raw && byte >= 0)
        memset(memory, byte, size);
    return memory;
}

void *malloc(size_t size) {
    note("malloc");
    return handed_out(__libc_malloc(size), true);
}

void *calloc(size_t count, size_t size) {
    note("calloc");
    return handed_out(__libc_calloc(count, size), false);
}

void *realloc(void *memory, size_t size) {
    note("realloc");
    size_t before = memory ? malloc_usable_size(memory) : 0;
    void *moved = __libc_realloc(memory, size);
    if (moved || size == 0)
        atomic_fetch_sub(&live, before);
    return handed_out(moved, false);
}

void free(void *memory) {
    note("free");
    if (memory)
        atomic_fetch_sub(&live, malloc_usable_size(memory));
    __libc_free(memory);
}

void *memalign(size_t alignment, size_t size) {
    note("memalign");
    return handed_out(__libc_memalign(alignment, size), true);
}

void *aligned_alloc(size_t alignment, size_t size) {
    note("aligned_alloc");
    return handed_out(__libc_memalign(alignment, size), true);
}

int posix_memalign(void **memory, size_t alignment, size_t size) {
    note("posix_memalign");
    void *taken = handed_out(__libc_memalign(alignment, size), true);
    if (!taken)
        return ENOMEM;
    *memory = taken;
    return 0;
}

/* ---- locks ---- */

/* The next definition of `name` after ours, as a function. Looked up once for each. */
typedef void (*AnyFunction)(void);
static AnyFunction next(const char *name, AnyFunction *kept) {
    if (!*kept) {
        bool was = armed;
        armed = false; /* the look-up may take memory; that is not the watched code's doing */
        void *found = dlsym(RTLD_NEXT, name);
        memcpy(kept, &found, sizeof found);
        armed = was;
    }
    return *kept; // cppcheck-suppress CastIntegerToAddressAtReturn
}

/* int name(type *), which notes its name and hands on.
 * NOLINTBEGIN(bugprone-macro-parentheses): a type may not stand in parentheses */
#define HAND_ON(name, type)                                                                        \
    int name(type *object) {                                                                       \
        static AnyFunction kept;                                                                   \
        note(#name);                                                                               \
        return ((int (*)(type *))next(#name, &kept))(object);                                      \
    }

/* NOLINTEND(bugprone-macro-parentheses) */

HAND_ON(pthread_mutex_lock, pthread_mutex_t)
HAND_ON(pthread_mutex_trylock, pthread_mutex_t)
HAND_ON(pthread_mutex_unlock, pthread_mutex_t)
HAND_ON(pthread_rwlock_rdlock, pthread_rwlock_t)
HAND_ON(pthread_rwlock_wrlock, pthread_rwlock_t)
HAND_ON(pthread_rwlock_unlock, pthread_rwlock_t)
HAND_ON(sem_wait, sem_t)
HAND_ON(sem_trywait, sem_t)
HAND_ON(sem_post, sem_t)
HAND_ON(mtx_lock, mtx_t)
HAND_ON(mtx_trylock, mtx_t)
HAND_ON(mtx_unlock, mtx_t)

int pthread_spin_lock(pthread_spinlock_t *lock) {
    static AnyFunction kept;
    note("pthread_spin_lock");
    return ((int (*)(pthread_spinlock_t *))next("pthread_spin_lock", &kept))(lock);
}

int pthread_once(pthread_once_t *control, void (*routine)(void)) {
    static AnyFunction kept;
    note("pthread_once");
    return ((int (*)(pthread_once_t *, void (*)(void)))next("pthread_once", &kept))(control,
                                                                                    routine);
}

#pragma GCC visibility pop

#endif

/* ---- system calls ---- */

#if defined(__x86_64__)
#define AUDIT_ARCH_HERE AUDIT_ARCH_X86_64
#elif defined(__i386__)
#define AUDIT_ARCH_HERE AUDIT_ARCH_I386
#elif defined(__aarch64__)
#define AUDIT_ARCH_HERE AUDIT_ARCH_AARCH64
#endif

enum { REPORT_RETURNED = -1, REPORT_UNAVAILABLE = -2 };
static int report_pipe;

static void report(int what) {
    if (write(report_pipe, &what, sizeof what) != sizeof what)
        abort();
    _exit(0);
}

static void on_system_call(int signal, siginfo_t *info, void *context) {
    (void)signal, (void)context;
    report(info->si_syscall);
}

/* Permits leaving the process and writing to the report pipe. Everything else raises SIGSYS. */
static bool forbid_system_calls(void) {
#ifdef AUDIT_ARCH_HERE
    struct sock_filter code[] = {
        BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, arch)),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, AUDIT_ARCH_HERE, 0, 5),
        BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, nr)),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, SYS_exit_group, 4, 0),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, SYS_write, 0, 2),
        /* the low half of the first argument; all processors above are little-endian */
        BPF_STMT(BPF_LD | BPF_W | BPF_ABS, offsetof(struct seccomp_data, args)),
        BPF_JUMP(BPF_JMP | BPF_JEQ | BPF_K, (uint32_t)report_pipe, 1, 0),
        BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_TRAP),
        BPF_STMT(BPF_RET | BPF_K, SECCOMP_RET_ALLOW),
    };
    struct sock_fprog program = {.len = sizeof code / sizeof *code, .filter = code};
    return prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0 &&
           prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program) == 0;
#else
    return false;
#endif
}

static void child(void (*work)(void *), void *user) {
    struct sigaction action = {.sa_sigaction = on_system_call, .sa_flags = SA_SIGINFO};
    sigaction(SIGSYS, &action, NULL);
    if (!forbid_system_calls())
        report(REPORT_UNAVAILABLE);
    work(user);
    report(REPORT_RETURNED);
}

GuardVerdict guard_system_calls(void (*work)(void *user), void *user, int *call) {
    int ends[2];
    if (!guard_works() || pipe(ends) != 0)
        return GUARD_UNAVAILABLE;
    pid_t pid = fork();
    if (pid == 0) {
        close(ends[0]);
        report_pipe = ends[1];
        child(work, user);
    }
    close(ends[1]);
    int what = 0;
    bool reported = pid > 0 && read(ends[0], &what, sizeof what) == sizeof what;
    close(ends[0]);
    if (pid > 0)
        waitpid(pid, NULL, 0);
    if (!reported)
        return GUARD_CRASHED;
    if (what == REPORT_UNAVAILABLE)
        return GUARD_UNAVAILABLE;
    if (what == REPORT_RETURNED)
        return GUARD_NO_CALL;
    *call = what;
    return GUARD_CALLED;
}

static void nothing(void *user) {
    (void)user;
}

bool guard_filters(void) {
    static int known = -1;
    int call = 0;
    if (known < 0)
        known = guard_system_calls(nothing, NULL, &call) != GUARD_UNAVAILABLE;
    return known != 0;
}
