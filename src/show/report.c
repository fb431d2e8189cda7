/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/report.h"

#include "base/array.h"
#include "show/held_draw.h"
#include "show/page_keys.h"
#include "show/report_tables.h"
#include "show/report_words.h"
#include "show/session_maps.h"
#include "show/sheet_page.h"
#include "sound/date.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static char *days(const char *first, const char *last)
{
    return strcmp(first, last) == 0 ? xstrdup(first) : xformat("%s to %s", first, last);
}

page *report_begin(const report_head *h, size_t sessions, size_t takes, const char *first,
                   const char *last)
{
    char *title = xformat("%s: where the voice flips", h->singer), *when = days(first, last);
    page *p = page_new(title);
    page_heading(p, 1, h->singer);
    char *counts = xformat("%zu session%s, %zu take%s, %s. Note names: A4 = %g Hz.", sessions,
                           sessions == 1 ? "" : "s", takes, takes == 1 ? "" : "s", when, h->a4_hz);
    page_paragraphs(p, "quiet", counts);
    page_paragraphs(p, NULL, report_words_what);
    free(title);
    free(when);
    free(counts);
    return p;
}

static void say_scale(const report_part *r, page *p)
{
    const plane *own = r->plane;
    char *words = xformat("%zu take%s of this vowel in %zu session%s. Level: %s.", own->n,
                          own->n == 1 ? "" : "s", own->n_sessions, own->n_sessions == 1 ? "" : "s",
                          plane_level_scale(own));
    page_paragraphs(p, "quiet", words);
    free(words);
    if (own->pitch_only)
        page_paragraphs(p, "warning", report_words_gain);
    else if (!own->calibrated)
        page_paragraphs(p, "quiet", report_words_own_scale);
}

/* One map with its words, and the tables of it. */
static bool write_map(const report_head *h, const report_part *r, page *p, err *e)
{
    char *svg;
    map m;
    picture where = map_on_page(0, &svg);
    map_labels labels = plane_map_labels(r->plane, h->singer, h->a4_hz);
    map_gather(r->plane->paths, r->plane->n, r->boundary, &m);
    char *words = map_words(&m, &labels);
    bool ok = map_draw(&m, &labels, &where, e);
    if (ok) {
        page_paragraphs(p, NULL, words);
        page_figure(p, svg, "Map of the voice: pitch against level", words, page_key_map,
                    report_words_map);
    }
    map_clear(&m);
    free(words);
    free(svg);
    return ok;
}

static bool write_session_maps(const report_head *h, const report_part *r, page *p, err *e)
{
    char *svg;
    size_t all = r->plane->n_sessions, first = all > REPORT_SESSIONS ? all - REPORT_SESSIONS : 0;
    session_maps maps = session_maps_gather(r->plane, first);
    picture where = map_on_page(maps.n, &svg);
    map_labels labels = plane_map_labels(r->plane, h->singer, h->a4_hz);
    map whole;
    map_gather(r->plane->paths, r->plane->n, r->boundary, &whole);
    bool ok = map_draw_sessions(maps.items, maps.dates, maps.n, &whole, &labels, &where, e);
    char *words = xformat("One small map for each of %s%zu sessions, %s to %s, on one scale.%s",
                          first ? "the last " : "", maps.n, maps.dates[0], maps.dates[maps.n - 1],
                          first ? " Earlier ones count in the line of all sessions." : "");
    if (ok)
        page_figure(p, svg, "Maps of the voice, session by session", words, page_key_sessions,
                    words);
    map_clear(&whole);
    session_maps_clear(&maps);
    free(words);
    free(svg);
    return ok;
}

static bool write_progress(const report_head *h, const report_part *r, page *p, err *e)
{
    char *svg;
    const plane *own = r->plane;
    picture where = picture_on_page(1200, 1240, &svg);
    progress_labels labels = {h->singer,
                              own->vowel,
                              plane_level_scale(own),
                              own->sessions[0].date,
                              own->sessions[own->n_sessions - 1].date,
                              h->a4_hz,
                              own->pitch_only};
    progress middle = progress_of(&r->progress->courses[0], r->progress->first_day,
                                  r->progress->assumed_scatter_st);
    char *words = progress_words(&middle, &labels);
    bool ok = progress_draw(r->progress, &labels, &where, e);
    if (ok) {
        page_paragraphs(p, NULL, words);
        page_figure(p, svg, "Where the voice flips, over the sessions", words, page_key_progress,
                    report_words_progress);
    }
    free(words);
    free(svg);
    return ok;
}

static bool write_course(const report_head *h, const report_part *r, page *p, err *e)
{
    page_heading(p, 2, "From session to session");
    if (!write_session_maps(h, r, p, e) || !write_progress(h, r, p, e))
        return false;
    report_table_sessions(h, r, p);
    return true;
}

/* Steadiness and leak of the takes from the first on, drawn. */
static bool draw_held(const report_head *h, const plane *own, const held_score *scores,
                      size_t first, page *p, err *e)
{
    char *svg;
    picture where = picture_on_page(1200, 1060, &svg);
    held_chart c = {.singer = h->singer, .by_date = true, .n = own->n - first};
    held_point *points = xmalloc(c.n, sizeof *points);
    for (size_t i = 0; i < c.n; i++) {
        const journal_take *t = &own->items[first + i].take;
        points[i] = held_point_of(date_days(t->date), &scores[first + i], t->hold);
    }
    c.points = points;
    char *words = held_words(&c);
    bool ok = held_draw(&c, &where, e);
    if (ok)
        page_figure(p, svg, "Steadiness of what was held, and leak into it", words, page_key_held,
                    words);
    free(points);
    free(words);
    free(svg);
    return ok;
}

/* The takes of the last sessions, as a table and drawn. */
static bool write_takes(const report_head *h, const report_part *r, page *p, err *e)
{
    const plane *own = r->plane;
    held_settings s = held_defaults();
    held_score *scores = xmalloc(own->n, sizeof *scores);
    size_t all = own->n_sessions,
           first = all > REPORT_SESSIONS ? own->sessions[all - REPORT_SESSIONS].first : 0;
    for (size_t i = first; i < own->n; i++) {
        const journal_item *item = &own->items[i];
        s.hummed = held_hummed(item->take.vowel);
        scores[i] = held_judge(item->track, &item->flips, item->take.hold, item->take.vary, &s);
    }
    page_heading(p, 2, "What was sung, and how steadily");
    page_paragraphs(p, NULL, report_words_takes);
    bool ok = draw_held(h, own, scores, first, p, e);
    report_table_takes(r, scores, first, p);
    free(scores);
    return ok;
}

static void write_next(const report_head *h, const report_part *r, page *p)
{
    page_heading(p, 2, "What to record next");
    bool told = isfinite(r->next[0].now_st);
    page_paragraphs(p, NULL, told ? report_words_next : report_words_next_first);
    report_table_next(h, r, p);
}

bool report_part_write(const report_head *h, const report_part *r, page *p, err *e)
{
    char *heading = xformat("Where the voice flips%s%s%s", r->alone ? "" : " on the vowel ",
                            r->alone ? "" : r->plane->vowel,
                            r->alone || *r->plane->vowel ? "" : "that was not stated");
    page_heading(p, 2, heading);
    free(heading);
    say_scale(r, p);
    if (!r->boundary) {
        page_paragraphs(p, "warning", report_words_no_register);
    } else {
        if (!write_map(h, r, p, e))
            return false;
        if (r->reach)
            report_table_flips(h, r, p);
        report_table_figures(r, p);
        if (r->progress && !write_course(h, r, p, e))
            return false;
    }
    if (!write_takes(h, r, p, e))
        return false;
    if (r->n_next)
        write_next(h, r, p);
    return true;
}

void report_exercises(const report_head *h, const sheet *s, const char *vowel, page *p)
{
    const sheet_labels labels = {h->singer, vowel, report_words_sheet, h->a4_hz};
    page_heading(p, 2, "Cautions");
    page_paragraphs(p, NULL, report_words_score);
    sheet_page_cautions(p);
    if (!s)
        return;
    char *heading =
        xformat("Exercises%s%s, about %.0f minutes", *vowel ? " on " : "", vowel, s->minutes);
    page_heading(p, 2, heading);
    free(heading);
    sheet_page_add(p, s, &labels, 3);
}

void report_end(const report_head *h, page *p)
{
    page_heading(p, 2, "How this was measured");
    page_paragraphs(p, NULL, report_words_method);
    char *made = xformat("Made by seamline %s.", h->version);
    page_paragraphs(p, "quiet", made);
    free(made);
}

page *report_index(const report_entry *items, size_t n, const char *version)
{
    page *p = page_new("The studio");
    page_heading(p, 1, "The studio");
    page_paragraphs(p, NULL, report_words_index);
    page_table_begin(p, "Singers", "singer|sessions|takes|flips|first|last|");
    for (size_t i = 0; i < n; i++) {
        const report_entry *s = &items[i];
        if (s->href)
            page_cell_link(p, s->href, s->singer);
        else
            page_cell(p, s->singer);
        page_cell_format(p, "%zu", s->sessions);
        page_cell_format(p, "%zu", s->takes);
        page_cell_format(p, "%zu", s->flips);
        page_cell(p, s->first);
        page_cell(p, s->last);
        page_cell(p, s->href ? "" : s->why);
    }
    page_table_end(p);
    char *made = xformat("Made by seamline %s.", version);
    page_paragraphs(p, "quiet", made);
    free(made);
    return p;
}
