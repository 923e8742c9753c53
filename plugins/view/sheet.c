/* SPDX-License-Identifier: ISC */
#include "view/sheet.h"

#include <math.h>
#include <string.h>

static const double WIDTH = 700.0, MARGIN = 14.0, GUTTER = 24.0, GAP = 8.0;
static const double HEAD_H = 32.0, PRESET_H = 28.0, HELP_H = 72.0;
static const double REDUCTION_H = 92.0, METER_H = 52.0, LAMP_H = 20.0, FIGURE_W = 108.0;
static const double ROW_H = 28.0, HEADING_H = 26.0, VALUE_W = 84.0;
static const double ENABLED_W = 104.0, AUDITION_W = 224.0;
static const double LABEL_SHARE = 0.36; /* of a row */
/* Up to this many rows stand in one column. */
enum { ONE_COLUMN = 4 };
/* Smaller is not readable, larger not wanted. */
static const double LEAST_ZOOM = 0.25, MOST_ZOOM = 4.0;

bool box_has(Box box, double x, double y) {
    return x >= box.x && x < box.x + box.w && y >= box.y && y < box.y + box.h;
}

bool sheet_takes_focus(const SheetItem *item) {
    switch (item->kind) {
    case ITEM_PRESET:
    case ITEM_SLIDER:
    case ITEM_SWITCH:
    case ITEM_CHOICE:
    case ITEM_LIST:
        return true;
    default:
        return false;
    }
}

static SheetItem *add(Sheet *sheet, ItemKind kind, size_t port, Box box) {
    SheetItem *item = &sheet->item[sheet->n++];
    *item = (SheetItem){.kind = kind, .port = port, .box = box};
    return item;
}

/* ---- controls ---- */

/* A line of the controls: a heading, or one control. */
typedef struct {
    const char *heading;
    size_t port;
} Line;
typedef struct {
    Line line[SHEET_ITEMS];
    size_t n;
} Lines;

static const char *group_of(const PortSpec *spec) {
    return spec->group ? spec->group : "Controls";
}

static void add_group(Lines *lines, const Model *model, const char *group, bool advanced) {
    bool begun = false;
    for (size_t i = 0; i < model->n_ports; i++) {
        const PortSpec *spec = &model->port[i].spec;
        if (model->port[i].role != ROLE_CONTROL || spec->advanced != advanced ||
            (group && strcmp(group_of(spec), group) != 0))
            continue;
        if (!begun)
            lines->line[lines->n++] = (Line){.heading = advanced ? "Advanced" : group};
        begun = true;
        lines->line[lines->n++] = (Line){.port = i};
    }
}

static bool begins_group(const Model *model, size_t port) {
    for (size_t i = 0; i < port; i++)
        if (model->port[i].role == ROLE_CONTROL &&
            strcmp(group_of(&model->port[i].spec), group_of(&model->port[port].spec)) == 0)
            return false;
    return true;
}

/* Groups in the order of the table, advanced controls after all. */
static void collect(Lines *lines, const Model *model) {
    lines->n = 0;
    for (size_t i = 0; i < model->n_ports; i++)
        if (model->port[i].role == ROLE_CONTROL && begins_group(model, i))
            add_group(lines, model, group_of(&model->port[i].spec), false);
    add_group(lines, model, NULL, true);
}

static double height_of(const Lines *lines, size_t from, size_t to) {
    double h = 0.0;
    for (size_t i = from; i < to; i++)
        h += lines->line[i].heading ? HEADING_H : ROW_H;
    return h;
}

/* Where the second column begins, so that the longer one is the shortest; lines->n: there is none.
 * Between groups where that costs no more than two rows; else within one. */
static size_t split(const Lines *lines, double *tall) {
    size_t best = lines->n;
    double least = height_of(lines, 0, lines->n);
    *tall = least;
    if (lines->n <= ONE_COLUMN + 1)
        return best;
    for (size_t i = 1; i < lines->n; i++) {
        bool torn = !lines->line[i].heading;
        if (torn && lines->line[i - 1].heading)
            continue;
        double h =
            fmax(height_of(lines, 0, i), height_of(lines, i, lines->n) + (torn ? HEADING_H : 0.0));
        double cost = h + (torn ? 2.0 * ROW_H : 0.0);
        if (cost < least) {
            least = cost;
            *tall = h;
            best = i;
        }
    }
    return best;
}

/* Two labels side by side have room for 12 letters each, three for 7. */
static bool labels_fit(const PortSpec *spec) {
    size_t most = spec->n_points == 2 ? 12 : spec->n_points == 3 ? 7 : 0;
    for (size_t i = 0; i < spec->n_points; i++)
        if (strlen(spec->points[i].label) > most)
            return false;
    return true;
}

static ItemKind kind_of(const PortSpec *spec) {
    switch (spec->kind) {
    case PORT_TOGGLE:
        return ITEM_SWITCH;
    case PORT_ENUMERATION:
        return labels_fit(spec) ? ITEM_CHOICE : ITEM_LIST;
    default:
        return ITEM_SLIDER;
    }
}

static void add_control(Sheet *sheet, const Model *model, size_t port, Box box, double label_w) {
    ItemKind kind = kind_of(&model->port[port].spec);
    SheetItem *item = add(sheet, kind, port, box);
    double x = box.x + label_w, w = box.w - label_w;
    item->part[0] = (Box){box.x, box.y, label_w, box.h};
    double last = kind == ITEM_SLIDER ? VALUE_W : 0.0;
    item->part[1] = (Box){x, box.y, w - last, box.h};
    item->part[2] = (Box){x + w - last, box.y, last, box.h};
    if (kind == ITEM_SWITCH)
        item->part[1].w = box.h;
    if (kind == ITEM_SWITCH)
        item->part[2] = (Box){x + box.h, box.y, w - box.h, box.h};
}

static void add_column(Sheet *sheet, const Model *model, const Lines *lines, size_t from, size_t to,
                       Box box) {
    double y = box.y;
    if (from < to && !lines->line[from].heading)
        y += HEADING_H; /* a torn group goes on level with its first row */
    for (size_t i = from; i < to; i++) {
        const Line *line = &lines->line[i];
        double h = line->heading ? HEADING_H : ROW_H;
        Box at = {box.x, y, box.w, h};
        if (line->heading)
            add(sheet, ITEM_HEADING, MODEL_PORTS, at)->title = line->heading;
        else
            add_control(sheet, model, line->port, at, LABEL_SHARE * box.w);
        y += h;
    }
}

static void add_controls(Sheet *sheet, const Model *model, const Lines *lines, Box box) {
    double tall;
    size_t middle = split(lines, &tall);
    double w = middle < lines->n ? 0.5 * (box.w - GUTTER) : box.w;
    add_column(sheet, model, lines, 0, middle, (Box){box.x, box.y, w, box.h});
    add_column(sheet, model, lines, middle, lines->n, (Box){box.x + w + GUTTER, box.y, w, box.h});
}

/* ---- meters ---- */

static double graph_h(const Port *port) {
    if (port->spec.kind == PORT_TOGGLE)
        return LAMP_H;
    return port->role == ROLE_REDUCTION ? REDUCTION_H : METER_H;
}

static double graphs_h(const Model *model, bool lamps, bool others) {
    double h = 0.0;
    for (size_t i = 0; i < model->n_traces; i++) {
        const Port *port = &model->port[model->trace[i].port];
        bool lamp = port->spec.kind == PORT_TOGGLE;
        h += (lamp ? lamps : others) ? graph_h(port) : 0.0;
    }
    return h;
}

/* Height that is left over goes to the graphs, to each as it is tall; a lamp needs none. */
static double add_graphs(Sheet *sheet, const Model *model, Box box, double over) {
    double stretch = 1.0 + over / graphs_h(model, false, true), y = box.y;
    for (size_t i = 0; i < model->n_traces; i++) {
        size_t port = model->trace[i].port;
        bool lamp = model->port[port].spec.kind == PORT_TOGGLE;
        double h = graph_h(&model->port[port]) * (lamp ? 1.0 : stretch);
        SheetItem *item =
            add(sheet, lamp ? ITEM_LAMP : ITEM_GRAPH, port, (Box){box.x, y, box.w, h});
        item->part[0] = (Box){box.x, y, box.w - FIGURE_W, h};
        item->part[1] = (Box){box.x + box.w - FIGURE_W, y, FIGURE_W, h};
        y += h + GAP;
    }
    return y;
}

/* ---- the whole ---- */

static double fixed_height(const Model *model, const Lines *lines) {
    double tall;
    split(lines, &tall);
    return 2.0 * MARGIN + HEAD_H + GAP + PRESET_H + GAP + graphs_h(model, true, true) +
           GAP * (double)model->n_traces + tall + GAP + HELP_H;
}

void sheet_natural(const Model *model, double *width, double *height) {
    Lines lines;
    collect(&lines, model);
    *width = WIDTH;
    *height = fixed_height(model, &lines);
}

static void add_head(Sheet *sheet, const Model *model, Box box) {
    double x = box.x + box.w;
    add(sheet, ITEM_TITLE, MODEL_PORTS,
        (Box){box.x, box.y, box.w - ENABLED_W - AUDITION_W, HEAD_H});
    for (size_t i = 0; i < model->n_ports; i++)
        if (model->port[i].role == ROLE_ENABLED)
            add_control(sheet, model, i,
                        (Box){x - ENABLED_W - AUDITION_W, box.y + 2.0, ENABLED_W - GAP, ROW_H},
                        66.0);
        else if (model->port[i].role == ROLE_AUDITION)
            add_control(sheet, model, i, (Box){x - AUDITION_W, box.y + 2.0, AUDITION_W, ROW_H},
                        64.0);
    SheetItem *preset =
        add(sheet, ITEM_PRESET, MODEL_PORTS, (Box){box.x, box.y + HEAD_H + GAP, box.w, PRESET_H});
    Box b = preset->box;
    preset->part[0] = (Box){b.x + 56.0, b.y, b.h, b.h};
    preset->part[1] = (Box){b.x + 56.0 + b.h, b.y, b.w - 56.0 - 2.0 * b.h, b.h};
    preset->part[2] = (Box){b.x + b.w - b.h, b.y, b.h, b.h};
}

void sheet_make(Sheet *sheet, const Model *model, double width, double height) {
    Lines lines;
    collect(&lines, model);
    double natural = fixed_height(model, &lines);
    double zoom = fmin(width / WIDTH, height / natural);
    sheet->zoom = fmin(fmax(zoom, LEAST_ZOOM), MOST_ZOOM);
    sheet->width = fmax(width / sheet->zoom, WIDTH);
    sheet->height = fmax(height / sheet->zoom, natural);
    sheet->n = 0;
    double w = sheet->width - 2.0 * MARGIN;
    add_head(sheet, model, (Box){MARGIN, MARGIN, w, HEAD_H});
    double y = MARGIN + HEAD_H + GAP + PRESET_H + GAP;
    y = add_graphs(sheet, model, (Box){MARGIN, y, w, 0.0}, sheet->height - natural);
    add_controls(sheet, model, &lines, (Box){MARGIN, y, w, 0.0});
    add(sheet, ITEM_HELP, MODEL_PORTS, (Box){MARGIN, sheet->height - MARGIN - HELP_H, w, HELP_H});
}

size_t sheet_at(const Sheet *sheet, double x, double y) {
    for (size_t i = 0; i < sheet->n; i++)
        if (box_has(sheet->item[i].box, x, y))
            return i;
    return sheet->n;
}

Box sheet_choice(const SheetItem *item, size_t i, size_t n) {
    Box all = item->part[1];
    double w = all.w / (double)n;
    return (Box){all.x + w * (double)i, all.y, w, all.h};
}
