/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_AVERAGE_H
#define FIT_AVERAGE_H

#include "fit/boundary.h"

/* A figure that two models tell, of which the first is right with probability `weight`: the mean of
 * the estimates, and the interval beyond whose ends the models' tail areas, so weighted, are 2.5 %
 * each (Turek & Fletcher 2012, Computational Statistics & Data Analysis 56:2809). A model's
 * distribution is taken to be a normal one on either side of its estimate, as wide as its interval.
 * A model that tells nothing (NaN) leaves all to the other. */
figure figure_average(double weight, figure a, figure b);

#endif
