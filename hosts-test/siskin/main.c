/* SPDX-License-Identifier: ISC */
/* siskin: the offline program. This file finds the command; each has a file of its own. */
#include "siskin/command.h"
#include "siskin/text.h"

#include <stdio.h>
#include <string.h>

#ifndef SISKIN_VERSION
#define SISKIN_VERSION "unknown"
#endif

static const struct {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *summary;
} commands[] = {
    {"render", command_render, "takes through processors: one, a mix, or a folder"},
    {"measure", command_measure, "levels, faults, sounds, colour and pitch of a take"},
    {"advise", command_advise, "what a take needs, as a chain that does it"},
    {"match", command_match, "the colour of a reference, as a chain"},
    {"ride", command_ride, "one gain a phrase, as a chain"},
    {"notes", command_notes, "the notes of a take, to be edited and corrected"},
    {"comp", command_comp, "the best of several takes, phrase by phrase"},
    {"align", command_align, "a double brought into time with its lead"},
    {"nudge", command_nudge, "words moved by milliseconds"},
    {"finish", command_finish, "a folder of raw takes to a folder of finished parts"},
    {"report", command_report, "a page of before and after: graphs, figures, players"},
    {"list", command_list, "the processors: controls, meters, presets"},
};

enum { N_COMMANDS = sizeof commands / sizeof *commands };

static void print_help(void) {
    puts("siskin turns raw vocal takes into finished leads, from file to file.\n"
         "\n"
         "  siskin COMMAND ...\n");
    for (size_t i = 0; i < N_COMMANDS; i++)
        printf("  %-8s %s\n", commands[i].name, commands[i].summary);
    puts("\n"
         "  siskin COMMAND --help, siskin --version\n"
         "\n"
         "Exit status: 0 done, 1 failed, 2 the command line is wrong.");
}

static int unknown_command(const char *word) {
    const char *names[N_COMMANDS];
    for (size_t i = 0; i < N_COMMANDS; i++)
        names[i] = commands[i].name;
    const char *nearest = text_nearest(word, names, N_COMMANDS);
    fprintf(stderr, "siskin: there is no command '%s'", word);
    if (nearest)
        fprintf(stderr, "; did you mean '%s'?", nearest);
    fputs(" siskin --help lists them\n", stderr);
    return STATUS_USAGE;
}

static int run(int argc, char **argv) {
    if (argc < 2) {
        print_help();
        return STATUS_USAGE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "help") == 0) {
        print_help();
        return STATUS_OK;
    }
    if (strcmp(argv[1], "--version") == 0) {
        puts("siskin " SISKIN_VERSION);
        return STATUS_OK;
    }
    for (size_t i = 0; i < N_COMMANDS; i++)
        if (strcmp(argv[1], commands[i].name) == 0)
            return commands[i].run(argc - 2, argv + 2);
    return unknown_command(argv[1]);
}

int main(int argc, char **argv) {
    return command_end_output(run(argc, argv));
}
