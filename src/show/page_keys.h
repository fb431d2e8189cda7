/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PAGE_KEYS_H
#define SHOW_PAGE_KEYS_H

/* The signs of the pictures, as markup for page_figure(): on a page the key is not in the drawing,
 * so that it can wrap. */
extern const char page_key_map[];
extern const char page_key_sessions[]; /* with the line of all sessions */
extern const char page_key_progress[];
extern const char page_key_held[];

#endif
