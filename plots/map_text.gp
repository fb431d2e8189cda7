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
set xlabel 'softer <- level, ' . level_scale . ' -> louder' \
    . "\nsung: . heavy (M1), o light (M2), 8 both; flips: ^ up, v down; boundary: U up, D down\n" . words
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
