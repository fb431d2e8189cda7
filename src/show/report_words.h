/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_REPORT_WORDS_H
#define SHOW_REPORT_WORDS_H

/* What a singer's page says whatever was sung. */

extern const char report_words_what[], report_words_map[], report_words_progress[],
    report_words_takes[], report_words_next[], report_words_next_first[], report_words_method[],
    report_words_gain[], report_words_own_scale[], report_words_no_register[], report_words_index[],
    report_words_score[], report_words_sheet[];

#endif
