/* SPDX-License-Identifier: ISC */
/* browser.h: for Check suites: a page in headless Chromium, driven over a pipe by the DevTools
 * protocol: messages are JSON, each ended by a zero byte (--remote-debugging-pipe: the browser
 * reads descriptor 3 and writes descriptor 4).
 *
 * Functions are inline because each suite uses some of them. */
#ifndef SISKIN_TESTS_BROWSER_H
#define SISKIN_TESTS_BROWSER_H

#include <check.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

enum { BROWSER_PATIENCE_MS = 30000 };

typedef struct {
    pid_t process;
    int to, from;
    int number;   /* of the last command */
    char *heard;  /* all messages so far, a line each */
    size_t size;  /* bytes of them */
    size_t start; /* of the message that is coming in */
    char session[80];
} Browser;

/* ---- the process ---- */

static inline _Noreturn void be_browser(int in, int out) {
    int null = open("/dev/null", O_RDWR);
    dup2(null, STDOUT_FILENO);
    dup2(null, STDERR_FILENO);
    int in_again = fcntl(in, F_DUPFD, 10), out_again = fcntl(out, F_DUPFD, 10);
    dup2(in_again, 3);
    dup2(out_again, 4);
    /* In a container and as root there is no sandbox to be had; the page is our own. */
    execlp("chromium", "chromium", "--headless=new", "--no-sandbox", "--disable-gpu",
           "--disable-dev-shm-usage", "--no-first-run", "--user-data-dir=browser-profile",
           "--remote-debugging-pipe", "--autoplay-policy=no-user-gesture-required", "about:blank",
           (char *)NULL);
    _exit(127);
}

/* The next message, or NULL when none comes in time. It stays where it is in `heard`. */
static inline const char *browser_hear(Browser *b) {
    for (;;) {
        char *end = memchr(b->heard + b->start, '\0', b->size - b->start);
        if (end) {
            const char *message = b->heard + b->start;
            b->start = (size_t)(end + 1 - b->heard);
            return message;
        }
        struct pollfd ready = {.fd = b->from, .events = POLLIN};
        if (poll(&ready, 1, BROWSER_PATIENCE_MS) <= 0)
            return NULL;
        b->heard = realloc(b->heard, b->size + 65536);
        ck_assert_ptr_nonnull(b->heard);
        ssize_t got = read(b->from, b->heard + b->size, 65536);
        if (got <= 0)
            return NULL;
        b->size += (size_t)got;
    }
}

/* Sends METHOD with PARAMETERS (JSON) and waits for its answer. */
static inline const char *browser_ask(Browser *b, const char *method, const char *parameters) {
    char id[32];
    char session[128] = "";
    b->number++;
    snprintf(id, sizeof id, "{\"id\":%d,", b->number);
    if (b->session[0])
        snprintf(session, sizeof session, ",\"sessionId\":\"%s\"", b->session);
    size_t size = strlen(parameters) + strlen(method) + 256;
    char *message = malloc(size);
    ck_assert_ptr_nonnull(message);
    int length = snprintf(message, size, "%s\"method\":\"%s\",\"params\":%s%s}", id, method,
                          parameters, session);
    ck_assert_int_eq(write(b->to, message, (size_t)length + 1), length + 1);
    free(message);
    for (const char *answer; (answer = browser_hear(b));)
        if (strncmp(answer, id, strlen(id)) == 0)
            return answer;
    ck_abort_msg("no answer to %s from the browser", method);
    return NULL;
}

/* The text after "NAME":" up to the next quote. */
static inline void browser_field(const char *message, const char *name, char *to, size_t size) {
    char key[64];
    snprintf(key, sizeof key, "\"%s\":\"", name);
    const char *at = strstr(message, key);
    ck_assert_msg(at != NULL, "no %s in: %.500s", name, message);
    at += strlen(key);
    snprintf(to, size, "%.*s", (int)strcspn(at, "\""), at);
}

static inline void browser_open(Browser *b) {
    int there[2];
    int back[2];
    char target[80];
    char parameters[160];
    *b = (Browser){.heard = malloc(1)};
    ck_assert_int_eq(pipe2(there, O_CLOEXEC), 0);
    ck_assert_int_eq(pipe2(back, O_CLOEXEC), 0);
    b->process = fork();
    if (b->process == 0)
        be_browser(there[0], back[1]);
    ck_assert_int_gt(b->process, 0);
    close(there[0]);
    close(back[1]);
    b->to = there[1];
    b->from = back[0];
    browser_field(browser_ask(b, "Target.createTarget", "{\"url\":\"about:blank\"}"), "targetId",
                  target, sizeof target);
    snprintf(parameters, sizeof parameters, "{\"targetId\":\"%s\",\"flatten\":true}", target);
    browser_field(browser_ask(b, "Target.attachToTarget", parameters), "sessionId", b->session,
                  sizeof b->session);
    browser_ask(b, "Runtime.enable", "{}");
    browser_ask(b, "Log.enable", "{}");
    browser_ask(b, "Network.enable", "{}");
    browser_ask(b, "Page.enable", "{}");
}

/* Ends the browser that browser_open started. */
static inline void browser_close(Browser *b) {
    b->session[0] = '\0';
    browser_ask(b, "Browser.close", "{}");
    close(b->to);
    close(b->from);
    for (int tenths = 0; waitpid(b->process, NULL, WNOHANG) == 0; tenths++) {
        if (tenths == 100)
            kill(b->process, SIGKILL);
        usleep(100000);
    }
    free(b->heard);
}

/* ---- the page ---- */

static inline void browser_size(Browser *b, int width, int height, bool dark) {
    char parameters[200];
    snprintf(parameters, sizeof parameters,
             "{\"width\":%d,\"height\":%d,\"deviceScaleFactor\":1,\"mobile\":%s}", width, height,
             width < 600 ? "true" : "false");
    browser_ask(b, "Emulation.setDeviceMetricsOverride", parameters);
    snprintf(parameters, sizeof parameters,
             "{\"features\":[{\"name\":\"prefers-color-scheme\",\"value\":\"%s\"}]}",
             dark ? "dark" : "light");
    browser_ask(b, "Emulation.setEmulatedMedia", parameters);
}

/* What a script gives: the body of an async function that returns a text without quotes. The script
 * itself holds no double quotes, backslashes or ends of lines. */
static inline void browser_run(Browser *b, const char *body, char *to, size_t size) {
    size_t room = strlen(body) + 256;
    char *parameters = malloc(room);
    ck_assert_ptr_nonnull(parameters);
    snprintf(parameters, room,
             "{\"expression\":\"(async () => { %s })()\",\"awaitPromise\":true,"
             "\"returnByValue\":true,\"userGesture\":true}",
             body);
    const char *answer = browser_ask(b, "Runtime.evaluate", parameters);
    ck_assert_msg(strstr(answer, "exceptionDetails") == NULL, "%s\n%s", body, answer);
    browser_field(answer, "value", to, size);
    free(parameters);
}

/* Opens a file of the present directory, and waits until its script has set data-ready. */
static inline void browser_load(Browser *b, const char *name) {
    char folder[2048];
    char parameters[4200];
    char outcome[16];
    ck_assert_ptr_nonnull(getcwd(folder, sizeof folder));
    snprintf(parameters, sizeof parameters, "{\"url\":\"file://%s/%s\"}", folder, name);
    browser_ask(b, "Page.navigate", parameters);
    browser_run(b,
                "const began = Date.now();"
                "while (!(document.body && document.body.dataset.ready)) {"
                "  if (Date.now() - began > 20000) return 'never';"
                "  await new Promise((done) => setTimeout(done, 20)); }"
                "return 'ready';",
                outcome, sizeof outcome);
    ck_assert_str_eq(outcome, "ready");
}

/* Fails when anything went wrong that a console would show, or anything was fetched that is not the
 * page itself or inside of it. */
static inline void browser_check_clean(const Browser *b) {
    static const char *const bad[] = {"\"method\":\"Runtime.exceptionThrown\"",
                                      "\"method\":\"Log.entryAdded\"",
                                      "\"method\":\"Runtime.consoleAPICalled\""};
    for (size_t at = 0; at < b->start; at += strlen(b->heard + at) + 1) {
        const char *message = b->heard + at;
        for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
            ck_assert_msg(strstr(message, bad[i]) == NULL, "%s", message);
        if (!strstr(message, "\"method\":\"Network.requestWillBeSent\""))
            continue;
        const char *request = strstr(message, "\"request\":{\"url\":\"");
        ck_assert_ptr_nonnull(request);
        request += strlen("\"request\":{\"url\":\"");
        ck_assert_msg(strncmp(request, "file:///", 8) == 0 || strncmp(request, "data:", 5) == 0,
                      "fetched: %.200s", request);
    }
}

#endif
