/* SPDX-License-Identifier: ISC */
#include "view/hands.h"

#include <math.h>
#include <string.h>

static const double DOUBLE_PRESS_S = 0.4, FINE = 0.1, PAGE = 10.0;

void hands_start(Hands *hands, Model *model, Sheet *sheet, HandsHost to) {
    *hands = (Hands){.model = model, .sheet = sheet, .to = to, .pressed_s = -1.0};
    while (hands->focus < sheet->n && !sheet_takes_focus(&sheet->item[hands->focus]))
        hands->focus++;
    hands->hover = sheet->n;
    hands->pressed = sheet->n;
    hands->told = hands->focus;
}

static const SheetItem *item_at(const Hands *hands, size_t item) {
    return &hands->sheet->item[item];
}

static const PortSpec *spec_of(const Hands *hands, const SheetItem *item) {
    return &hands->model->port[item->port].spec;
}

/* ---- values ---- */

static bool set(Hands *hands, size_t port, float value) {
    value = layout_clamp(&hands->model->port[port].spec, value);
    if (value == hands->model->value[port])
        return false;
    hands->model->value[port] = value;
    if (hands->to.write)
        hands->to.write(hands->to.host, port, value);
    return true;
}

static void touch(Hands *hands, size_t port, bool held) {
    if (hands->to.touch && port < MODEL_PORTS)
        hands->to.touch(hands->to.host, port, held);
}

/* One change by itself, as a touch that lets go at once. */
static bool set_once(Hands *hands, size_t port, float value) {
    if (value == hands->model->value[port])
        return false;
    touch(hands, port, true);
    bool changed = set(hands, port, value);
    touch(hands, port, false);
    return changed;
}

static bool choose_preset(Hands *hands, size_t preset) {
    bool changed = false;
    for (size_t i = 0; i < hands->model->n_ports; i++)
        if (model_is_control(hands->model, i))
            changed |= set_once(hands, i, model_preset_value(hands->model, preset, i));
    return changed;
}

/* From values that are no preset's, the first is next and the last is before. */
static bool step_preset(Hands *hands, double steps) {
    size_t n = model_n_presets(hands->model), now = model_preset(hands->model);
    double to = now == n ? (steps > 0.0 ? 0.0 : (double)n - 1.0) : (double)now + rint(steps);
    return choose_preset(hands, (size_t)fmin(fmax(to, 0.0), (double)n - 1.0));
}

static bool step(Hands *hands, const SheetItem *item, double steps) {
    if (item->kind == ITEM_PRESET)
        return step_preset(hands, steps > 0.0 ? 1.0 : -1.0);
    const PortSpec *spec = spec_of(hands, item);
    if (spec->kind != PORT_LINEAR && spec->kind != PORT_LOGARITHMIC && fabs(steps) < 1.0)
        steps = steps > 0.0 ? 1.0 : -1.0; /* no tenths of a whole */
    return set_once(hands, item->port, number_step(spec, hands->model->value[item->port], steps));
}

static bool set_default(Hands *hands, const SheetItem *item) {
    if (item->kind == ITEM_PRESET)
        return choose_preset(hands, 0);
    return set_once(hands, item->port, spec_of(hands, item)->initial);
}

/* What a press on a switch or the space bar does: the other of two, the next of more. */
static bool next_value(Hands *hands, const SheetItem *item) {
    if (item->kind == ITEM_PRESET)
        return step_preset(hands, 1.0);
    const PortSpec *spec = spec_of(hands, item);
    float now = hands->model->value[item->port], next = number_step(spec, now, 1.0);
    return set_once(hands, item->port, next == now ? spec->minimum : next);
}

/* ---- typing ---- */

static bool stop_typing(Hands *hands, bool take) {
    if (!hands->typing)
        return false;
    hands->typing = false;
    const SheetItem *item = item_at(hands, hands->focus);
    float value;
    if (take && number_parse(spec_of(hands, item), hands->text, &value))
        set_once(hands, item->port, value);
    return true;
}

static bool start_typing(Hands *hands, const char *text) {
    if (item_at(hands, hands->focus)->kind != ITEM_SLIDER)
        return false;
    hands->typing = true;
    hands->chosen = false;
    size_t n = strnlen(text, HANDS_TEXT - 1);
    memcpy(hands->text, text, n);
    hands->text[n] = '\0';
    return true;
}

static bool type_over(Hands *hands) {
    const SheetItem *item = item_at(hands, hands->focus);
    char plain[NUMBER_LENGTH] = "";
    if (item->kind == ITEM_SLIDER)
        number_plain(spec_of(hands, item), hands->model->value[item->port], plain);
    bool started = start_typing(hands, plain);
    hands->chosen = started;
    return started;
}

static bool may_type(const char *text) {
    return text[0] > ' ' && text[0] < 0x7f && text[1] == '\0';
}

static bool type_key(Hands *hands, HandsKey key, const char *text) {
    bool chosen = hands->chosen;
    size_t n = strlen(hands->text);
    switch (key) {
    case KEY_ENTER:
        return stop_typing(hands, true);
    case KEY_ESCAPE:
        return stop_typing(hands, false);
    case KEY_DELETE:
        hands->text[0] = '\0';
        return true;
    case KEY_BACKSPACE:
        hands->text[n > 0 && !chosen ? n - 1 : 0] = '\0';
        hands->chosen = false;
        return true;
    case KEY_LESS:
    case KEY_MORE:
        hands->chosen = false;
        return chosen;
    default:
        if (!may_type(text) && strcmp(text, " ") != 0)
            return false;
        if (chosen)
            n = 0;
        hands->chosen = false;
        if (n + 1 >= HANDS_TEXT)
            return false;
        memcpy(hands->text + n, text, 2);
        return true;
    }
}

/* ---- focus ---- */

static bool focus_on(Hands *hands, size_t item) {
    bool changed = stop_typing(hands, true) || item != hands->focus || hands->told != item;
    hands->focus = item;
    hands->told = item;
    return changed;
}

static bool move_focus(Hands *hands, bool back) {
    size_t n = hands->sheet->n, to = hands->focus;
    do
        to = (to + (back ? n - 1 : 1)) % n;
    while (!sheet_takes_focus(item_at(hands, to)));
    return focus_on(hands, to);
}

bool hands_keyboard(Hands *hands, bool has) {
    bool changed = hands->has_keyboard != has;
    hands->has_keyboard = has;
    return (!has && stop_typing(hands, true)) || changed;
}

/* ---- mouse ---- */

static double place_at(const SheetItem *item, double x) {
    return (x - item->part[1].x) / item->part[1].w;
}

static bool begin_drag(Hands *hands, const SheetItem *item, double x, bool shift) {
    hands->dragging = true;
    hands->fine = shift;
    hands->drag_x = x;
    hands->drag_place = number_place(spec_of(hands, item), hands->model->value[item->port]);
    touch(hands, item->port, true);
    if (!shift)
        set(hands, item->port, number_at(spec_of(hands, item), place_at(item, x)));
    return true;
}

static bool press_choice(Hands *hands, const SheetItem *item, double x, double y) {
    const PortSpec *spec = spec_of(hands, item);
    for (size_t i = 0; i < spec->n_points; i++)
        if (box_has(sheet_choice(item, i, spec->n_points), x, y))
            set_once(hands, item->port, spec->points[i].value);
    return true;
}

static bool press_item(Hands *hands, const SheetItem *item, double x, double y, bool shift) {
    switch (item->kind) {
    case ITEM_SLIDER:
        if (box_has(item->part[1], x, y))
            return begin_drag(hands, item, x, shift);
        if (box_has(item->part[2], x, y))
            type_over(hands);
        return true;
    case ITEM_SWITCH:
        next_value(hands, item);
        return true;
    case ITEM_CHOICE:
        return press_choice(hands, item, x, y);
    case ITEM_LIST:
        if (box_has(item->part[1], x, y))
            step(hands, item, x < item->part[1].x + 0.5 * item->part[1].w ? -1.0 : 1.0);
        return true;
    case ITEM_PRESET:
        if (box_has(item->part[0], x, y))
            step_preset(hands, -1.0);
        else if (x >= item->part[1].x)
            step_preset(hands, 1.0);
        return true;
    default:
        return true;
    }
}

bool hands_press(Hands *hands, double x, double y, bool shift, double now_s) {
    size_t at = sheet_at(hands->sheet, x, y);
    if (at == hands->sheet->n || !sheet_takes_focus(item_at(hands, at)))
        return stop_typing(hands, true);
    const SheetItem *item = item_at(hands, at);
    bool again = at == hands->pressed && now_s - hands->pressed_s <= DOUBLE_PRESS_S;
    hands->pressed = again ? hands->sheet->n : at;
    hands->pressed_s = now_s;
    focus_on(hands, at);
    /* Pressing a switch or an arrow twice is meant twice. */
    if (again && item->kind == ITEM_SLIDER) {
        stop_typing(hands, false);
        set_default(hands, item);
        return true;
    }
    return press_item(hands, item, x, y, shift);
}

bool hands_move(Hands *hands, double x, double y) {
    if (hands->dragging) {
        const SheetItem *item = item_at(hands, hands->focus);
        double place = hands->fine
                           ? hands->drag_place + FINE * (x - hands->drag_x) / item->part[1].w
                           : place_at(item, x);
        /* A hand that trembles does not begin a fine drag. */
        if (hands->fine && x == hands->drag_x)
            return false;
        return set(hands, item->port, number_at(spec_of(hands, item), place));
    }
    size_t at = sheet_at(hands->sheet, x, y);
    if (at == hands->hover)
        return false;
    hands->hover = at;
    if (at < hands->sheet->n &&
        (item_at(hands, at)->port < MODEL_PORTS || item_at(hands, at)->kind == ITEM_PRESET))
        hands->told = at;
    return true;
}

bool hands_release(Hands *hands) {
    if (hands->dragging)
        touch(hands, item_at(hands, hands->focus)->port, false);
    hands->dragging = false;
    return false;
}

bool hands_leave(Hands *hands) {
    bool changed = hands->hover != hands->sheet->n || hands->told != hands->focus;
    hands->hover = hands->sheet->n;
    hands->told = hands->focus;
    return changed;
}

bool hands_wheel(Hands *hands, double x, double y, double steps, bool shift) {
    size_t at = sheet_at(hands->sheet, x, y);
    if (at == hands->sheet->n || !sheet_takes_focus(item_at(hands, at)) || hands->dragging)
        return false;
    bool stopped = stop_typing(hands, true);
    return step(hands, item_at(hands, at), shift ? FINE * steps : steps) || stopped;
}

/* ---- keys ---- */

static bool end_of_range(Hands *hands, const SheetItem *item, bool high) {
    if (item->kind == ITEM_PRESET)
        return choose_preset(hands, high ? model_n_presets(hands->model) - 1 : 0);
    const PortSpec *spec = spec_of(hands, item);
    if (spec->kind == PORT_ENUMERATION)
        return set_once(hands, item->port, spec->points[high ? spec->n_points - 1 : 0].value);
    return set_once(hands, item->port, high ? spec->maximum : spec->minimum);
}

static bool edit_key(Hands *hands, HandsKey key, const char *text) {
    const SheetItem *item = item_at(hands, hands->focus);
    if (key == KEY_ENTER && item->kind == ITEM_SLIDER)
        return type_over(hands);
    if (key == KEY_ENTER || strcmp(text, " ") == 0)
        return item->kind != ITEM_SLIDER && next_value(hands, item);
    if (key == KEY_OTHER && may_type(text) && strchr("0123456789-+.,", text[0]))
        return start_typing(hands, text);
    return false;
}

bool hands_key(Hands *hands, HandsKey key, const char *text, bool shift) {
    if (hands->dragging)
        return false;
    if (key == KEY_TAB || key == KEY_BACK_TAB)
        return move_focus(hands, key == KEY_BACK_TAB || shift);
    if (hands->typing)
        return type_key(hands, key, text);
    const SheetItem *item = item_at(hands, hands->focus);
    double one = shift ? FINE : 1.0;
    switch (key) {
    case KEY_LESS:
        return step(hands, item, -one);
    case KEY_MORE:
        return step(hands, item, one);
    case KEY_PAGE_LESS:
        return step(hands, item, -PAGE * one);
    case KEY_PAGE_MORE:
        return step(hands, item, PAGE * one);
    case KEY_HOME:
        return end_of_range(hands, item, false);
    case KEY_END:
        return end_of_range(hands, item, true);
    case KEY_DELETE:
    case KEY_BACKSPACE:
        return set_default(hands, item);
    default:
        return edit_key(hands, key, text);
    }
}
