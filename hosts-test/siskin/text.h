/* SPDX-License-Identifier: ISC */
/* text.h: small helpers for reading words and writing lines. */
#ifndef SISKIN_TEXT_H
#define SISKIN_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* calloc and strdup that end the program with a message when memory is out: what they hold here is
 * small, and a program that cannot get it has nothing useful left to say. */
void *text_take(size_t count, size_t size);
char *text_copy(const char *text);
/* What they name in that message (it must stay; NULL: nothing), and the exit status. */
void text_no_memory(const char *what, int status);
/* printf into new memory. */
char *text_print(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* realloc for one more element of `size` bytes, zeroed; returns its address. */
void *text_grow(void *array_address, size_t *count, size_t size);

/* Appends to buffer[size], as much as fits; always ends it with 0. */
void text_add(char *buffer, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The whole of `word` as a finite decimal number. */
bool text_number(const char *word, double *value);

/* The name closest to `word` by the number of letters to add, drop, change or swap, or NULL when
 * none is close enough to be meant. */
const char *text_nearest(const char *word, const char *const *names, size_t count);

/* "0:07.5", "1:02:03.4"; for people, rounded to a tenth. */
const char *text_time(char buffer[32], double seconds);

/* A text as a cell of comma-separated values (RFC 4180): in quotes, which are doubled. Controls
 * become spaces, and what a spreadsheet would run as a formula begins with a '. */
void text_csv(FILE *file, const char *text);

/* Controls (a line's end, the escapes of a terminal) as \\n or \\x1b, up to `size`. */
const char *text_plain(char *buffer, size_t size, const char *text);

/* The part of a path after the last slash. */
const char *text_base(const char *path);

/* Bytes of the UTF-8 character that begins at `s`, which ends with 0; 0 when there is none. */
size_t text_utf8_length(const unsigned char *s);

/* FNV-1a of 64 bits (Fowler, Noll and Vo; draft-eastlake-fnv), going on from `hash`, at first
 * TEXT_HASH_BEGIN. */
#define TEXT_HASH_BEGIN 0xCBF29CE484222325u
uint64_t text_hash(uint64_t hash, const void *bytes, size_t n);

/* dB of a linear amplitude; -INFINITY for 0. */
double text_db(double amplitude);

#endif
