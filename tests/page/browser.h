/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BROWSER_H
#define BROWSER_H

/* A headless Chromium, spoken to through its devtools on a pipe: JSON messages, each ended by a
 * NUL, on its descriptors 3 and 4 (chromedevtools.github.io/devtools-protocol). No port, no driver.
 * What the browser says it cannot do fails the test that asked. Include after cmocka.h. */

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct browser browser;

browser *browser_start(const char *profile); /* a folder for its profile, made when not there */
void browser_stop(browser *b);

/* Calls a method of the protocol on the page; params as json_pack takes them. The result is the
 * caller's; NULL params: none. */
json_t *browser_call(browser *b, const char *method, json_t *params);

/* Opens a file of this folder as a page `width` wide and waits until it is loaded; what was said
 * before is forgotten. */
void browser_open(browser *b, const char *file, int width_px);
/* The value of an expression on the page; the caller's. */
json_t *browser_value(browser *b, const char *expression);
/* What the page and the browser said since it was opened: errors and warnings of the console,
 * exceptions, and addresses asked for other than the page's own, one a line; "" for nothing. */
const char *browser_complaints(const browser *b);
/* The page printed as its own style says, into a PDF. */
void browser_print(browser *b, const char *pdf);

#endif
