/* SPDX-License-Identifier: ISC */
/* The notes of a page: each as it was sung, and as it is in the result. The bars in the graph are
 * made from this list.
 *
 * Both are held against one set of semitones, that of the result, so that a note that moved is told
 * as having moved: the tuning of the result where it is known, else that of the take, else A
 * 440. */
#include "siskin/measure/pitch_name.h"
#include "siskin/page/text.h"
#include "siskin/page/write.h"

#include <math.h>

static const double HARDLY = 0.5; /* less of it is near its pitch: as siskin notes has it */

static double grid_cents(const Page *page) {
    if (page->after.intonation.known)
        return page->after.intonation.tuning_cents;
    return page->before.intonation.known ? page->before.intonation.tuning_cents : 0.0;
}

/* The note that sounds for the most of it, and for half of it at least; NULL: there is none. */
static const SungNote *note_now(const Measures *after, const SungNote *note) {
    const SungNote *now = NULL;
    double most_s = 0.5 * (note->end_s - note->start_s);
    for (size_t i = 0; i < after->n_sung; i++) {
        const SungNote *other = &after->sung[i];
        double both_s = fmin(note->end_s, other->end_s) - fmax(note->start_s, other->start_s);
        if (both_s < most_s)
            continue;
        most_s = both_s;
        now = other;
    }
    return now;
}

static void write_cents(FILE *to, double midi) {
    double cents = round(100.0 * (midi - round(midi)));
    if (cents == 0.0)
        fputs("on pitch", to);
    else
        fprintf(to, "%.0f cent%s %s", fabs(cents), fabs(cents) == 1.0 ? "" : "s",
                cents < 0.0 ? "flat" : "sharp");
}

static void write_facts(FILE *to, const SungNote *note, double midi) {
    fputs("<span class=\"figure\">", to);
    write_cents(to, midi);
    fprintf(to, ", %.2f s", note->end_s - note->start_s);
    if (note->vibrato_hz > 0.0)
        fprintf(to, ", vibrato %.0f cents at %.1f Hz", note->vibrato_cents, note->vibrato_hz);
    if (note->confidence < HARDLY)
        fputs(", hardly a note", to);
    fputs("</span>", to);
}

static void write_now(FILE *to, const SungNote *now, double midi, double before) {
    char name[24];
    fputs("<span class=\"hidden\">; </span><span class=\"deed\">now ", to);
    if (!now)
        fputs("no note of its own", to);
    else if (round(midi) != round(before))
        fprintf(to, "%s, ", pitch_name_midi(name, round(midi)));
    if (now)
        write_cents(to, midi);
    fputs("</span>", to);
}

static void write_note(FILE *to, const Page *page, const SungNote *note) {
    const double grid = 0.01 * grid_cents(page);
    const SungNote *now = note_now(&page->after, note);
    double midi = note->midi - grid, midi_now = now ? now->midi - grid : 0.0;
    char time[32], name[24];
    fprintf(to,
            "<li><button type=\"button\" data-from=\"%.4f\" data-to=\"%.4f\" data-midi=\"%.3f\"",
            note->start_s, note->end_s, midi);
    if (now)
        fprintf(to, " data-now-from=\"%.4f\" data-now-to=\"%.4f\" data-now-midi=\"%.3f\"",
                now->start_s, now->end_s, midi_now);
    fprintf(to, "><span class=\"time\">%s</span> <span class=\"kind\">%s</span> ",
            page_time(time, note->start_s), pitch_name_midi(name, round(midi)));
    write_facts(to, note, midi);
    write_now(to, now, midi_now, midi);
    fputs("</button></li>\n", to);
}

static size_t n_notes(const Page *page) {
    return page->before.intonation.sung ? page->before.n_sung : 0;
}

void page_write_notes(FILE *to, const Page *page) {
    if (n_notes(page) == 0)
        fputs("<li class=\"empty\">None: the take is not sung, or too short to tell.</li>\n", to);
    for (size_t i = 0; i < n_notes(page); i++)
        write_note(to, page, &page->before.sung[i]);
}

void page_write_grid(FILE *to, const Page *page) {
    fprintf(to, "%.1f Hz", 440.0 * exp2(grid_cents(page) / 1200.0));
}
