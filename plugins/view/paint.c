/* SPDX-License-Identifier: ISC */
#include "view/paint.h"

#include <math.h>
#include <string.h>

enum { LONGEST_LINE = 256 };

void paint_colour(cairo_t *cr, LookColour colour) {
    unsigned rgb = look_rgb(colour);
    cairo_set_source_rgb(cr, (rgb >> 16 & 255) / 255.0, (rgb >> 8 & 255) / 255.0,
                         (rgb & 255) / 255.0);
}

void paint_box(cairo_t *cr, Box box, LookColour colour) {
    paint_colour(cr, colour);
    cairo_rectangle(cr, box.x, box.y, box.w, box.h);
    cairo_fill(cr);
}

void paint_frame(cairo_t *cr, Box box, LookColour colour, double width) {
    paint_colour(cr, colour);
    cairo_set_line_width(cr, width);
    cairo_rectangle(cr, box.x + 0.5 * width, box.y + 0.5 * width, box.w - width, box.h - width);
    cairo_stroke(cr);
}

void paint_dashes(cairo_t *cr, double x, double to_x, double y) {
    const double dash[] = {6.0, 4.0};
    cairo_save(cr);
    paint_colour(cr, LOOK_LINE);
    cairo_set_dash(cr, dash, 2, 0.0);
    cairo_set_line_width(cr, 1.5);
    cairo_move_to(cr, x, y);
    cairo_line_to(cr, to_x, y);
    cairo_stroke(cr);
    cairo_restore(cr);
}

void paint_knob(cairo_t *cr, double x, double y) {
    const Box box = {x - 4.0, y - 9.0, 8.0, 18.0};
    paint_box(cr, box, LOOK_PAPER);
    paint_frame(cr, box, LOOK_INK, 1.5);
}

void paint_tick(cairo_t *cr, Box box) {
    paint_colour(cr, LOOK_ON_ACCENT);
    cairo_set_line_width(cr, 2.0);
    cairo_move_to(cr, box.x + 0.22 * box.w, box.y + 0.52 * box.h);
    cairo_line_to(cr, box.x + 0.42 * box.w, box.y + 0.74 * box.h);
    cairo_line_to(cr, box.x + 0.8 * box.w, box.y + 0.26 * box.h);
    cairo_stroke(cr);
}

/* ---- words ---- */

static void font(cairo_t *cr, const char *family, double size, bool strong) {
    cairo_select_font_face(cr, family, CAIRO_FONT_SLANT_NORMAL,
                           strong ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(cr, size);
}

static double width_of(cairo_t *cr, const char *text) {
    cairo_text_extents_t extents;
    cairo_text_extents(cr, text, &extents);
    return extents.x_advance;
}

/* Takes the last character away, all its bytes. */
static void shorten(char *text) {
    size_t n = strlen(text);
    while (n > 0 && ((unsigned char)text[n - 1] & 0xc0) == 0x80)
        n--;
    text[n > 0 ? n - 1 : 0] = '\0';
}

static void fit(cairo_t *cr, const char *text, double width, char line[LONGEST_LINE]) {
    static const char POINTS[] = "\xe2\x80\xa6";
    size_t n = strnlen(text, LONGEST_LINE - sizeof POINTS);
    memcpy(line, text, n);
    line[n] = '\0';
    if (width_of(cr, line) <= width)
        return;
    width -= width_of(cr, POINTS);
    while (line[0] && width_of(cr, line) > width)
        shorten(line);
    memcpy(line + strlen(line), POINTS, sizeof POINTS);
}

static double write_line(cairo_t *cr, Box box, const char *text, LookColour colour,
                         PaintSide side) {
    char line[LONGEST_LINE];
    fit(cr, text, box.w, line);
    cairo_font_extents_t f;
    cairo_font_extents(cr, &f);
    double w = width_of(cr, line);
    double over = side == PAINT_LEFT ? 0.0 : side == PAINT_CENTRE ? 0.5 * (box.w - w) : box.w - w;
    paint_colour(cr, colour);
    cairo_move_to(cr, box.x + over, box.y + 0.5 * (box.h + f.ascent - f.descent));
    cairo_show_text(cr, line);
    return w;
}

void paint_text(cairo_t *cr, Box box, const char *text, LookColour colour, PaintSide side) {
    font(cr, LOOK_TEXT_FONT, LOOK_TEXT, false);
    write_line(cr, box, text, colour, side);
}

void paint_small(cairo_t *cr, Box box, const char *text, LookColour colour, PaintSide side) {
    font(cr, LOOK_TEXT_FONT, LOOK_SMALL, false);
    write_line(cr, box, text, colour, side);
}

void paint_strong(cairo_t *cr, Box box, const char *text) {
    font(cr, LOOK_TEXT_FONT, LOOK_TEXT, true);
    write_line(cr, box, text, LOOK_INK, PAINT_LEFT);
}

double paint_title(cairo_t *cr, Box box, const char *text) {
    font(cr, LOOK_TITLE_FONT, LOOK_TITLE, true);
    return write_line(cr, box, text, LOOK_INK, PAINT_LEFT);
}

double paint_width(cairo_t *cr, const char *text) {
    font(cr, LOOK_TEXT_FONT, LOOK_TEXT, false);
    return width_of(cr, text);
}

void paint_underline(cairo_t *cr, Box box, const char *text) {
    double w = fmin(paint_width(cr, text), box.w - 8.0);
    paint_box(cr, (Box){box.x + 0.5 * (box.w - w), box.y + box.h - 4.0, w, 1.5}, LOOK_ON_ACCENT);
}

/* How many bytes of the text go into one line: up to a space, or all. */
static size_t line_bytes(cairo_t *cr, const char *text, double width) {
    char line[LONGEST_LINE];
    size_t fits = 0;
    for (size_t i = 0; i < LONGEST_LINE - 1; i++) {
        if (text[i] == ' ' || text[i] == '\0') {
            memcpy(line, text, i);
            line[i] = '\0';
            if (fits > 0 && width_of(cr, line) > width)
                return fits;
            fits = i;
        }
        if (text[i] == '\0')
            return fits;
    }
    return fits > 0 ? fits : LONGEST_LINE - 1;
}

void paint_lines(cairo_t *cr, Box box, const char *text, LookColour colour) {
    font(cr, LOOK_TEXT_FONT, LOOK_SMALL, false);
    const double height = 1.4 * LOOK_SMALL;
    const int lines = (int)((box.h + 1.0) / height);
    for (int i = 0; *text && i < lines; i++) {
        char line[LONGEST_LINE] = "";
        size_t n = line_bytes(cr, text, box.w);
        /* The last line takes what it can, and says that there is more. */
        memcpy(line, text, i == lines - 1 ? strnlen(text, LONGEST_LINE - 1) : n);
        write_line(cr, (Box){box.x, box.y + i * height, box.w, height}, line, colour, PAINT_LEFT);
        text += n + (text[n] == ' ' ? 1 : 0);
    }
}
