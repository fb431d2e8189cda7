/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_EXPLAIN_TABLE_H
#define COMMAND_EXPLAIN_TABLE_H

/* The table of `analyse --explain`. */

#include "base/table.h"
#include "register/explain.h"

#define EXPLAIN_COLUMNS "about take time_s direction item at at_unit value unit part"

void explain_table_rows(const explanation *why, table_writer *w);

#endif
