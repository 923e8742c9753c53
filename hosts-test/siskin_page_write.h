/* SPDX-License-Identifier: ISC */
/* siskin_page_write.h: the report page as HTML: page/page.html, filled in. */
#ifndef SISKIN_PAGE_WRITE_H
#define SISKIN_PAGE_WRITE_H

#include "siskin_chain.h"
#include "siskin_measure_take.h"
#include "siskin_page_gain.h"
#include "siskin_page_look.h"
#include "siskin_page_sound.h"
#include "siskin_take.h"

/* Everything that a page tells. */
typedef struct {
    const char *take; /* its path */
    const Chain *chain;
    char *chain_text;
    TakeReport report;
    Measures before, after;
    Look before_look, after_look;
    Gains gains;
    Sounds sounds;
} Page;

void page_write(FILE *to, const Page *page);

/* The parts, each a place @NAME@ in the skeleton. */
void page_write_verdicts(FILE *to, const Page *page);   /* siskin_page_verdict.c */
void page_write_events(FILE *to, const Page *page);     /* siskin_page_events.c */
void page_write_figures(FILE *to, const Page *page);    /* siskin_page_tables.c */
void page_write_processors(FILE *to, const Page *page); /* siskin_page_tables.c */
void page_write_data(FILE *to, const Page *page);       /* siskin_page_data.c */
void page_write_audio(FILE *to, const Page *page);      /* siskin_page_data.c */

/* Gains, dB <= 0, that bring take and result to the loudness of the softer one; NAN: unknown. */
void page_match(const Page *page, double gain_db[2]);

#endif
