/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PAGE_STYLE_H
#define SHOW_PAGE_STYLE_H

/* How pages look, as CSS. */
extern const char page_style[];

#endif
