/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_FONTS_H
#define SHOW_FONTS_H

/* What the fonts of this computer can draw.
 *
 * gnuplot 5.4 draws a character that no font has, or that a font has as a coloured bitmap, many
 * times too large, over the whole of a PNG or PDF. So there each becomes U+FFFD. SVG is text and
 * left to the viewer. */

/* A copy of valid UTF-8 with every character drawable. Latin, Greek, Cyrillic and the signs of
 * U+2000 to U+25FF are taken to be; of others fontconfig's fc-list is asked, and where it is not
 * installed none is. Variation selectors, which draw nothing, are left out. The caller frees. */
char *fonts_drawable(const char *text);

#endif
