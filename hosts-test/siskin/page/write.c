/* SPDX-License-Identifier: ISC */
#include "siskin/page/write.h"

#include "siskin/page/files.h"
#include "siskin/page/text.h"
#include "siskin/text.h"

#include <math.h>
#include <string.h>

typedef void WritePart(FILE *to, const Page *page);

static void write_lines(FILE *to, const char *const *lines) {
    for (; *lines; lines++)
        fputs(*lines, to);
}

/* ---- small parts ---- */

static void write_name(FILE *to, const Page *page) {
    page_escape(to, text_base(page->take));
}

static void write_facts(FILE *to, const Page *page) {
    char length[32];
    const Measures *m = &page->before;
    fprintf(to, "%s long (min:s), %g kHz, %s", text_time(length, m->length_s), 1e-3 * m->rate_hz,
            m->channels == 1 ? "mono" : "stereo");
    if (page->report.channels != m->channels)
        fprintf(to, "; the result is %s", page->report.channels == 1 ? "mono" : "stereo");
}

static void write_audio_note(FILE *to, const Page *page) {
    const Sounds *s = &page->sounds;
    if (!s->coded) {
        fputs("The sound is lossless: FLAC, 16 bit.", to);
        return;
    }
    fprintf(
        to,
        "The sound is a <strong>coded preview</strong>: Opus, %.0f kbit/s for raw and result, %.0f "
        "for what was removed. Judge fine detail on the files; graphs and figures are of them.",
        s->kbps[SOUND_RAW], s->kbps[SOUND_REMOVED]);
}

static void write_removed_note(FILE *to, const Page *page) {
    bool mix = false;
    for (size_t i = 0; i < page->chain->n_busses; i++)
        mix = mix || page->chain->busses[i].file;
    fputs("<em>Removed</em> is raw less result.", to);
    if (mix)
        fputs(" This chain mixes in other files: they are in it too, upside down.", to);
}

static void write_chain(FILE *to, const Page *page) {
    page_escape(to, page->chain_text);
}

static void write_notes(FILE *to, const Page *page) {
    if (!page->report.notes[0])
        return;
    fputs("<pre class=\"notes\">", to);
    page_escape(to, page->report.notes);
    fputs("</pre>\n", to);
}

static void write_css(FILE *to, const Page *page) {
    (void)page;
    write_lines(to, page_css);
}

/* In a block of its own, so that none of its names is the window's. */
static void write_script(FILE *to, const Page *page) {
    static const char *const *const files[] = {page_base_js, page_player_js, page_view_js,
                                               page_draw_js, page_sounds_js, page_notes_js,
                                               page_begin_js};
    (void)page;
    fputs("\"use strict\";\n{\n", to);
    for (size_t i = 0; i < sizeof files / sizeof *files; i++)
        write_lines(to, files[i]);
    fputs("}\n", to);
}

void page_match(const Page *page, double gain_db[2]) {
    double before = page->before.integrated_lufs, after = page->after.integrated_lufs;
    double softer = isfinite(before) && isfinite(after) ? fmin(before, after) : (double)NAN;
    gain_db[0] = softer - before;
    gain_db[1] = softer - after;
}

/* ---- the skeleton ---- */

static const struct {
    const char *place;
    WritePart *write;
} parts[] = {
    {"@name@", write_name},
    {"@css@", write_css},
    {"@facts@", write_facts},
    {"@audio-note@", write_audio_note},
    {"@removed-note@", write_removed_note},
    {"@verdicts@", page_write_verdicts},
    {"@events@", page_write_events},
    {"@note-list@", page_write_notes},
    {"@grid@", page_write_grid},
    {"@figures@", page_write_figures},
    {"@processors@", page_write_processors},
    {"@chain@", write_chain},
    {"@notes@", write_notes},
    {"@data@", page_write_data},
    {"@audio@", page_write_audio},
    {"@script@", write_script},
};

/* The part whose place begins at `text`, or NULL. */
static WritePart *part_at(const char *text, size_t *length) {
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        *length = strlen(parts[i].place);
        if (strncmp(text, parts[i].place, *length) == 0)
            return parts[i].write;
    }
    return NULL;
}

static void fill_line(FILE *to, const char *line, const Page *page) {
    while (*line) {
        size_t length = strcspn(line, "@");
        fwrite(line, 1, length, to);
        line += length;
        WritePart *write = *line ? part_at(line, &length) : NULL;
        if (write) {
            write(to, page);
            line += length;
        } else if (*line) {
            putc(*line++, to);
        }
    }
}

void page_write(FILE *to, const Page *page) {
    for (const char *const *line = page_html; *line; line++)
        fill_line(to, *line, page);
}
