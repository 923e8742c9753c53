/* SPDX-License-Identifier: ISC */
/* The events of a take, a line each. */
#include "siskin/measure/print.h"

#include "siskin/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

typedef struct {
    const char *kind;
    double start_s, end_s;
    double figure;
    const char *unit;
    double low_hz, high_hz; /* NAN: of no band */
} Event;

static int by_start(const void *a, const void *b) {
    double x = ((const Event *)a)->start_s, y = ((const Event *)b)->start_s;
    return (x > y) - (x < y);
}

static size_t gather(const Measures *m, Event *to) {
    const double none = (double)NAN;
    size_t n = 0;
    for (size_t i = 0; i < m->n_phrases; i++)
        to[n++] = (Event){
            "phrase", m->phrases[i].start_s, m->phrases[i].end_s, m->phrases[i].lufs, "LUFS", none,
            none};
    for (size_t i = 0; i < m->n_breaths; i++)
        to[n++] = (Event){"breath",
                          m->breaths[i].start_s,
                          m->breaths[i].end_s,
                          m->breaths[i].under_db,
                          "dB under the voice",
                          none,
                          none};
    for (size_t i = 0; i < m->n_sibilants; i++)
        to[n++] = (Event){"sibilant",
                          m->sibilants[i].start_s,
                          m->sibilants[i].end_s,
                          m->sibilants[i].ratio_db,
                          "dB over the vowels",
                          m->sibilants[i].centre_hz,
                          m->sibilants[i].centre_hz};
    for (size_t i = 0; i < m->n_clicks; i++)
        to[n++] = (Event){"click",
                          m->clicks[i].at_s,
                          m->clicks[i].at_s,
                          m->clicks[i].height_db,
                          "dB over what surrounds it",
                          m->clicks[i].low_hz,
                          m->clicks[i].high_hz};
    for (size_t i = 0; i < m->n_thumps; i++)
        to[n++] = (Event){"thump",
                          m->thumps[i].start_s,
                          m->thumps[i].end_s,
                          m->thumps[i].over_db,
                          "dB over the voice's low end",
                          20.0,
                          90.0};
    return n;
}

static void put(double value, int decimals) {
    if (isfinite(value))
        printf(",%.*f", decimals, value);
    else
        putchar(',');
}

void print_events_head(void) {
    puts("take,kind,start_s,end_s,figure,unit,low_hz,high_hz,do");
}

void print_events_csv(const Measures *m) {
    Event *events = text_take(
        m->n_phrases + m->n_breaths + m->n_sibilants + m->n_clicks + m->n_thumps, sizeof *events);
    size_t n = gather(m, events);
    qsort(events, n, sizeof *events, by_start);
    for (size_t i = 0; i < n; i++) {
        text_csv(stdout, m->path);
        printf(",%s", events[i].kind);
        put(events[i].start_s, 4);
        put(events[i].end_s, 4);
        put(events[i].figure, 2);
        printf(",%s", events[i].unit);
        put(events[i].low_hz, 0);
        put(events[i].high_hz, 0);
        puts(",treat");
    }
    free(events);
}
