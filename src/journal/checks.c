/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/checks.h"

#include "base/array.h"
#include "journal/sql.h"

#include <math.h>
#include <stdlib.h>

bool checks_store(const journal *j, long id, const checkup *found, err *e)
{
    bool fine = true;
    for (int c = 0; fine && c < CHECKS; c++) {
        const check_row *row = &found->of[c];
        if (row->result == CHECK_NONE)
            continue;
        fine = sql_do(j,
                      "INSERT INTO checks(take, name, result, figure, unit, remedy)"
                      " VALUES (?, ?, ?, ?, ?, ?)",
                      e, "ittrtt", id, check_name_of((check_name)c), check_result_of(row->result),
                      isfinite(row->figure) ? row->figure : (double)NAN,
                      check_unit_of((check_name)c), row->remedy);
    }
    return fine;
}

bool journal_checks(journal *j, const char *code, journal_check **items, size_t *n, err *e)
{
    sqlite3_stmt *s;
    size_t room = 0;
    *items = NULL;
    *n = 0;
    bool fine =
        sql_prepare(j,
                    "SELECT c.name, c.result, c.unit, c.remedy, c.figure FROM checks c JOIN takes"
                    " t ON t.id = c.take WHERE t.code = ? AND t.judged = 1 ORDER BY c.name",
                    &s, e, "t", code);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)items, &room, *n + 1, sizeof **items);
        (*items)[(*n)++] = (journal_check){sql_text(s, 0), sql_text(s, 1), sql_text(s, 2),
                                           sql_text(s, 3), sql_real(s, 4)};
    }
    if (!fine)
        journal_checks_free(*items, *n);
    return fine;
}

void journal_checks_free(journal_check *items, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        free(items[i].name);
        free(items[i].result);
        free(items[i].unit);
        free(items[i].remedy);
    }
    free(items);
}
