# SPDX-License-Identifier: GPL-3.0-or-later
# Why registers and flips were told. The program sets beforehand:
#   width_px height_px scale tic pt dot face bold_face  as picture.h says
#   registers, naming               the sentences above
#   known                           0 without a model of the singer: the words alone
#   counts, shown, labels[shown + 1] how many flips there are, and are drawn; what each is called
#   reach                           the axis of nats goes so far to either side
#   $tract (Hz, dB)  $heavy $light $difference (harmonic, dB)
#   $leap $step $level $chain $sides $place $whole (nats, flip from 1 on)
#   $confidence (probability, flip)

heavy_ink = '#16386B'
light_ink = '#A33B00'
third_ink = '#5B7F2B'
grey      = '#777777'
faint     = '#D9D9D9'
hollow    = 0.65 # the size of a white mark in another, which makes that one hollow

type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

upper_top = 1 - down_px(138)
upper_bottom = upper_top - down_px(230)
lower_top = upper_bottom - down_px(118)
lower_bottom = down_px(106)

unset key
set multiplot
set border 0
unset tics
set xrange [0:1]
set yrange [0:1]
set lmargin at screen 0
set rmargin at screen 1
set bmargin at screen 0
set tmargin at screen 1
set label 1 'What was told, and why' at screen right_px(30), 1 - down_px(34) font bold(18)
set label 2 registers at screen right_px(30), 1 - down_px(66) font type(13) tc rgb '#444444'
set label 3 naming at screen right_px(30), 1 - down_px(92) font type(12) tc rgb '#444444'
set label 4 counts at screen right_px(30), lower_top + down_px(40) font bold(13)
plot NaN notitle
unset label

if (known) {
set border 3 lw 0.8 lc rgb '#555555'
small_font = type(11)
set xtics scale 0.6 out nomirror font small_font
set ytics scale 0.6 out nomirror font small_font
set format '%h'
set grid lc rgb faint lt 1 lw 0.6
set grid back
set tmargin at screen upper_top
set bmargin at screen upper_bottom

set lmargin at screen right_px(84)
set rmargin at screen right_px(560)
set xrange [50:6300]
set yrange [*:*]
set logscale x
set xtics (50, 100, 200, 500, '1 k' 1000, '2 k' 2000, '4 k' 4000, '6 k' 6000)
set ytics autofreq
set xlabel 'Hz' font type(11) offset 0, 0.4
set label 1 'the tract, one for both registers, dB' at graph 0, 1 offset character 0, character 0.8 font bold(12)
plot $tract using 1:2 with lines lw 2.5 lc rgb grey notitle
unset logscale x

set lmargin at screen right_px(640)
set rmargin at screen right_px(890)
set xrange [0.5:16.5]
set xtics (1, 4, 8, 12, 16)
set xlabel 'harmonic'
set label 1 'the source, dB'
set label 2 'M1' at graph 0.74, 0.92 font bold(12) tc rgb heavy_ink
set label 3 'M2' at graph 0.87, 0.92 font bold(12) tc rgb light_ink
plot $heavy using 1:2 with linespoints lw 2 pt 7 ps 0.8 * dot lc rgb heavy_ink notitle, \
     $light using 1:2 with linespoints lw 2 pt 4 ps 0.9 * dot dt (8, 4) lc rgb light_ink notitle
unset label 2
unset label 3

set lmargin at screen right_px(950)
set rmargin at screen right_px(1170)
set label 1 'M2 less M1, dB'
set xzeroaxis lt 1 lw 1 lc rgb '#555555'
plot $difference using 1:2 with impulses lw 4 lc rgb third_ink notitle
unset xzeroaxis
unset label

# What spoke for and against each flip.
set lmargin at screen right_px(300)
set rmargin at screen right_px(1010)
set tmargin at screen lower_top
set bmargin at screen lower_bottom
set yrange [(shown > 0 ? shown : 1) + 0.7 : 0.3]
set xrange [-reach:reach]
set xtics 1
unset xlabel
set label 11 'against   ←   nats   →   for' at graph 0.5, screen lower_bottom - down_px(44) center font type(11)
set arrow 1 from first 0, graph 0 to first 0, graph 1 nohead lw 1 lc rgb '#555555'
set ytics scale 0
unset ytics
do for [i = 1:shown] { set label 100 + i labels[i] at screen right_px(290), first i right font type(11) }
set label 10 'confidence' at screen right_px(1090), lower_top + down_px(14) center font bold(11)
key_y(i) = lower_bottom - down_px(80)
array item[9] = ['leap', 'sudden steps', 'step of harmonics', 'level', 'chain', 'both sides', 'place', 'the voice as a whole', 'the other changes']
array shape[9] = [9, 9, 5, 5, 2, 7, 13, 7, 11]
array open[9] = [0, 1, 0, 1, 0, 1, 1, 0, 1]
array ink[9] = [light_ink, light_ink, third_ink, light_ink, heavy_ink, heavy_ink, third_ink, grey, grey]
array from[9] = [60, 125, 257, 417, 492, 572, 687, 762, 952]
do for [i = 1:9] {
    set label 20 + i '' at screen right_px(from[i]), key_y(i) point pt shape[i] ps 1.2 * dot lc rgb ink[i]
    if (open[i]) { set label 40 + i '' at screen right_px(from[i]), key_y(i) point pt shape[i] ps hollow * dot lc rgb 'white' }
    set label 30 + i item[i] at screen right_px(from[i] + 14), key_y(i) font type(11)
}
within(x) = x < -reach ? -reach : x > reach ? reach : x
if (shown > 0) {
    plot $leap using (within($1)):2 with points pt 9 ps 1.2 * dot lw 2 lc rgb light_ink notitle, \
         $sudden using (within($1)):2 with points pt 9 ps 1.2 * dot lw 2 lc rgb light_ink notitle, \
         $sudden using (within($1)):2 with points pt 9 ps hollow * dot lc rgb 'white' notitle, \
         $step using (within($1)):2 with points pt 5 ps 1.2 * dot lw 2 lc rgb third_ink notitle, \
         $level using (within($1)):2 with points pt 5 ps 1.2 * dot lw 2 lc rgb light_ink notitle, \
         $level using (within($1)):2 with points pt 5 ps hollow * dot lc rgb 'white' notitle, \
         $chain using (within($1)):2 with points pt 2 ps 1.2 * dot lw 2 lc rgb heavy_ink notitle, \
         $sides using (within($1)):2 with points pt 7 ps 1.2 * dot lw 2 lc rgb heavy_ink notitle, \
         $sides using (within($1)):2 with points pt 7 ps hollow * dot lc rgb 'white' notitle, \
         $place using (within($1)):2 with points pt 13 ps 1.2 * dot lw 2 lc rgb third_ink notitle, \
         $place using (within($1)):2 with points pt 13 ps hollow * dot lc rgb 'white' notitle, \
         $whole using (within($1)):2 with points pt 7 ps 1.2 * dot lw 2 lc rgb grey notitle, \
         $others using (within($1)):2 with points pt 11 ps 1.2 * dot lw 2 lc rgb grey notitle, \
         $others using (within($1)):2 with points pt 11 ps hollow * dot lc rgb 'white' notitle, \
         $confidence using (reach):2:(sprintf('%.2f', $1)) with labels left offset character 6, 0 font type(11) notitle
} else {
    set label 60 'none was heard' at graph 0.5, 0.5 center font type(13)
    plot NaN notitle
}
}
unset multiplot
