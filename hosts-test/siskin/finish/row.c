/* SPDX-License-Identifier: ISC */
#include "siskin/finish/row.h"

#include "siskin/safe.h"
#include "siskin/text.h"
#include "siskin/text_file.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const row_text_names[ROW_TEXTS] = {"result", "why",     "phrases", "steps",
                                               "stays",  "by_hand", "edited",  "note"};

const char *const row_number_names[ROW_NUMBERS] = {
    "length_s", "rate_hz",  "channels", "was_lufs", "was_peak_dbtp", "lufs",           "peak_dbtp",
    "short_lu", "drive_db", "apart_ms", "tight_ms", "colour_off_db", "coloured_off_db"};

Row row_new(void) {
    Row row = {{NULL}, {0.0}};
    for (int i = 0; i < ROW_NUMBERS; i++)
        row.number[i] = (double)NAN;
    return row;
}

void row_free(Row *row) {
    for (int i = 0; i < ROW_TEXTS; i++)
        free(row->text[i]);
}

void row_set(Row *row, RowText which, const char *text) {
    char *copy = text ? text_copy(text) : NULL;
    for (char *at = copy; at && *at; at++)
        if (iscntrl((unsigned char)*at))
            *at = ' '; /* a row has a line a text */
    free(row->text[which]);
    row->text[which] = copy;
}

bool row_failed(const Row *row) {
    return row->text[ROW_RESULT] && strcmp(row->text[ROW_RESULT], "failed") == 0;
}

/* "NAME VALUE" */
static void take_line(Row *row, const char *line) {
    size_t length = strcspn(line, " ");
    const char *value = line + length + (line[length] == ' ');
    for (int i = 0; i < ROW_TEXTS; i++)
        if (strlen(row_text_names[i]) == length && strncmp(line, row_text_names[i], length) == 0)
            row_set(row, (RowText)i, value);
    for (int i = 0; i < ROW_NUMBERS; i++)
        if (strlen(row_number_names[i]) == length &&
            strncmp(line, row_number_names[i], length) == 0 && !text_number(value, &row->number[i]))
            row->number[i] = (double)NAN;
}

Row row_read(const char *path) {
    HostError error;
    Row row = row_new();
    char *text = NULL;
    size_t size = 0;
    if (text_file_read(path, "the row", &text, &size, &error))
        for (char *line = strtok(text, "\n"); line; line = strtok(NULL, "\n"))
            take_line(&row, line);
    free(text);
    return row;
}

bool row_write(const char *path, const Row *row, HostError *error) {
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    for (int i = 0; file && i < ROW_TEXTS; i++)
        if (row->text[i])
            fprintf(file, "%s %s\n", row_text_names[i], row->text[i]);
    for (int i = 0; file && i < ROW_NUMBERS; i++)
        if (isfinite(row->number[i]))
            fprintf(file, "%s %.6g\n", row_number_names[i], row->number[i]);
    bool fine = file && fclose(file) == 0;
    fine = fine ? safe_put_text(path, text, error) : host_fail(error, "%s: out of memory", path);
    free(text);
    return fine;
}
