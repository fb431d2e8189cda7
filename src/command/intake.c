/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/intake.h"

#include "base/array.h"
#include "base/table.h"
#include "command/option_rows.h"
#include "journal/journal.h"
#include "lesson/exercise.h"
#include "sound/date.h"
#include "sound/source.h"

#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

const option statement_options[STATEMENT_OPTIONS] = {
    {"date", 0, OPTION_TEXT, "YYYY-MM-DD", NULL, 0, 0, offsetof(statement, date),
     "the day of the session (else what the file says)"},
    {"rig", 0, OPTION_TEXT, "TEXT", NULL, 0, 0, offsetof(statement, rig),
     "name of microphone, recorder and gain; calibrate --rig tells its full scale"},
    RECORDED_OPTIONS(statement),
    CONTACT_OPTION(statement, contact),
    {"hold", 0, OPTION_SET, "LIST", JOURNAL_DIMENSIONS, 0, 0, offsetof(statement, hold),
     "what was to be held: pitch, level, register with commas, or none"},
    {"vary", 0, OPTION_SET, "LIST", JOURNAL_DIMENSIONS, 0, 0, offsetof(statement, vary),
     "what was to be varied, likewise"},
    {"name", 0, OPTION_TEXT, "TEXT", NULL, 0, 0, offsetof(statement, name),
     "what the exercise is called"},
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(statement, vowel), "the vowel sung"},
    {"register", 0, OPTION_CHOICE, "M1|M2", "M1|M2", 0, 0, offsetof(statement, declared),
     "the whole take is in this register"},
    {"split", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(statement, split),
     "each FILE is a whole lesson: its takes are found, and --table says more of them"},
    {"table", 0, OPTION_TEXT, "T.tsv", NULL, 0, 0, offsetof(statement, table),
     "recordings from a table: file singer drop, and columns called as these options"},
};

statement statement_none(void)
{
    return (statement){.how = {.full_scale_db = (double)NAN, .distance_cm = (double)NAN},
                       .hold = -1,
                       .vary = -1,
                       .declared = -1};
}

void intake_append(intake_list *out, const char *singer, const char *file, const statement *said)
{
    array_reserve((void **)&out->items, &out->room, out->n + 1, sizeof *out->items);
    out->items[out->n++] = (intake){xstrdup(singer), xstrdup(file), *said};
}

/* Columns are called as the options are, with _ for -. */
static bool read_cell(const table *t, size_t row, const option *o, statement *said, err *e)
{
    char *name = xstrdup(o->name);
    for (char *dash = name; (dash = strchr(dash, '-'));)
        *dash = '_';
    const char *cell = table_cell(t, row, table_column(t, name));
    char *where = xformat("%s line %zu: %s", t->path, t->line[row], name);
    bool fine = !*cell || option_value_read(o, cell, where, said, e);
    free(where);
    free(name);
    return fine;
}

bool intake_row_read(const table *t, size_t row, statement *said, err *e)
{
    for (size_t i = 0; i < STATEMENT_OPTIONS; i++)
        if (statement_options[i].kind != OPTION_FLAG &&
            strcmp(statement_options[i].name, "table") != 0 &&
            !read_cell(t, row, &statement_options[i], said, e))
            return false;
    err why;
    if (!exercise_check(said->hold, said->vary, &why))
        return err_set(e, "%s line %zu: %s", t->path, t->line[row], why.text);
    return !said->date || date_valid(said->date) ||
           err_set(e, "%s line %zu: \"%s\" is no date like 2024-03-05.", t->path, t->line[row],
                   said->date);
}

static bool there(const char *name)
{
    char *path;
    double start_s, end_s;
    source_parts(name, &path, &start_s, &end_s);
    bool found = strcmp(path, "-") == 0 || access(path, F_OK) == 0;
    free(path);
    return found;
}

/* The file as named, or beside the table. */
static char *find_file(const char *table_path, char *file)
{
    const char *slash = strrchr(table_path, '/');
    if (!slash || file[0] == '/' || there(file))
        return file;
    char *beside = xformat("%.*s/%s", (int)(slash - table_path), table_path, file);
    if (there(beside)) {
        free(file);
        return beside;
    }
    free(beside);
    return file;
}

static char *file_of(const table *t, size_t row)
{
    const char *file = table_cell(t, row, table_column(t, "file"));
    const char *start = table_cell(t, row, table_column(t, "start_s"));
    const char *end = table_cell(t, row, table_column(t, "end_s"));
    char *name = *start && *end ? xformat("%s@%s-%s", file, start, end) : xstrdup(file);
    return find_file(t->path, name);
}

bool intake_row_dropped(const table *t, size_t row)
{
    const char *cell = table_cell(t, row, table_column(t, "drop"));
    return *cell && strcmp(cell, "no") != 0 && strcmp(cell, "0") != 0;
}

static bool take_row(const table *t, size_t row, const char *singer, const statement *said,
                     intake_list *out, err *e)
{
    statement own = *said;
    const char *cell = table_cell(t, row, table_column(t, "singer"));
    if (intake_row_dropped(t, row))
        return true;
    if (*cell)
        singer = cell;
    if (!singer)
        return err_set(e, "%s line %zu: the row names no singer.", t->path, t->line[row]);
    if (!*table_cell(t, row, table_column(t, "file")))
        return err_set(e, "%s line %zu: the row names no file.", t->path, t->line[row]);
    if (!intake_row_read(t, row, &own, e))
        return false;
    char *file = file_of(t, row);
    intake_append(out, singer, file, &own);
    free(file);
    return true;
}

static bool take_table(const char *path, const char *singer, const statement *said,
                       intake_list *out, err *e)
{
    if (!table_read(path, &out->table, e))
        return false;
    const table *t = out->table;
    if (table_column(t, "file") < 0)
        return err_set(e, "%s: the table has no column file.", path);
    for (size_t row = 0; row < t->n_rows; row++)
        if (!take_row(t, row, singer, said, out, e))
            return false;
    return true;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* What may be a recording, by the end of its name. */
static bool is_sound(const char *name)
{
    static const char *const ends[] = {".wav", ".wave", ".aif", ".aiff", ".flac", ".ogg",
                                       ".oga", ".opus", ".mp3", ".caf",  ".au",   ".w64"};
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot && name[0] != '.' && i < sizeof ends / sizeof *ends; i++)
        if (strcasecmp(dot, ends[i]) == 0)
            return true;
    return false;
}

/* The recordings in a folder, by name; folders in it are left alone. */
static bool take_folder(const char *path, const char *singer, const statement *said,
                        intake_list *out, err *e)
{
    char **names = NULL;
    size_t n = 0, room = 0, slash = strlen(path);
    DIR *folder = opendir(path);
    if (!folder)
        return err_set(e, "The folder %s cannot be read: %s.", path, strerror(errno));
    for (const struct dirent *d; (d = readdir(folder));)
        if (is_sound(d->d_name)) {
            array_reserve((void **)&names, &room, n + 1, sizeof *names);
            names[n++] = xformat("%s%s%s", path, path[slash - 1] == '/' ? "" : "/", d->d_name);
        }
    closedir(folder);
    if (n)
        qsort(names, n, sizeof *names, by_name);
    for (size_t i = 0; i < n; i++) {
        intake_append(out, singer, names[i], said);
        free(names[i]);
    }
    free(names);
    return n > 0 || err_set(e, "There is no recording in the folder %s.", path);
}

static bool is_folder(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

bool intake_read(const char *singer, const char *const *files, size_t n_files,
                 const statement *said, intake_list *out, err *e)
{
    *out = (intake_list){0};
    bool fine = true;
    for (size_t i = 0; fine && i < n_files; i++)
        if (is_folder(files[i]))
            fine = take_folder(files[i], singer, said, out, e);
        else
            intake_append(out, singer, files[i], said);
    if (!fine) {
        intake_clear(out);
        return false;
    }
    if (!said->table || take_table(said->table, singer, said, out, e))
        return true;
    intake_clear(out);
    return false;
}

void intake_clear(intake_list *l)
{
    for (size_t i = 0; i < l->n; i++) {
        free(l->items[i].singer);
        free(l->items[i].file);
    }
    free(l->items);
    table_free(l->table);
    *l = (intake_list){0};
}
