/* SPDX-License-Identifier: ISC */
#include "siskin/options.h"

#include "siskin/text.h"

#include <stdio.h>
#include <string.h>

static const Option *find(const Option *options, size_t count, const char *name, size_t length) {
    for (size_t i = 0; i < count; i++)
        if (strlen(options[i].name) == length && strncmp(options[i].name, name, length) == 0)
            return &options[i];
    return NULL;
}

static bool unknown(const Option *options, size_t count, const char *word, HostError *error) {
    const char *names[64];
    size_t n = 0;
    for (; n < count && n < 64; n++)
        names[n] = options[n].name;
    const char *nearest = text_nearest(word + strspn(word, "-"), names, n);
    if (nearest)
        return host_fail(error, "unknown option %s; did you mean --%s?", word, nearest);
    return host_fail(error, "unknown option %s; --help lists them", word);
}

bool options_take(const Option *options, size_t count, int *argc, char **argv, HostError *error) {
    int kept = 0;
    for (int i = 0; i < *argc; i++) {
        char *word = argv[i];
        if (strcmp(word, "--") == 0) {
            while (++i < *argc)
                argv[kept++] = argv[i];
            break;
        }
        if (word[0] != '-' || word[1] == '\0') {
            argv[kept++] = word;
            continue;
        }
        const char *equals = strchr(word, '=');
        size_t length = equals ? (size_t)(equals - word) : strlen(word);
        const Option *option =
            length > 2 && word[1] == '-' ? find(options, count, word + 2, length - 2) : NULL;
        if (!option)
            return unknown(options, count, word, error);
        if (!option->metavar && equals)
            return host_fail(error, "--%s takes no value", option->name);
        if (!option->metavar)
            *option->flag = true;
        else if (equals)
            *option->value = equals + 1;
        else if (i + 1 < *argc)
            *option->value = argv[++i];
        else
            return host_fail(error, "--%s needs a value: --%s %s", option->name, option->name,
                             option->metavar);
    }
    *argc = kept;
    return true;
}

bool options_number(const char *word, const char *name, double least, double most, double *value,
                    HostError *error) {
    if (!word || (text_number(word, value) && *value >= least && *value <= most))
        return true;
    return host_fail(error, "--%s %s: allowed are %g to %g", name, word, least, most);
}

bool options_choice(const char *word, const char *name, const char *const *choices, size_t count,
                    int *value, HostError *error) {
    char list[128] = "";
    for (size_t i = 0; word && i < count; i++) {
        text_add(list, sizeof list, "%s%s", i ? ", " : "", choices[i]);
        if (strcmp(word, choices[i]) == 0) {
            *value = (int)i + 1;
            return true;
        }
    }
    return !word || host_fail(error, "--%s %s: allowed are %s", name, word, list);
}

void options_print(const Option *options, size_t count) {
    enum { COLUMN = 24 };
    for (size_t i = 0; i < count; i++) {
        const Option *option = &options[i];
        int used = printf("  --%s%s%s", option->name, option->metavar ? " " : "",
                          option->metavar ? option->metavar : "");
        for (const char *line = option->help; *line;) {
            int length = (int)strcspn(line, "\n");
            int pad = COLUMN - used > 2 ? COLUMN - used : 2;
            printf("%*s%.*s\n", pad, "", length, line);
            used = 0;
            line += length + (line[length] == '\n');
        }
    }
}
