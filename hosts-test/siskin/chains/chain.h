/* SPDX-License-Identifier: ISC */
/* chain.h: what is to be done to a take, as written in a chain file or on the command line.
 *
 * A chain is a set of busses. A bus takes audio from a file or from other busses, passes it through
 * its processors in order, then through its fader and pan, and gives it to the mix or another bus.
 *
 * A chain file holds one statement a line; `#` begins a comment; a word may be put in "quotes".
 *
 *   bus NAME [mono|stereo]    begins a bus; what follows belongs to it, up to the next one
 *   from BUS [DB]             a send: the bus hears BUS (its output), or BUS.in (before its
 *                             processors), louder or softer by DB; several are summed
 *   PROCESSOR [CONTROL=VALUE]... [preset=NAME] [key=BUS|BUS.in|none]
 *   fader DB                  gain after the processors (0)
 *   pan POSITION              -100 left .. 0 .. 100 right (0)
 *   fader @LANE, pan @LANE    one that moves
 *   to BUS|none               where the bus goes instead of the mix
 *
 * A control moves as well: CONTROL=@LANE. A lane is written in the chain,
 *
 *   lane NAME [hold|line]     begins a lane; what follows are its points (edit/lane.h)
 *   TIME VALUE
 *   FROM TO VALUE
 *
 *
 * or is a file of that name, as seen from the chain's folder. At a time it steers what comes out at
 * that time, latency taken out. pitch-corrector notes=FILE moves three controls at once, by a list
 * of notes (edit/note_list.h).
 *
 * PROCESSOR is one of ours by name or any LV2 plugin by URI. A bus that nothing feeds is fed by a
 * file: the first of them by the take, the others by files named when rendering. The bus `mix` is
 * always there and is what is written; name it to give it processors or a fader. */
#ifndef SISKIN_CHAINS_CHAIN_H
#define SISKIN_CHAINS_CHAIN_H

#include "host/host.h"
#include "siskin/edit/lane.h"

enum {
    CHAIN_MAX_PROCESSORS = 64, /* in one chain */
    CHAIN_MAX_BUSSES = 32,
    CHAIN_MAX_LANES = 64,
};

#define CHAIN_MAX_FADER_DB 60.0 /* of faders and sends, either way */
#define CHAIN_MAX_PAN 100.0

/* What steers a control: its name as written after the @, and where it is among the chain's. */
typedef struct {
    char *name; /* NULL: it does not move */
    int lane;   /* in Chain.lanes */
} ChainMove;

typedef struct {
    char *control, *value; /* as written */
    float number;          /* the value, once settings_read has read it */
    ChainMove move;        /* instead of the number */
} ChainSetting;

/* A point to listen at: the output of a bus (after processors and fader, before its pan), or what
 * comes into it. */
typedef struct {
    char *name; /* as written */
    int bus;    /* -1: none */
    bool before;
} ChainTap;

typedef struct {
    char *name; /* of ours, or a URI */
    ChainSetting *settings;
    size_t n_settings;
    char *preset; /* or NULL */
    ChainTap key; /* key.name NULL: nothing was said; "none": left alone on purpose */
    int line;
} ChainProcessor;

typedef struct {
    ChainTap from;
    double gain_db;
    int line;
} ChainSend;

typedef struct {
    char *name;
    unsigned channels; /* as asked for; 0: as many as come in */
    ChainSend *sends;
    size_t n_sends;
    ChainProcessor *processors;
    size_t n_processors;
    double fader_db;
    double pan;
    ChainMove fader_move, pan_move;
    bool panned;   /* a pan was written */
    char *to_name; /* NULL: the mix */
    int to;        /* bus, or -1: nowhere */
    bool wants_file;
    char *file; /* what feeds it, once known; NULL for the bus of the take */
    int line;
} ChainBus;

typedef struct {
    char *path; /* of the chain file; NULL: from the command line */
    char *text; /* of the chain file, as it was read */
    ChainBus *busses;
    size_t n_busses;
    Lane *lanes; /* those written here, then those of files */
    size_t n_lanes;
    bool in_lane; /* while reading: the last statement was a lane or a line of it */
    int take;     /* the bus fed by the take */
    int mix;
} Chain;

/* Reads a chain file, once; it may be a pipe. Errors name the file and the line, and say what is
 * allowed. What depends on the plugins themselves (names, controls, channels) is checked when the
 * chain is rendered. */
Chain *chain_load(const char *path, HostError *error);

/* The linear chain of the command line: PROCESSOR [CONTROL=VALUE]... PROCESSOR ..., where a key is
 * a file: key=FILE. */
Chain *chain_from_words(char *const *words, size_t count, HostError *error);

void chain_free(Chain *chain); /* NULL is fine */

/* The bus of that name, or -1. */
int chain_find(const Chain *chain, const char *name);

/* Names the file that feeds a bus. Fails for a bus that wants none. */
bool chain_feed(Chain *chain, const char *bus, const char *file, HostError *error);
/* Fails when a bus still wants a file. */
bool chain_check_fed(const Chain *chain, HostError *error);

/* Which busses reach the mix, by whatever way. */
void chain_heard(const Chain *chain, bool heard[CHAIN_MAX_BUSSES]);

/* As host_fail, with "FILE, line N: " in front for a chain that has a file. */
bool chain_fail(const Chain *chain, int line, HostError *error, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

#endif
