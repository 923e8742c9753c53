/* SPDX-License-Identifier: ISC */
/* write.h: the report page as HTML: page/page.html, filled in. */
#ifndef SISKIN_PAGE_WRITE_H
#define SISKIN_PAGE_WRITE_H

#include "siskin/chains/chain.h"
#include "siskin/measure/take.h"
#include "siskin/page/gain.h"
#include "siskin/page/look.h"
#include "siskin/page/sound.h"
#include "siskin/render/take.h"

/* Everything that a page tells. */
typedef struct {
    const char *take; /* its path */
    const Chain *chain;
    char *chain_text;
    TakeReport report;
    Measures before, after;
    Measures
        clean; /* before, with its rumble, low hum and DC cut, where the chain cuts them; or 0 */
    Look before_look, after_look;
    Gains gains;
    Sounds sounds;
} Page;

void page_write(FILE *to, const Page *page);

/* The parts, each a place @NAME@ in the skeleton. */
void page_write_verdicts(FILE *to, const Page *page); /* verdict.c */
void page_write_events(FILE *to, const Page *page);   /* events.c */
void page_write_notes(FILE *to, const Page *page);    /* notes.c */
void page_write_grid(FILE *to, const Page *page); /* notes.c: the A that notes are held against */
void page_write_figures(FILE *to, const Page *page);    /* tables.c */
void page_write_processors(FILE *to, const Page *page); /* tables.c */
void page_write_data(FILE *to, const Page *page);       /* data.c */
void page_write_audio(FILE *to, const Page *page);      /* data.c */

bool page_chain_has(const Chain *chain, const char *processor); /* by its short name */

/* By what its sounds are told: the take with its low end cut, as far as there is one. */
const Measures *page_heard(const Page *page);

/* Gains, dB <= 0, that bring take and result to the loudness of the softer one; NAN: unknown. */
void page_match(const Page *page, double gain_db[2]);

#endif
