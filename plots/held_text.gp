# SPDX-License-Identifier: GPL-3.0-or-later
# What was held in characters: how steady pitch and level were. What is set beforehand: see held.gp.
set multiplot layout 2, 1
set key off
set border 3
if (by_date) { set xdata time; set timefmt '%s'; set format x '%y-%m-%d' }
set xrange [lo_x:hi_x]
if (last_x > first_x) { set xtics (first_x, last_x) nomirror } else { set xtics (first_x) nomirror }
set ytics nomirror
do for [k = 0:1] {
    set yrange [lo[k + 1]:hi[k + 1]]
    set title k == 0 ? singer . ', ' . counts . "\n" . titles[1] : titles[2]
    words = by_date ? '' : 'recording'
    if (k == 1) {
        words = words . (by_date ? '' : "\n") . '* held, o to be held, but moved'
        do for [i = 1:n_lines] { words = words . "\n" . lines[i] }
    }
    set xlabel words
    plot $kept index k using 1:2:('*') with labels, $lost index k using 1:2:('o') with labels
}
unset multiplot
