/* SPDX-License-Identifier: ISC */
/* The list of a page: each sound that the measurement found, with its time, its figures, and what
 * the chain did to it. The marks in the graphs are made from this list. */
#include "siskin/page/text.h"
#include "siskin/page/write.h"
#include "siskin/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef enum { PHRASE, BREATH, SIBILANT, CLICK, THUMP, KINDS } Kind;

typedef struct {
    Kind kind;
    size_t number; /* among its kind */
    double from_s, to_s;
    char text[128];
} Event;

/* `cure`: the processor whose work it is; `slack_s`: how long before and after it works. */
static const struct {
    const char *name, *cure;
    double slack_s;
} kinds[KINDS] = {[PHRASE] = {"phrase", NULL, 0.0},
                  [BREATH] = {"breath", "breath-ducker", 0.0},
                  [SIBILANT] = {"sibilant", "de-esser", 0.01},
                  [CLICK] = {"click", "transient-tamer", 0.015},
                  [THUMP] = {"thump", "rumble-filter", 0.02}};

/* ---- what was found ---- */

static Event *add(Event **events, size_t *count, Kind kind, size_t number, double from_s,
                  double to_s) {
    Event *event = text_grow(events, count, sizeof *event);
    *event = (Event){.kind = kind, .number = number, .from_s = from_s, .to_s = to_s};
    return event;
}

static void add_phrases(Event **events, size_t *count, const Measures *m) {
    for (size_t i = 0; i < m->n_phrases; i++) {
        const MeasurePhrase *p = &m->phrases[i];
        Event *event = add(events, count, PHRASE, i, p->start_s, p->end_s);
        text_add(event->text, sizeof event->text, "%zu: %.1f LUFS, %.1f s", i + 1, p->lufs,
                 p->end_s - p->start_s);
        if (isfinite(p->off_cents))
            text_add(event->text, sizeof event->text, "; %.0f cents off pitch, leaning %+.0f",
                     p->off_cents, p->lean_cents);
    }
}

static void add_breaths(Event **events, size_t *count, const Measures *m) {
    for (size_t i = 0; i < m->n_breaths; i++) {
        const MeasureBreath *b = &m->breaths[i];
        Event *event = add(events, count, BREATH, i, b->start_s, b->end_s);
        text_add(event->text, sizeof event->text, "%.2f s", b->end_s - b->start_s);
        if (isfinite(b->under_db))
            text_add(event->text, sizeof event->text, ", %.1f dB under the voice", b->under_db);
    }
}

static void add_sibilants(Event **events, size_t *count, const Measures *m) {
    for (size_t i = 0; i < m->n_sibilants; i++) {
        const MeasureSibilant *s = &m->sibilants[i];
        Event *event = add(events, count, SIBILANT, i, s->start_s, s->end_s);
        text_add(event->text, sizeof event->text, "%.2f s, %+.1f dB against the vowels, %.1f kHz",
                 s->end_s - s->start_s, s->ratio_db, 1e-3 * s->centre_hz);
    }
}

static void add_clicks(Event **events, size_t *count, const Measures *m) {
    for (size_t i = 0; i < m->n_clicks; i++) {
        const MeasureClick *c = &m->clicks[i];
        Event *event = add(events, count, CLICK, i, c->at_s, c->at_s);
        text_add(event->text, sizeof event->text, "%.1f dB high, %.1f to %.1f kHz", c->height_db,
                 1e-3 * c->low_hz, 1e-3 * c->high_hz);
    }
}

static void add_thumps(Event **events, size_t *count, const Measures *m) {
    for (size_t i = 0; i < m->n_thumps; i++) {
        const MeasureThump *t = &m->thumps[i];
        Event *event = add(events, count, THUMP, i, t->start_s, t->end_s);
        text_add(event->text, sizeof event->text, "%.2f s, %+.1f dB over the voice's low end",
                 t->end_s - t->start_s, t->over_db);
    }
}

static int by_time(const void *a, const void *b) {
    const Event *x = a, *y = b;
    int earlier = (x->from_s > y->from_s) - (x->from_s < y->from_s);
    int kind = (x->kind > y->kind) - (x->kind < y->kind);
    return earlier ? earlier : kind ? kind : (x->number > y->number) - (x->number < y->number);
}

/* ---- what was done to it ---- */

static const double TOUCHED_DB = 0.5;

/* Of its own processor and the one that closes whole gaps, the one that took most. */
static void write_deed(FILE *to, const Page *page, const Event *event) {
    const char *cure = kinds[event->kind].cure;
    const char *const helpers[] = {cure, "gap-trimmer"};
    double slack_s = kinds[event->kind].slack_s, most_db = -1.0;
    const GainCurve *most = NULL;
    for (size_t i = 0; cure && i < 2; i++) {
        const GainCurve *curve = gains_of(&page->gains, helpers[i]);
        double db = curve ? gains_most_cut(&page->gains, curve, event->from_s - slack_s,
                                           event->to_s + slack_s)
                          : -1.0;
        if (db > most_db) {
            most_db = db;
            most = curve;
        }
    }
    if (!cure)
        return;
    fputs("<span class=\"hidden\">; </span><span class=\"deed\">", to);
    if (!most)
        fprintf(to, "no %s in this chain", cure);
    else if (most_db < TOUCHED_DB)
        fputs("left as it is", to);
    else
        fprintf(to, "&minus;%.1f dB by ", most_db);
    if (most && most_db >= TOUCHED_DB)
        page_escape(to, most->label);
    fputs("</span>", to);
}

/* With a true minus. The text is made above: there is nothing in it to escape. */
static void write_figures(FILE *to, const char *text) {
    for (; *text; text++)
        if (text[0] == '-' && text[1] >= '0' && text[1] <= '9')
            fputs("&minus;", to);
        else
            putc(*text, to);
}

static void write_event(FILE *to, const Page *page, const Event *event) {
    char time[32];
    const char *kind = kinds[event->kind].name;
    fprintf(to,
            "<li data-kind=\"%s\"><button type=\"button\" data-from=\"%.4f\" data-to=\"%.4f\">"
            "<span class=\"time\">%s</span> <span class=\"kind\">%s</span> "
            "<span class=\"figure\">",
            kind, event->from_s, event->to_s, page_time(time, event->from_s), kind);
    write_figures(to, event->text);
    fputs("</span>", to);
    write_deed(to, page, event);
    fputs("</button></li>\n", to);
}

void page_write_events(FILE *to, const Page *page) {
    Event *events = NULL;
    size_t count = 0;
    const Measures *heard = page_heard(page);
    add_phrases(&events, &count, heard);
    add_breaths(&events, &count, heard);
    add_sibilants(&events, &count, heard);
    add_clicks(&events, &count, heard);
    add_thumps(&events, &count, heard);
    if (count)
        qsort(events, count, sizeof *events, by_time);
    for (size_t i = 0; i < count; i++)
        write_event(to, page, &events[i]);
    free(events);
}
