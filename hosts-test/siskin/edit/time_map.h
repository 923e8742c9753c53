/* SPDX-License-Identifier: ISC */
/* time_map.h: where each moment of a take is to come. */
#ifndef SISKIN_EDIT_TIME_MAP_H
#define SISKIN_EDIT_TIME_MAP_H

#include <stddef.h>

typedef struct {
    double from, to; /* frame of the take, and of the output */
} MapPoint;

/* Straight between points, which grow in both; as it stands beyond the first and the last. */
typedef struct {
    MapPoint *points;
    size_t n;
} TimeMap;

/* Adds a point behind the others; one that does not lie after the last in both is left out. */
void time_map_add(TimeMap *map, double from, double to);
double time_map_at(const TimeMap *map, double from);
double time_map_from(const TimeMap *map, double to); /* the other way round */
void time_map_free(TimeMap *map);

#endif
