/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/take.h"

#include "base/array.h"
#include "base/text.h"
#include "journal/item.h"

#include <stdlib.h>
#include <string.h>

enum { SHORTEST_NAME = 10 };

enum column {
    ID,
    CODE,
    CODE_BEFORE,
    CODE_AFTER,
    SINGER,
    SESSION,
    DATE,
    DATE_FROM,
    RIG,
    FULL_SCALE,
    DISTANCE,
    CALIBRATION,
    FILE_NAME,
    START,
    END,
    SOUND,
    SECONDS,
    VOICED,
    CLIPPED,
    DC,
    PEAK,
    LEQ,
    LAEQ,
    LZEQ,
    LCFMAX,
    LCSMAX,
    NAME,
    VOWEL,
    HOLD,
    VARY,
    DECLARED,
    EGG,
    MICROPHONE,
    CHANNEL,
    EGG_CHANNEL,
    SETTINGS,
    VERSION,
    REMOVED,
    JUDGED,
    FLIPS,
    DOUBTFUL,
    FAILED,
    WARNED
};

#define CHECKED_AS(result)                                                                         \
    ", (SELECT CASE WHEN count(*) THEN ifnull((SELECT group_concat(name) FROM (SELECT name FROM"   \
    " checks WHERE take = t.id AND result = '" result "' ORDER BY name)), 'none') END"             \
    " FROM checks WHERE take = t.id)"

const char take_select[] =
    "SELECT t.id, t.code, (SELECT max(o.code) FROM takes o WHERE o.code < t.code),"
    " (SELECT min(o.code) FROM takes o WHERE o.code > t.code), g.name, s.id, s.date, t.date_from,"
    " s.rig, s.full_scale_db, s.distance_cm, s.calibration, t.file, t.start_s, t.end_s, t.sound,"
    " t.seconds, t.voiced_s, t.clipped_runs, t.dc, t.peak, t.leq_db, t.laeq_db, t.lzeq_db,"
    " t.lcfmax_db, t.lcsmax_db, t.name, t.vowel, t.hold, t.vary, t.declared, t.egg, t.microphone,"
    " t.channel, t.egg_channel, t.settings, t.version,"
    " t.removed % 2, t.judged,"
    " (SELECT count(*) FROM flips f WHERE f.take = t.id AND f.confidence >= 0.5),"
    " (SELECT count(*) FROM flips f WHERE f.take = t.id AND f.confidence < 0.5)" CHECKED_AS("fail")
        CHECKED_AS("warn") " FROM takes t JOIN sessions s ON s.id = t.session JOIN singers g ON "
                           "g.id = s.singer ";

const char take_order[] = " ORDER BY s.date, s.rig, ifnull(s.full_scale_db, -1), s.distance_cm,"
                          " t.file, ifnull(t.start_s, -1), t.code";

static size_t common(const char *a, const char *b)
{
    size_t n = 0;
    while (a[n] && a[n] == b[n])
        n++;
    return n;
}

/* As few digits as no other take begins with; its neighbours in order share the most with it. */
static char *short_name(sqlite3_stmt *s)
{
    char *name = sql_text(s, CODE), *before = sql_text(s, CODE_BEFORE),
         *after = sql_text(s, CODE_AFTER);
    size_t left = common(name, before), right = common(name, after), n = strlen(name);
    size_t tells = 1 + (left > right ? left : right);
    tells = tells < SHORTEST_NAME ? SHORTEST_NAME : tells;
    if (tells < n)
        name[tells] = '\0';
    free(before);
    free(after);
    return name;
}

static int read_set(sqlite3_stmt *s, int column)
{
    int bits = -1;
    const unsigned char *text = sqlite3_column_text(s, column);
    if (text)
        text_set_read((const char *)text, JOURNAL_DIMENSIONS, &bits);
    return bits;
}

static date_origin read_date_from(sqlite3_stmt *s)
{
    char *word = sql_text(s, DATE_FROM);
    int i = text_word_index(JOURNAL_DATE_FROM, word);
    free(word);
    return i < 0 ? DATE_MODIFIED : (date_origin)i;
}

journal_take take_read(sqlite3_stmt *s)
{
    journal_take t = {
        .code = sql_text(s, CODE),
        .take = short_name(s),
        .singer = sql_text(s, SINGER),
        .session = (long)sqlite3_column_int64(s, SESSION),
        .date = sql_text(s, DATE),
        .date_from = read_date_from(s),
        .rig = sql_text(s, RIG),
        .full_scale_db = sql_real(s, FULL_SCALE),
        .distance_cm = sql_real(s, DISTANCE),
        .calibration = sql_text(s, CALIBRATION),
        .file = sql_text(s, FILE_NAME),
        .start_s = sql_real(s, START),
        .end_s = sql_real(s, END),
        .seconds = sql_real(s, SECONDS),
        .voiced_s = sql_real(s, VOICED),
        .clipped_runs = (size_t)sqlite3_column_int64(s, CLIPPED),
        .dc = sql_real(s, DC),
        .peak = sql_real(s, PEAK),
        .leq_db = sql_real(s, LEQ),
        .laeq_db = sql_real(s, LAEQ),
        .lzeq_db = sql_real(s, LZEQ),
        .lcfmax_db = sql_real(s, LCFMAX),
        .lcsmax_db = sql_real(s, LCSMAX),
        .name = sql_text(s, NAME),
        .vowel = sql_text(s, VOWEL),
        .hold = read_set(s, HOLD),
        .vary = read_set(s, VARY),
        .declared = (declared_register)sqlite3_column_int(s, DECLARED),
        .egg = sqlite3_column_int(s, EGG),
        .microphone = sqlite3_column_int(s, MICROPHONE),
        .channel = sqlite3_column_int(s, CHANNEL),
        .egg_channel = sqlite3_column_int(s, EGG_CHANNEL),
        .settings = sql_text(s, SETTINGS),
        .version = sql_text(s, VERSION),
        .removed = sqlite3_column_int(s, REMOVED) != 0,
        .judged = sqlite3_column_int(s, JUDGED) != 0,
        .flips = (size_t)sqlite3_column_int64(s, FLIPS),
        .doubtful = (size_t)sqlite3_column_int64(s, DOUBTFUL),
        .failed = sql_text(s, FAILED),
        .warned = sql_text(s, WARNED),
    };
    const void *sound = sqlite3_column_blob(s, SOUND);
    if (sound && sqlite3_column_bytes(s, SOUND) == JOURNAL_DIGEST)
        memcpy(t.sound, sound, JOURNAL_DIGEST);
    return t;
}

static bool run_query(const journal *j, const char *text, const char *singer,
                      const char *vowel_or_null, take_list *out, err *e)
{
    sqlite3_stmt *s;
    bool fine = vowel_or_null ? sql_prepare(j, text, &s, e, "tt", singer, vowel_or_null)
                              : sql_prepare(j, text, &s, e, "t", singer);
    while (sql_next(j, &s, &fine, e)) {
        array_reserve((void **)&out->items, &out->room, out->n + 1, sizeof *out->items);
        array_reserve((void **)&out->ids, &out->id_room, out->n + 1, sizeof *out->ids);
        out->items[out->n] = take_read(s);
        out->ids[out->n++] = (long)sqlite3_column_int64(s, ID);
    }
    return fine;
}

bool take_query(const journal *j, const char *where, const char *singer, const char *vowel_or_null,
                take_list *out, err *e)
{
    char *text = xformat("%s%s%s", take_select, where, take_order);
    *out = (take_list){0};
    bool fine = run_query(j, text, singer, vowel_or_null, out, e);
    free(text);
    if (!fine)
        take_list_clear(out);
    return fine;
}

void take_list_clear(take_list *l)
{
    journal_takes_free(l->items, l->n);
    free(l->ids);
    *l = (take_list){0};
}

bool take_outlines(const journal *j, take_list *l, journal_item **items, size_t *n, err *e)
{
    journal_item *made = xcalloc(l->n, sizeof *made);
    size_t count = l->n;
    bool fine = true;
    for (size_t i = 0; i < count; i++) {
        made[i].take = l->items[i];
        l->items[i] = (journal_take){0};
    }
    for (size_t i = 0; fine && i < count; i++)
        fine = item_load(j, l->ids[i], true, &made[i], e);
    take_list_clear(l);
    if (fine) {
        *items = made;
        *n = count;
    } else {
        journal_items_free(made, count);
    }
    return fine;
}

bool take_by_id(const journal *j, long id, journal_item *item, err *e)
{
    *item = (journal_item){0};
    char *text = xformat("%sWHERE t.id = ?", take_select);
    sqlite3_stmt *s = NULL;
    bool row, fine = sql_prepare(j, text, &s, e, "i", id) && sql_step(j, &s, &row, e);
    free(text);
    if (fine && !row)
        fine = err_set(e, "The journal %s is damaged: a take is not there.", j->file);
    if (fine)
        item->take = take_read(s);
    sqlite3_finalize(s);
    if (fine && item_load(j, id, false, item, e))
        return true;
    journal_item_clear(item);
    return false;
}
