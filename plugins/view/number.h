/* SPDX-License-Identifier: ISC */
/* number.h: values of controls as people read, type and step them.
 *
 * All of it is independent of the locale that the host has set: a point is written, a point or a
 * comma is read. */
#ifndef SISKIN_VIEW_NUMBER_H
#define SISKIN_VIEW_NUMBER_H

#include "plugin.h"

enum { NUMBER_LENGTH = 32 };

/* The value with its unit, or the label of its point: "-12.0 dB", "4.50 kHz", "On". UTF-8, with a
 * true minus. */
void number_format(const PortSpec *port, float value, char text[NUMBER_LENGTH]);

/* As a person begins to type over it: without unit, in the port's own. */
void number_plain(const PortSpec *port, float value, char text[NUMBER_LENGTH]);

/* What was typed, in range: "-12", "4.5k", "4,5 kHz", "1.2 s" for a port in ms. Without a unit it
 * is in the port's own. false, and *value untouched: not a number, or with a unit that the port
 * does not have. */
bool number_parse(const PortSpec *port, const char *text, float *value);

/* `steps` further: a linear port in about 100 round steps over its range, a logarithmic one in 100
 * equal ratios, a whole number by 1, a list by one point. Fractions of a step are allowed where the
 * port has them. In range. */
float number_step(const PortSpec *port, float value, double steps);

/* Where on the slider: 0 at the minimum to 1 at the maximum, on the port's scale; and back, rounded
 * to what is shown. */
double number_place(const PortSpec *port, float value);
float number_at(const PortSpec *port, double place);

#endif
