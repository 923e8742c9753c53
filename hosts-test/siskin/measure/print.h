/* SPDX-License-Identifier: ISC */
/* print.h: measures in words and figures: for people, as JSON, as CSV. */
#ifndef SISKIN_MEASURE_PRINT_H
#define SISKIN_MEASURE_PRINT_H

#include "siskin/json.h"
#include "siskin/measure/take.h"

/* Band `band` of a take beside a reference, both brought to the same integrated loudness: dB more,
 * and dB more crest (less dense). NAN where either is not known. */
double tell_more_level_db(const Measures *take, const Measures *reference, size_t band);
double tell_more_crest_db(const Measures *take, const Measures *reference, size_t band);

/* "Bb minor". */
const char *tell_key(char buffer[24], unsigned tonic, bool minor);
/* "A3 +12": the nearest note of A 440 and what it is off, in cents; "-" for NAN. */
const char *tell_note(char buffer[24], double hz);
/* Of the finite ones among the values, between neighbours in proportion; NAN for none. */
double tell_quantile(const double *values, size_t n, double p);
double tell_median(const double *values, size_t n);

/* `reference` may be NULL. `all`: every event in a line of its own. */
void tell_table(const Measures *take, const Measures *reference, bool all);
void tell_json(Json *json, const Measures *take, const Measures *reference);
void tell_csv_head(bool reference);
void tell_csv(const Measures *take, const Measures *reference);
/* A text as CSV has it (RFC 4180): in quotes, which are doubled. */
void tell_csv_text(const char *text);
/* One line of a table of takes. */
void tell_row_head(void);
void tell_row(const Measures *take);

extern const char *const tell_band_name[BAND_CREST_BANDS];

#endif
