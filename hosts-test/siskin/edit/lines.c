/* SPDX-License-Identifier: ISC */
#include "siskin/edit/lines.h"

#include "siskin/text_file.h"

#include <stdlib.h>
#include <string.h>

/* Where a word that begins at *at ends; one in quotes begins behind the first. */
static size_t word_length(char **at) {
    if (**at != '"' || !strchr(*at + 1, '"'))
        return strcspn(*at, " \t\r\n");
    return strcspn(++*at, "\"");
}

/* Cuts a line at white space, up to a comment, in place. */
static size_t split(char *text, char *word[LINES_MOST_WORDS]) {
    size_t count = 0;
    for (char *at = text + strspn(text, " \t\r\n"); *at && *at != '#';) {
        size_t length = word_length(&at);
        if (count == LINES_MOST_WORDS)
            return LINES_MOST_WORDS + 1;
        word[count++] = at;
        at += length;
        if (*at)
            *at++ = '\0';
        at += strspn(at, " \t\r\n");
    }
    return count;
}

/* `text` is cut into lines and words in place. */
static bool take_lines(const char *path, char *text, LinesTake *take, void *user,
                       HostError *error) {
    HostError why;
    for (int number = 1; *text; number++) {
        char *word[LINES_MOST_WORDS];
        size_t length = strcspn(text, "\n");
        char *next = text + length + (text[length] == '\n');
        text[length] = '\0';
        size_t count = split(text, word);
        if (count > 0 && !take(user, word, count, &why))
            return host_fail(error, "%s, line %d: %s", path, number, why.text);
        text = next;
    }
    return true;
}

bool lines_read(const char *path, const char *what, LinesTake *take, void *user, HostError *error) {
    char *text = NULL;
    size_t size = 0;
    bool fine = text_file_read(path, what, &text, &size, error);
    if (fine && strlen(text) != size)
        fine = host_fail(error, "%s is no text", path);
    fine = fine && take_lines(path, text, take, user, error);
    free(text);
    return fine;
}
