/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_TEMPLATES_H
#define SHOW_TEMPLATES_H

/* The gnuplot templates of plots/, built into the program: plots/NAME.gp is plot_NAME. */
extern const char plot_compare[];
extern const char plot_explain[];
extern const char plot_explain_text[];
extern const char plot_held[];
extern const char plot_held_text[];
extern const char plot_map[];
extern const char plot_map_text[];
extern const char plot_progress[];
extern const char plot_progress_text[];
extern const char plot_take[];
extern const char plot_take_text[];

#endif
