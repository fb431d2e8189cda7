# SPDX-License-Identifier: GPL-3.0-or-later
# Why registers and flips were told, in characters: tract and sources, then the flips. What is set
# beforehand: see explain.gp; here also name_longest, the characters of a file's name in labels, and
# lines[n_lines], explain.gp's `naming`.
set key off
set border 3
set ytics nomirror
words = ''
do for [i = 1:n_lines] { words = words . "\n" . lines[i] }
if (known) {
    set multiplot layout 1, 2 title "What was told, and why\n" . registers
    set logscale x
    set xrange [50:6300]
    set xtics (100, 500, '2 k' 2000, '6 k' 6000) nomirror
    set title 'the tract, dB'
    set xlabel 'Hz'
    plot $tract using 1:2:('*') with labels
    unset logscale x
    set xrange [0.5:16.5]
    set xtics (1, 4, 8, 12, 16) nomirror
    set title 'the sources, dB: 1 M1, 2 M2'
    set xlabel 'harmonic'
    plot $heavy using 1:2:('1') with labels, $light using 1:2:('2') with labels
    unset multiplot
    set xrange [-reach:reach]
    set yrange [shown + 1:0]
    set xtics 1 nomirror scale 0
    unset ytics
    set lmargin name_longest + 18
    set rmargin 7
    set title counts
    do for [i = 1:shown] { set label 100 + i labels[i] at graph 0, first i right offset character -1, 0 }
    set xlabel "against <- nats -> for\nL leap, H harmonics, D level, C chain\nS sides, P place, V voice, O others\non the right the confidence" . words
    within(x) = x < -reach ? -reach : x > reach ? reach : x
    if (shown == 0) { set label 60 'none was heard' at graph 0.5, 0.5 center }
    plot $leap using (within($1)):2:('L') with labels, \
         $step using (within($1)):2:('H') with labels, \
         $level using (within($1)):2:('D') with labels, \
         $chain using (within($1)):2:('C') with labels, \
         $sides using (within($1)):2:('S') with labels, \
         $place using (within($1)):2:('P') with labels, \
         $whole using (within($1)):2:('V') with labels, \
         $others using (within($1)):2:('O') with labels, \
         $confidence using (reach):2:(sprintf('%.2f', $1)) with labels left offset character 2, 0
} else {
    set border 0
    unset tics
    set xrange [0:1]
    set yrange [0:1]
    set label 1 'What was told, and why' at 0.5, 0.7 center
    set label 2 registers at 0.5, 0.5 center
    plot NaN
}
