/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/care.h"

#include "base/array.h"
#include "journal/frames.h"
#include "journal/judgement.h"
#include "journal/sql.h"
#include "journal/store.h"
#include "journal/take.h"

#include <stdlib.h>
#include <string.h>

typedef struct verifier {
    journal *j;
    care_fault *fault;
    void *context;
    care_count *count;
} verifier;

static void tell(verifier *v, const char *what)
{
    v->count->faults++;
    v->fault(v->context, what);
}

/* Every row of a check is a fault, but the word "ok". */
static bool run_check(verifier *v, const char *text, err *e)
{
    sqlite3_stmt *s;
    bool fine = sql_prepare(v->j, text, &s, e, "");
    while (sql_next(v->j, &s, &fine, e)) {
        char *what = sql_text(s, 0);
        if (strcmp(what, "ok") != 0)
            tell(v, what);
        free(what);
    }
    return fine;
}

static void check_code(verifier *v, const journal_take *t)
{
    char code[JOURNAL_CODE];
    journal_code(t->singer, t->sound, t->start_s, t->end_s, code);
    if (strcmp(code, t->code) == 0)
        return;
    char *what = xformat("take %s does not have the name that singer and sound give", t->take);
    tell(v, what);
    free(what);
}

bool frames_same(const journal *j, long id, bool *same, err *e)
{
    sqlite3_stmt *s;
    bool row;
    *same = false;
    if (!sql_prepare(j, "SELECT heard, digest FROM frames WHERE take = ?", &s, e, "i", id) ||
        !sql_step(j, &s, &row, e))
        return false;
    if (row) {
        unsigned char digest[FRAMES_DIGEST];
        const void *heard = sqlite3_column_blob(s, 0), *was = sqlite3_column_blob(s, 1);
        frames_digest(heard, (size_t)sqlite3_column_bytes(s, 0), digest);
        *same = !was || (sqlite3_column_bytes(s, 1) == FRAMES_DIGEST &&
                         memcmp(was, digest, FRAMES_DIGEST) == 0);
    }
    sqlite3_finalize(s);
    return true;
}

static void check_take(verifier *v, long id, const journal_take *t)
{
    journal_item item;
    bool same;
    err e;
    v->count->takes += t->judged;
    check_code(v, t);
    if (!frames_same(v->j, id, &same, &e) || !take_by_id(v->j, id, &item, &e)) {
        tell(v, e.text);
        return;
    }
    v->count->frames += item.track->n;
    if (!same) {
        char *what = xformat("the frames of take %s are not those that were stored", t->take);
        tell(v, what);
        free(what);
    }
    journal_item_clear(&item);
}

static bool check_takes(verifier *v, err *e)
{
    take_list list;
    if (!take_query(v->j, "WHERE t.code >= ?", "", NULL, &list, e))
        return false;
    for (size_t i = 0; i < list.n; i++)
        check_take(v, list.ids[i], &list.items[i]);
    take_list_clear(&list);
    return true;
}

static bool count_waiting(verifier *v, const char *version, err *e)
{
    journal_singer *singers;
    bool fine = journal_singers(v->j, &singers, &v->count->singers, e);
    if (!fine)
        return false;
    for (size_t i = 0; fine && i < v->count->singers; i++) {
        judgement g;
        bool any;
        fine = judgement_next(v->j, singers[i].name, version, &g, &any, e);
        v->count->waiting += fine && any;
        if (fine && any)
            judgement_clear(&g);
    }
    journal_singers_free(singers, v->count->singers);
    return fine;
}

bool care_verify(journal *j, const char *version, care_fault *fault, void *context,
                 care_count *count, err *e)
{
    *count = (care_count){0};
    verifier v = {j, fault, context, count};
    bool begun;
    if (!sql_begin_read(j, &begun, e))
        return false;
    bool fine =
        run_check(&v, "PRAGMA integrity_check", e) &&
        run_check(&v,
                  "SELECT 'row ' || rowid || ' of ' || \"table\" || ' belongs to no row of ' ||"
                  " parent FROM pragma_foreign_key_check",
                  e) &&
        check_takes(&v, e) && (count->faults || count_waiting(&v, version, e));
    sql_end_read(j, begun);
    return fine;
}
