/* SPDX-License-Identifier: ISC */
#include "siskin/edit/time_map.h"

#include "siskin/text.h"

#include <stdbool.h>
#include <stdlib.h>

void time_map_add(TimeMap *map, double from, double to) {
    const MapPoint *last = map->n ? &map->points[map->n - 1] : NULL;
    if (last && (from <= last->from || to <= last->to))
        return;
    *(MapPoint *)text_grow(&map->points, &map->n, sizeof(MapPoint)) = (MapPoint){from, to};
}

static double side(const MapPoint *point, bool to) {
    return to ? point->to : point->from;
}

/* From one side to the other. */
static double across(const TimeMap *map, double at, bool from_to) {
    size_t low = 0, high = map->n; /* the first point after `at` */
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (side(&map->points[middle], from_to) <= at)
            low = middle + 1;
        else
            high = middle;
    }
    if (map->n == 0)
        return at;
    const MapPoint *b = &map->points[low < map->n ? low : map->n - 1];
    double offset = side(b, !from_to) - side(b, from_to);
    if (low == 0 || low == map->n)
        return at + offset;
    const MapPoint *a = b - 1;
    double slope = (side(b, !from_to) - side(a, !from_to)) / (side(b, from_to) - side(a, from_to));
    return side(a, !from_to) + (at - side(a, from_to)) * slope;
}

double time_map_at(const TimeMap *map, double from) {
    return across(map, from, false);
}

double time_map_from(const TimeMap *map, double to) {
    return across(map, to, true);
}

void time_map_free(TimeMap *map) {
    free(map->points);
    *map = (TimeMap){0};
}
