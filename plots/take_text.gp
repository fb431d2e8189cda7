# SPDX-License-Identifier: GPL-3.0-or-later
# One take in characters: pitch over time. What is set beforehand: see take.gp.
set key off
set border 3
set xrange [lo_s:hi_s]
set yrange [lo_st:hi_st]
set xtics nomirror
set ytics nomirror
eval named_tics
words = ''
do for [i = 1:n_lines] { words = words . "\n" . lines[i] }
set xlabel "time, s\n. heavy (M1), o light (M2), : not told\nflips: ^ up, v down" . words
set title title . ', ' . counts
plot $pitch0 using 1:2:(':') with labels, \
     $pitch1 using 1:2:('.') with labels, \
     $pitch2 using 1:2:('o') with labels, \
     $flips using 1:($3 == 0 ? $2 : NaN):('^') with labels, \
     $flips using 1:($3 == 1 ? $2 : NaN):('v') with labels
