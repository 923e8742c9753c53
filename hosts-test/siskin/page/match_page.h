/* SPDX-License-Identifier: ISC */
/* match_page.h: what siskin match found, as a page that needs nothing else: both spectra, and the
 * levels and crests of the four bands. */
#ifndef SISKIN_PAGE_MATCH_PAGE_H
#define SISKIN_PAGE_MATCH_PAGE_H

#include "siskin/edit/match.h"

#include <stdio.h>

void match_page_write(FILE *to, const Match *match, const char *take, const char *reference);

#endif
