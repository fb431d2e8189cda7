# SPDX-License-Identifier: GPL-3.0-or-later
# The course of a voice in characters, at the middle level. What is set beforehand: see progress.gp.
set key off
set border 3
set xdata time
set timefmt '%s'
set format x '%y-%m-%d'
set xrange [lo_s:hi_s]
set yrange [lo_st:hi_st]
step = (hi_s - lo_s) / 4
set xtics step nomirror
set ytics nomirror
eval named_tics
words = ''
do for [i = 1:n_lines] { words = words . "\n" . lines[i] }
set xlabel 'flips: ^ going up, v coming down' . words
set title singer . (vowel eq '' ? '' : ', vowel ' . vowel) . ', ' . counts
m = int(levels - 1) / 2
plot $up index m using 1:2:('^') with labels, $down index m using 1:2:('v') with labels
