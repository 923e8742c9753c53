/* SPDX-License-Identifier: ISC */
/* print.h: measures in words and figures: for people, as JSON, as CSV. */
#ifndef SISKIN_MEASURE_PRINT_H
#define SISKIN_MEASURE_PRINT_H

#include "siskin/json.h"
#include "siskin/measure/take.h"

/* Band `band` of a take beside a reference, both brought to the same loudness while sung: dB more,
 * and dB more spread (less dense), each with its standard error. NAN where either is not known. */
typedef struct {
    double value, error;
} PrintMore;
PrintMore print_more_level_db(const Measures *take, const Measures *reference, size_t band);
PrintMore print_more_spread_db(const Measures *take, const Measures *reference, size_t band);

/* `reference` may be NULL. `all`: every event in a line of its own. */
void print_table(const Measures *take, const Measures *reference, bool all);
void print_json(Json *json, const Measures *take, const Measures *reference);
void print_csv_head(bool reference);
void print_csv(const Measures *take, const Measures *reference);
/* Every event of the take in a line of CSV, in the order of time: take, kind, start and end in
 * seconds, and its figure with its unit. */
void print_events_head(void);
void print_events_csv(const Measures *take);
/* One line of a table of takes. */
void print_row_head(void);
void print_row(const Measures *take);

extern const char *const print_band_name[BAND_CREST_BANDS];

#endif
