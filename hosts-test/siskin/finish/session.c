/* SPDX-License-Identifier: ISC */
#include "siskin/finish/session.h"

#include "siskin/edit/comp.h"
#include "siskin/edit/lines.h"
#include "siskin/text.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* File names end at 255 bytes; the names of what is made of a part are longer than its own. */
enum { MOST_NAME = 180 };

static void free_part(SessionPart *part) {
    for (size_t i = 0; i < part->n_takes; i++)
        free(part->takes[i]);
    free(part->takes);
    free(part->name);
    free(part->follows);
    free(part->note);
    free(part->why);
}

void session_free(Session *session) {
    for (size_t i = 0; i < session->n; i++)
        free_part(&session->parts[i]);
    free(session->parts);
    free(session->reference);
    *session = (Session){0};
}

/* Whatever the size of its letters, since some file systems do not tell them apart. session->n:
 * there is none. */
static size_t find(const Session *session, const char *name) {
    size_t i = 0;
    while (i < session->n && strcasecmp(session->parts[i].name, name) != 0)
        i++;
    return i;
}

static SessionPart *add_part(Session *session, char *name) {
    SessionPart *part = text_grow(&session->parts, &session->n, sizeof *part);
    part->name = name;
    return part;
}

static void add_take(SessionPart *part, const char *file) {
    *(char **)text_grow(&part->takes, &part->n_takes, sizeof *part->takes) = text_copy(file);
}

/* ---- names ---- */

static bool is_hyphen(char c) {
    return c == '-' || c == '_' || c == ' ';
}

/* Bytes of a file's name before its extension. */
static size_t stem_length(const char *file) {
    const char *dot = strrchr(file, '.');
    return dot && dot != file ? (size_t)(dot - file) : strlen(file);
}

/* "NAME-takeN" and "takeN": bytes of NAME, and N. A name of another form: all of it, and -1. */
static size_t split_take(const char *stem, size_t length, long *number) {
    static const char word[] = "take";
    const size_t n = sizeof word - 1;
    size_t at = length;
    *number = -1;
    while (at > 0 && isdigit((unsigned char)stem[at - 1]))
        at--;
    size_t digits = at;
    if (at > 0 && is_hyphen(stem[at - 1]))
        at--;
    if (digits == length || at < n || strncasecmp(stem + at - n, word, n) != 0)
        return length;
    at -= n;
    if (at > 0 && !is_hyphen(stem[at - 1]))
        return length;
    *number = strtol(stem + digits, NULL, 10);
    return at > 0 ? at - 1 : 0;
}

static long take_number(const char *file) {
    long number = 0;
    split_take(file, stem_length(file), &number);
    return number;
}

/* "NAME-double...": the NAME; "double...": ""; else NULL. */
static char *doubled(const char *name) {
    static const char word[] = "double";
    const size_t n = sizeof word - 1;
    if (strncasecmp(name, word, n) == 0)
        return text_copy("");
    for (const char *at = name + 1; name[0] && *at; at++)
        if (is_hyphen(*at) && strncasecmp(at + 1, word, n) == 0)
            return text_print("%.*s", (int)(at - name), name);
    return NULL;
}

/* ---- by names ---- */

static void sort_takes(SessionPart *part) {
    for (size_t i = 1; i < part->n_takes; i++)
        for (size_t k = i; k > 0 && take_number(part->takes[k]) < take_number(part->takes[k - 1]);
             k--) {
            char *other = part->takes[k];
            part->takes[k] = part->takes[k - 1];
            part->takes[k - 1] = other;
        }
}

static void sort_file(Session *session, const char *file) {
    long number = 0;
    size_t stem = stem_length(file);
    if (stem == strlen("reference") && strncasecmp(file, "reference", stem) == 0) {
        free(session->reference);
        session->reference = text_copy(file);
        return;
    }
    size_t length = split_take(file, stem, &number);
    char *name = length ? text_print("%.*s", (int)length, file) : text_copy("lead");
    size_t i = find(session, name);
    SessionPart *part = i < session->n ? &session->parts[i] : add_part(session, text_copy(name));
    for (size_t t = 0; t < part->n_takes && number < 0 && !part->why; t++)
        if (take_number(part->takes[t]) < 0)
            part->why = text_print("%s and %s have one name; call them %s-take1 and %s-take2 if "
                                   "they are takes of one part",
                                   part->takes[t], file, name, name);
    add_take(part, file);
    free(name);
}

/* The only part that is no double; session->n: there is none, or several. */
static size_t only_lead(const Session *session) {
    size_t lead = session->n, count = 0;
    for (size_t i = 0; i < session->n; i++) {
        char *name = doubled(session->parts[i].name);
        if (!name) {
            lead = i;
            count++;
        }
        free(name);
    }
    return count == 1 ? lead : session->n;
}

static void find_leader(const Session *session, SessionPart *part) {
    char *name = doubled(part->name);
    size_t leader = !name ? session->n : *name ? find(session, name) : only_lead(session);
    if (leader < session->n)
        part->follows = text_copy(session->parts[leader].name);
    else if (name && *name)
        part->note = text_print("there is no part %s to follow; it keeps its own time", name);
    else if (name)
        part->note = text_copy("not one part alone to follow; it keeps its own time");
    free(name);
}

/* Those that follow come last: what they follow is then under work or done. */
static void put_in_order(Session *session) {
    SessionPart *parts = text_take(session->n + 1, sizeof *parts);
    size_t n = 0;
    for (int follower = 0; follower < 2; follower++)
        for (size_t i = 0; i < session->n; i++)
            if ((session->parts[i].follows != NULL) == follower)
                parts[n++] = session->parts[i];
    free(session->parts);
    session->parts = parts;
    for (size_t i = 0; i < n; i++)
        if (parts[i].follows)
            parts[i].leader = find(session, parts[i].follows);
}

/* What no name of a file or a word of a plan can be. */
static const char *bad_name(const char *name) {
    if (!*name || *name == '.' || strchr(name, '/'))
        return "the name of a part is that of a file: no slash, and no dot in front";
    if (strlen(name) > MOST_NAME)
        return "its name is too long";
    for (const char *at = name; *at; at++)
        if (iscntrl((unsigned char)*at) || *at == '"')
            return "its name holds a quote or a control character";
    return NULL;
}

static void check_part(SessionPart *part) {
    const char *why = bad_name(part->name);
    if (!part->why && why)
        part->why = text_copy(why);
    if (!part->why && part->n_takes > COMP_TAKES)
        part->why = text_print("%zu takes; allowed are %d", part->n_takes, COMP_TAKES);
}

void session_sort(Session *session, const FilesList *takes) {
    *session = (Session){0};
    for (size_t i = 0; i < takes->n; i++)
        sort_file(session, takes->name[i]);
    for (size_t i = 0; i < session->n; i++) {
        find_leader(session, &session->parts[i]);
        sort_takes(&session->parts[i]);
        check_part(&session->parts[i]);
    }
    put_in_order(session);
}

/* ---- by a plan ---- */

static bool set_once(char **to, const char *word, const char *statement, HostError *error) {
    if (*to)
        return host_fail(error, "'%s' is there twice", statement);
    *to = text_copy(word);
    return true;
}

static bool begin_part(Session *session, const char *name, HostError *error) {
    const char *bad = bad_name(name);
    if (bad)
        return host_fail(error, "%s: %s", name, bad);
    if (find(session, name) < session->n)
        return host_fail(error, "there is a part %s already", name);
    add_part(session, text_copy(name));
    return true;
}

static bool take_statement(void *user, char *const *word, size_t count, HostError *error) {
    Session *session = user;
    SessionPart *part = session->n ? &session->parts[session->n - 1] : NULL;
    bool of_part = strcmp(word[0], "take") == 0 || strcmp(word[0], "follows") == 0;
    if (!of_part && strcmp(word[0], "part") != 0 && strcmp(word[0], "reference") != 0)
        return host_fail(error, "'%s': write part, take, follows or reference", word[0]);
    if (count != 2)
        return host_fail(error, "'%s' wants one name behind it; put one with spaces in \"quotes\"",
                         word[0]);
    if (strcmp(word[0], "reference") == 0)
        return set_once(&session->reference, word[1], word[0], error);
    if (!of_part)
        return begin_part(session, word[1], error);
    if (!part)
        return host_fail(error, "'%s' belongs to a part; begin one with: part NAME", word[0]);
    if (word[0][0] == 'f')
        return set_once(&part->follows, word[1], word[0], error);
    add_take(part, word[1]);
    return true;
}

static bool check_plan(const Session *session, const char *plan, HostError *error) {
    if (session->n == 0)
        return host_fail(error, "%s names no part", plan);
    for (size_t i = 0; i < session->n; i++) {
        const SessionPart *part = &session->parts[i];
        size_t leader = part->follows ? find(session, part->follows) : i;
        if (part->n_takes == 0)
            return host_fail(error, "%s: the part %s has no take", plan, part->name);
        if (leader == session->n)
            return host_fail(error, "%s: %s follows %s, which is no part", plan, part->name,
                             part->follows);
        if (part->follows && leader == i)
            return host_fail(error, "%s: %s follows itself", plan, part->name);
        if (part->follows && session->parts[leader].follows)
            return host_fail(error, "%s: %s follows %s, which itself follows %s; name that", plan,
                             part->name, part->follows, session->parts[leader].follows);
    }
    return true;
}

bool session_read(Session *session, const char *plan, HostError *error) {
    *session = (Session){0};
    if (!lines_read(plan, "the plan", take_statement, session, error) ||
        !check_plan(session, plan, error))
        return false;
    for (size_t i = 0; i < session->n; i++)
        check_part(&session->parts[i]);
    put_in_order(session);
    return true;
}

/* ---- as text ---- */

static void print_word(FILE *file, const char *statement, const char *word) {
    char plain[1024];
    const char *quote = strpbrk(word, " #\t") || !*word ? "\"" : "";
    fprintf(file, "%s %s%s%s\n", statement, quote, text_plain(plain, sizeof plain, word), quote);
}

static void print_remark(FILE *file, const char *remark) {
    char plain[1024];
    if (remark)
        fprintf(file, "  # %s\n", text_plain(plain, sizeof plain, remark));
}

void session_print(FILE *file, const Session *session, const char *folder) {
    char plain[1024];
    fprintf(file, "# What siskin finish makes of %s. Change what you like, then:\n",
            text_plain(plain, sizeof plain, folder));
    fputs("#   siskin finish FOLDER --into OUT --by THIS-FILE\n"
          "# part NAME     becomes OUT/NAME.wav\n"
          "# take FILE     of several the best phrases are joined\n"
          "# follows NAME  is brought into time with that part\n"
          "# reference FILE  gives its colour to all\n\n",
          file);
    if (session->reference)
        print_word(file, "reference", session->reference);
    for (size_t i = 0; i < session->n; i++) {
        const SessionPart *part = &session->parts[i];
        print_word(file, "part", part->name);
        if (part->follows)
            print_word(file, "  follows", part->follows);
        for (size_t t = 0; t < part->n_takes; t++)
            print_word(file, "  take", part->takes[t]);
        print_remark(file, part->note);
        print_remark(file, part->why);
    }
}
