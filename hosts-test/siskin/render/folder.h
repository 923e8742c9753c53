/* SPDX-License-Identifier: ISC */
/* folder.h: renders every take in a folder into another folder. */
#ifndef SISKIN_RENDER_FOLDER_H
#define SISKIN_RENDER_FOLDER_H

#include "siskin/render/take.h"

typedef struct {
    const char *takes, *outs; /* folders; `outs` is made if it is not there */
    bool deep;                /* also the folders in `takes`, each into one of its name */
    const TakeJob *like;      /* what to do with each; its take, out, feed and trace are not used,
                                 its format has a container */
    const char *chains;       /* folder with a chain for each take, NAME.chain; NULL: like->chain */
    int n_feeds;              /* BUS=FILE for those chains */
    char *const *feeds;
    const char *traces;  /* folder for traces, or NULL */
    const char *summary; /* file for a row of comma-separated values for each take, or NULL */
    const char *page;    /* file for a page with a row for each take, or NULL */
    unsigned parallel;   /* takes at a time */
    bool skip_done;      /* leave out takes that were made of these files by these settings */
    bool json;           /* print all as JSON */
    bool quiet;          /* print failures only */
} FolderJob;

/* Prints a row for each take and a last line. All that will be written is known before anything is:
 * a take fails whose outputs would meet those of another take, or anything that is read. Fails when
 * the folders cannot be used; failed takes are only counted. */
bool folder_render(Host *host, const FolderJob *folder, size_t *failed, HostError *error);

/* The file that feeds a bus: `feed` itself, or, when it is a folder, the file in it that has the
 * take's name. The caller frees it. */
char *folder_feed(const char *feed, const char *name);

#endif
