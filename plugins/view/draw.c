/* SPDX-License-Identifier: ISC */
#include "view/draw.h"

#include "view/look.h"
#include "view/paint.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const double RING = 3.0; /* of the focus, around an item */

typedef struct {
    cairo_t *cr;
    const Hands *hands;
    const Model *model;
    const SheetItem *item;
    const PortSpec *spec; /* NULL: no port */
    float value;
    size_t index;
} Draw;

/* ---- what several items have ---- */

static void label(const Draw *d) {
    const char *name = d->spec->short_name ? d->spec->short_name : d->spec->name;
    paint_text(d->cr, d->item->part[0], name, LOOK_INK, PAINT_LEFT);
}

/* A triangle that points left, right (turn -1, 1). */
static void arrow(cairo_t *cr, Box box, double turn, LookColour colour) {
    double x = box.x + 0.5 * box.w, y = box.y + 0.5 * box.h;
    paint_colour(cr, colour);
    cairo_move_to(cr, x + 4.0 * turn, y);
    cairo_line_to(cr, x - 3.0 * turn, y - 5.0);
    cairo_line_to(cr, x - 3.0 * turn, y + 5.0);
    cairo_fill(cr);
}

static Box within(Box box, double x, double y) {
    return (Box){box.x + x, box.y + y, box.w - 2.0 * x, box.h - 2.0 * y};
}

/* ---- controls ---- */

static void slider_figure(const Draw *d) {
    Box box = within(d->item->part[2], 4.0, 3.0);
    bool typing = d->hands->typing && d->index == d->hands->focus;
    if (!typing) {
        char text[NUMBER_LENGTH];
        number_format(d->spec, d->value, text);
        paint_text(d->cr, box, text, LOOK_INK, PAINT_RIGHT);
        return;
    }
    paint_box(d->cr, box, LOOK_PAPER);
    paint_frame(d->cr, box, LOOK_ACCENT, 2.0);
    Box inner = within(box, 6.0, 0.0);
    double w = paint_width(d->cr, d->hands->text);
    if (d->hands->chosen)
        paint_box(d->cr, (Box){inner.x - 1.0, box.y + 3.0, w + 2.0, box.h - 6.0}, LOOK_FILL);
    paint_text(d->cr, inner, d->hands->text, LOOK_INK, PAINT_LEFT);
    paint_box(d->cr,
              (Box){fmin(inner.x + w + 1.0, inner.x + inner.w), box.y + 4.0, 1.5, box.h - 8.0},
              LOOK_INK);
}

/* A groove, filled to the value from zero where the range has both signs, else from its lower end;
 * a notch at the default. */
static void slider(const Draw *d) {
    const PortSpec *spec = d->spec;
    Box track = d->item->part[1];
    Box groove = {track.x, track.y + 0.5 * track.h - 3.0, track.w, 6.0};
    double place = number_place(spec, d->value), from = 0.0;
    if (spec->minimum < 0.0f && spec->maximum > 0.0f)
        from = number_place(spec, 0.0f);
    double x = track.x + place * track.w, x0 = track.x + from * track.w;
    double usual = track.x + number_place(spec, spec->initial) * track.w;
    label(d);
    paint_box(d->cr, groove, LOOK_SHEET);
    paint_box(d->cr, (Box){fmin(x, x0), groove.y, fabs(x - x0), groove.h}, LOOK_ACCENT);
    paint_frame(d->cr, groove, LOOK_SOFT, 1.0);
    paint_box(d->cr, (Box){usual - 0.5, groove.y + groove.h + 1.0, 1.0, 4.0}, LOOK_SOFT);
    paint_knob(d->cr, fmin(fmax(x, track.x + 4.0), track.x + track.w - 4.0),
               track.y + 0.5 * track.h);
    slider_figure(d);
}

static void switch_box(const Draw *d) {
    bool on = d->value > 0.0f;
    Box box = d->item->part[1];
    double side = 16.0;
    box = (Box){box.x, box.y + 0.5 * (box.h - side), side, side};
    label(d);
    paint_box(d->cr, box, on ? LOOK_ACCENT : LOOK_SHEET);
    paint_frame(d->cr, box, on ? LOOK_ACCENT : LOOK_SOFT, 1.0);
    if (on)
        paint_tick(d->cr, box);
    /* The state in words beside its mark. In the head there is no room for them. */
    if (d->item->part[2].w > 30.0) {
        Box word = d->item->part[2];
        word.x -= 4.0;
        paint_text(d->cr, word, on ? "On" : "Off", LOOK_SOFT, PAINT_LEFT);
    }
}

static void choice(const Draw *d) {
    label(d);
    size_t n = d->spec->n_points;
    for (size_t i = 0; i < n; i++) {
        Box box = within(sheet_choice(d->item, i, n), 0.0, 3.0);
        bool chosen = d->spec->points[i].value == d->value;
        paint_box(d->cr, box, chosen ? LOOK_ACCENT : LOOK_SHEET);
        paint_frame(d->cr, box, chosen ? LOOK_ACCENT : LOOK_SOFT, 1.0);
        paint_text(d->cr, within(box, 4.0, 0.0), d->spec->points[i].label,
                   chosen ? LOOK_ON_ACCENT : LOOK_INK, PAINT_CENTRE);
        if (chosen)
            paint_underline(d->cr, box, d->spec->points[i].label);
    }
}

static void list(const Draw *d) {
    Box box = within(d->item->part[1], 0.0, 3.0);
    char text[NUMBER_LENGTH];
    number_format(d->spec, d->value, text);
    label(d);
    paint_box(d->cr, box, LOOK_SHEET);
    paint_frame(d->cr, box, LOOK_SOFT, 1.0);
    arrow(d->cr, (Box){box.x, box.y, box.h, box.h}, -1.0, LOOK_ACCENT);
    arrow(d->cr, (Box){box.x + box.w - box.h, box.y, box.h, box.h}, 1.0, LOOK_ACCENT);
    paint_text(d->cr, within(box, box.h, 0.0), text, LOOK_INK, PAINT_CENTRE);
}

static void preset(const Draw *d) {
    const SheetItem *item = d->item;
    size_t now = model_preset(d->model), n = model_n_presets(d->model);
    Box whole = {item->part[0].x, item->box.y + 1.0, item->box.x + item->box.w - item->part[0].x,
                 item->box.h - 2.0};
    paint_text(d->cr, (Box){item->box.x, item->box.y, 56.0, item->box.h}, "Preset", LOOK_INK,
               PAINT_LEFT);
    paint_box(d->cr, whole, LOOK_SHEET);
    paint_frame(d->cr, whole, LOOK_SOFT, 1.0);
    arrow(d->cr, item->part[0], -1.0, LOOK_ACCENT);
    arrow(d->cr, item->part[2], 1.0, LOOK_ACCENT);
    char place[NUMBER_LENGTH];
    snprintf(place, sizeof place, "%zu of %zu", now + 1, n);
    const char *name = now < n ? model_preset_name(d->model, now) : "Values of your own";
    paint_text(d->cr, within(item->part[1], 6.0, 0.0), name, now < n ? LOOK_INK : LOOK_SOFT,
               PAINT_LEFT);
    if (now < n)
        paint_text(d->cr, within(item->part[1], 6.0, 0.0), place, LOOK_SOFT, PAINT_RIGHT);
}

/* ---- words ---- */

static void title(const Draw *d) {
    Box box = d->item->box;
    double w = paint_title(d->cr, box, d->model->spec->name);
    box.x += w + 10.0;
    box.w -= w + 10.0;
    box.y += 3.0;
    paint_small(d->cr, box, d->model->channels == 1 ? "mono" : "stereo", LOOK_SOFT, PAINT_LEFT);
}

static void heading(const Draw *d) {
    Box box = d->item->box;
    paint_strong(d->cr, (Box){box.x, box.y, box.w, box.h - 3.0}, d->item->title);
    paint_box(d->cr, (Box){box.x, box.y + box.h - 3.0, box.w, 1.0}, LOOK_GRID);
}

static const PortSpec *told_spec(const Draw *d) {
    const Sheet *sheet = d->hands->sheet;
    size_t told = d->hands->told;
    if (told >= sheet->n || sheet->item[told].port >= MODEL_PORTS)
        return NULL;
    return &d->model->port[sheet->item[told].port].spec;
}

static void help(const Draw *d) {
    Box box = d->item->box;
    paint_box(d->cr, (Box){box.x, box.y, box.w, 1.0}, LOOK_GRID);
    const PortSpec *spec = told_spec(d);
    char head[4 * NUMBER_LENGTH] = "Preset";
    const char *text = "Sets every control as it is for one use; move what you hear from there. "
                       "The arrows step through "
                       "them, Delete takes the defaults.";
    if (spec) {
        char low[NUMBER_LENGTH], high[NUMBER_LENGTH], usual[NUMBER_LENGTH];
        number_format(spec, spec->minimum, low);
        number_format(spec, spec->maximum, high);
        number_format(spec, spec->initial, usual);
        bool range = (spec->kind != PORT_TOGGLE && spec->kind != PORT_ENUMERATION);
        size_t port = d->hands->sheet->item[d->hands->told].port;
        if (model_is_meter(d->model, port))
            snprintf(head, sizeof head, "%s", spec->name);
        else if (range)
            snprintf(head, sizeof head, "%s   %s to %s, default: %s", spec->name, low, high, usual);
        else
            snprintf(head, sizeof head, "%s   default: %s", spec->name, usual);
        text = spec->doc;
    }
    paint_strong(d->cr, (Box){box.x, box.y + 5.0, box.w, 17.0}, head);
    paint_lines(d->cr, (Box){box.x, box.y + 23.0, box.w, box.h - 23.0}, text, LOOK_SOFT);
}

/* ---- meters ---- */

static bool is_reduction(const Draw *d) {
    return d->model->port[d->item->port].role == ROLE_REDUCTION;
}

/* What goes down hangs from above, the rest stands. */
static bool hangs(const Draw *d) {
    return is_reduction(d) && d->model->spec->reduction != REDUCTION_PEAKS_CHANGED;
}

/* From the top of a graph, 0 to 1. */
static double fall(const Draw *d, double top, float value) {
    double low = (double)d->spec->minimum;
    if (hangs(d))
        return fmin(fmax((double)value / top, 0.0), 1.0);
    if (d->spec->unit == UNIT_HZ && low > 0.0)
        return 1.0 - log((double)value / low) / log(top / low);
    return 1.0 - ((double)value - low) / (top - low);
}

static size_t trace_of(const Draw *d) {
    size_t i = 0;
    while (d->model->trace[i].port != d->item->port)
        i++;
    return i;
}

static double column_x(Box box, size_t age) {
    return box.x + box.w * (1.0 - (double)age / (MODEL_STEPS - 1));
}

static void seconds_grid(const Draw *d, Box box) {
    paint_box(d->cr, box, LOOK_SHEET);
    for (int s = 1; s < 10; s++)
        paint_box(d->cr, (Box){floor(box.x + box.w * s / 10.0), box.y, 1.0, box.h}, LOOK_GRID);
}

/* Where a curve's area begins: at nothing done. */
static double base_of(const Draw *d, Box box) {
    if (hangs(d))
        return box.y;
    bool both_ways = d->spec->minimum == -d->spec->maximum;
    return box.y + (both_ways ? 0.5 : 1.0) * box.h;
}

static void curve(const Draw *d, Box box, size_t trace, double top) {
    double base = base_of(d, box);
    cairo_t *cr = d->cr;
    cairo_save(cr);
    cairo_rectangle(cr, box.x, box.y, box.w, box.h);
    cairo_clip(cr);
    for (int pass = 0; pass < 2; pass++) {
        if (pass == 0)
            cairo_move_to(cr, column_x(box, MODEL_STEPS - 1), base);
        for (size_t age = MODEL_STEPS; age-- > 0;) {
            double y =
                box.y + 1.0 + (box.h - 2.0) * fall(d, top, model_trace(d->model, trace, age));
            cairo_line_to(cr, column_x(box, age), y);
        }
        if (pass == 0)
            cairo_line_to(cr, column_x(box, 0), base);
        paint_colour(cr, pass == 0 ? LOOK_FILL : LOOK_ACCENT);
        cairo_set_line_width(cr, 1.5);
        if (pass == 0)
            cairo_fill(cr);
        else
            cairo_stroke(cr);
    }
    cairo_restore(cr);
}

/* A count has no height: a mark where it went up. */
static void marks(const Draw *d, Box box, size_t trace) {
    for (size_t age = 0; age + 1 < MODEL_STEPS; age++)
        if (model_trace(d->model, trace, age) > model_trace(d->model, trace, age + 1))
            paint_box(d->cr, (Box){column_x(box, age) - 1.0, box.y + 4.0, 2.0, box.h - 8.0},
                      LOOK_ACCENT);
}

static void lit(const Draw *d, Box box, size_t trace) {
    for (size_t age = 0; age < MODEL_STEPS;) {
        size_t from = age;
        while (age < MODEL_STEPS && model_trace(d->model, trace, age) > 0.0f)
            age++;
        double x = column_x(box, age), to = column_x(box, from);
        if (age > from)
            paint_box(d->cr,
                      (Box){fmax(x, box.x), box.y + 5.0, fmin(to - x, to - box.x), box.h - 10.0},
                      LOOK_ACCENT);
        else
            age++;
    }
}

static void threshold(const Draw *d, Box box, double top) {
    size_t port = model_threshold(d->model, d->item->port);
    if (port >= MODEL_PORTS)
        return;
    const PortSpec *control = &d->model->port[port].spec;
    float value = layout_clamp(d->spec, d->model->value[port]);
    double y = box.y + 1.0 + (box.h - 2.0) * fall(d, top, value);
    paint_dashes(d->cr, box.x, box.x + box.w, y);
    const char *name = control->short_name ? control->short_name : control->name;
    bool below = y - box.y < 16.0;
    Box text = {box.x, below ? y + 1.0 : y - 15.0, box.w - 6.0, 14.0};
    paint_plate(d->cr, text, name, LOOK_LINE, PAINT_RIGHT);
}

/* The level at which the scale ends, where the curve hangs to or stands up to. */
static void scale_end(const Draw *d, Box box, double top) {
    if (!is_reduction(d))
        return;
    char text[NUMBER_LENGTH];
    snprintf(text, sizeof text, "%.0f dB", top);
    double y = hangs(d) ? box.h - 16.0 : 2.0; /* where no curve begins */
    const Box line = {box.x + 6.0, box.y + y, box.w - 12.0, 14.0};
    paint_plate(d->cr, line, text, LOOK_SOFT, PAINT_LEFT);
    paint_plate(d->cr, line, "last 10 s", LOOK_SOFT, PAINT_RIGHT);
}

/* At its lowest a level or a frequency says that there is none. A reduction of 0 dB is a figure. */
static void figure_text(const Draw *d, char text[NUMBER_LENGTH]) {
    bool level = d->spec->unit != UNIT_NONE && !is_reduction(d);
    if (level && d->value <= d->spec->minimum)
        snprintf(text, NUMBER_LENGTH, "\xe2\x80\x93");
    else
        number_format(d->spec, d->value, text);
}

static void figure(const Draw *d) {
    Box box = d->item->part[1];
    char text[NUMBER_LENGTH];
    figure_text(d, text);
    const char *name = d->spec->short_name ? d->spec->short_name : d->spec->name;
    bool low = box.h < 40.0;
    Box first = {box.x + 10.0, box.y + (low ? 0.0 : 4.0), box.w - 10.0, low ? box.h : 17.0};
    paint_small(d->cr, first, name, LOOK_SOFT, PAINT_LEFT);
    if (!low)
        paint_text(d->cr, (Box){first.x, first.y + 18.0, first.w, 18.0}, text, LOOK_INK,
                   PAINT_LEFT);
    else
        paint_small(d->cr, first, text, LOOK_INK, PAINT_RIGHT);
}

static bool is_off(const Draw *d) {
    for (size_t i = 0; i < d->model->n_ports; i++)
        if (d->model->port[i].role == ROLE_ENABLED)
            return !(d->model->value[i] > 0.0f);
    return false;
}

static void graph(const Draw *d) {
    Box box = d->item->part[0];
    size_t trace = trace_of(d);
    double top = (double)model_trace_top(d->model, trace);
    bool reduction = is_reduction(d);
    seconds_grid(d, box);
    if (reduction)
        paint_box(d->cr, (Box){box.x, floor(box.y + 0.5 * box.h), box.w, 1.0}, LOOK_GRID);
    if (d->spec->kind == PORT_INTEGER)
        marks(d, box, trace);
    else
        curve(d, box, trace, top);
    threshold(d, box, top);
    scale_end(d, box, top);
    if (reduction && is_off(d))
        paint_strong(d->cr, within(box, 12.0, 12.0), "Off: the take passes as it is");
    figure(d);
}

static void lamp(const Draw *d) {
    Box box = d->item->part[0];
    seconds_grid(d, box);
    lit(d, box, trace_of(d));
    figure(d);
}

/* ---- the whole ---- */

static void (*const PAINTERS[])(const Draw *) = {
    [ITEM_TITLE] = title,       [ITEM_PRESET] = preset,   [ITEM_GRAPH] = graph,
    [ITEM_LAMP] = lamp,         [ITEM_HEADING] = heading, [ITEM_SLIDER] = slider,
    [ITEM_SWITCH] = switch_box, [ITEM_CHOICE] = choice,   [ITEM_LIST] = list,
    [ITEM_HELP] = help,
};

static void draw_item(cairo_t *cr, const Hands *hands, size_t index) {
    const SheetItem *item = &hands->sheet->item[index];
    const Model *model = hands->model;
    bool has_port = item->port < MODEL_PORTS;
    const Draw d = {.cr = cr,
                    .hands = hands,
                    .model = model,
                    .item = item,
                    .spec = has_port ? &model->port[item->port].spec : NULL,
                    .value = has_port ? model->value[item->port] : 0.0f,
                    .index = index};
    PAINTERS[item->kind](&d);
    if (hands->has_keyboard && index == hands->focus)
        paint_frame(cr, within(item->box, -RING, 0.0), LOOK_ACCENT, 2.0);
}

Box draw_box(const Sheet *sheet, size_t item) {
    Box box = within(sheet->item[item].box, -RING - 1.0, -1.0);
    double x = floor(box.x * sheet->zoom), y = floor(box.y * sheet->zoom);
    return (Box){x, y, ceil((box.x + box.w) * sheet->zoom) - x,
                 ceil((box.y + box.h) * sheet->zoom) - y};
}

static bool meet(Box a, Box b) {
    return a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
}

void draw_view(cairo_t *cr, const Hands *hands, Box px) {
    const Sheet *sheet = hands->sheet;
    cairo_save(cr);
    cairo_rectangle(cr, px.x, px.y, px.w, px.h);
    cairo_clip(cr);
    paint_colour(cr, LOOK_PAPER);
    cairo_paint(cr);
    cairo_scale(cr, sheet->zoom, sheet->zoom);
    for (size_t i = 0; i < sheet->n; i++)
        if (meet(draw_box(sheet, i), px))
            draw_item(cr, hands, i);
    cairo_restore(cr);
}
