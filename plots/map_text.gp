# SPDX-License-Identifier: GPL-3.0-or-later
# The map of a voice in characters. What is set beforehand: see map.gp; here also
#   $cells  level, pitch, 1 heavy, 2 light, 3 both
set key off
set border 3
set xrange [lo_db:hi_db]
set yrange [lo_st:hi_st]
set xtics db_step nomirror
set ytics nomirror
words = ''
do for [i = 1:n_lines] { words = words . "\n" . lines[i] }
# Lines are short: gnuplot leaves out those that are wider than the screen, which may have 40 columns.
set xlabel "softer <-            -> louder\nlevel, " . level_scale \
    . "\n. heavy (M1), o light (M2), 8 both\n^ v a flip up, down; U D the lines" . words
do for [i = 0:panels - 1] {
    eval named_tics
    set title singer . (vowel eq '' ? '' : ', vowel ' . vowel) . (titles[i + 1] eq '' ? '' : ', ' . titles[i + 1])
    plot $cells index i using 1:($3 == 1 ? $2 : NaN):('.') with labels, \
         $cells index i using 1:($3 == 2 ? $2 : NaN):('o') with labels, \
         $cells index i using 1:($3 == 3 ? $2 : NaN):('8') with labels, \
         $up index i using 1:2:('U') with labels, \
         $down index i using 1:2:('D') with labels, \
         $flips index i using 1:($3 == 0 ? $2 : NaN):('^') with labels, \
         $flips index i using 1:($3 == 1 ? $2 : NaN):('v') with labels
}
