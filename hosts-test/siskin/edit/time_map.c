/* SPDX-License-Identifier: ISC */
#include "siskin/edit/time_map.h"

#include "siskin/text.h"

#include <stdlib.h>

void time_map_add(TimeMap *map, double from, double to) {
    const MapPoint *last = map->n ? &map->points[map->n - 1] : NULL;
    if (last && (from <= last->from || to <= last->to))
        return;
    *(MapPoint *)text_grow(&map->points, &map->n, sizeof(MapPoint)) = (MapPoint){from, to};
}

double time_map_at(const TimeMap *map, double from) {
    size_t low = 0, high = map->n; /* the first point after `from` */
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (map->points[middle].from <= from)
            low = middle + 1;
        else
            high = middle;
    }
    if (map->n == 0)
        return from;
    if (low == 0 || low == map->n) {
        const MapPoint *end = &map->points[low ? map->n - 1 : 0];
        return from + (end->to - end->from);
    }
    const MapPoint *a = &map->points[low - 1], *b = &map->points[low];
    return a->to + (from - a->from) * (b->to - a->to) / (b->from - a->from);
}

void time_map_free(TimeMap *map) {
    free(map->points);
    *map = (TimeMap){0};
}
