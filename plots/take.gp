# SPDX-License-Identifier: GPL-3.0-or-later
# One take over time: pitch with the register as a band behind it, level, and how sure the register
# is. The program sets beforehand:
#   width_px height_px bare scale tic pt dot face bold_face  as picture.h says
#   title counts level_axis pitch_axis lines[n_lines]
#   lo_s hi_s lo_st hi_st lo_db hi_db named_tics
#   $heavy $light     from, to: seconds of the runs of each register
#   $pitch1 $pitch2 $pitch0  second, pitch in M1, in M2, not told
#   $level $p_m2      second, dB; second, probability of the light register
#   $flips            second, pitch before, 0 up 1 down, 1 asserted 0 doubtful, confidence

heavy_fill = '#A3C2E4'
light_fill = '#FBE3BC'
up_ink     = '#16386B'
down_ink   = '#A33B00'
third_ink  = '#5B7F2B'
type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

left = right_px(104)
right = 1 - right_px(30)
top = 1 - down_px(152)
bottom = down_px(92 + 27 * n_lines)
gap = down_px(34)
all = top - bottom - 2 * gap
pitch_high = all * 0.5
level_high = all * 0.27
sure_high = all * 0.23

set multiplot
set style fill solid 1 noborder
set border 0
unset key
unset tics
set xrange [0:1]
set yrange [0:1]
set lmargin at screen 0
set rmargin at screen 1
set bmargin at screen 0
set tmargin at screen 1
set label 1 title at screen right_px(30), 1 - down_px(36) font bold(strlen(title) > 36 ? 13 : 20)
set label 2 counts at screen right_px(30), 1 - down_px(70) font type(13) tc rgb '#444444'
do for [i = 1:n_lines] {
    set label 2 + i lines[i] at screen right_px(30), down_px(27 * (n_lines - i) + 24) font type(14)
}
key_y = 1 - down_px(104)
tile_h = down_px(9)
tile_w = right_px(36)
set object 1 rectangle from screen right_px(104), key_y - tile_h to screen right_px(104) + tile_w, key_y + tile_h fc rgb heavy_fill fs solid noborder
set arrow 1 from screen right_px(104), key_y to screen right_px(104) + tile_w, key_y nohead lw 3 lc rgb up_ink
set label 30 'heavy (M1)' at screen right_px(148), key_y font type(13)
set object 2 rectangle from screen right_px(262), key_y - tile_h to screen right_px(262) + tile_w, key_y + tile_h fc rgb light_fill fs solid noborder
set arrow 2 from screen right_px(262), key_y to screen right_px(262) + tile_w, key_y nohead lw 3 lc rgb down_ink
set label 31 'light (M2)' at screen right_px(306), key_y font type(13)
set label 32 '' at screen right_px(428), key_y point pt 9 ps 1.5 * dot lc rgb up_ink
set label 33 '' at screen right_px(448), key_y point pt 11 ps 1.5 * dot lc rgb down_ink
set label 34 'a flip, up or down' at screen right_px(466), key_y font type(13)
set label 35 '' at screen right_px(654), key_y point pt 9 ps 1.5 * dot lc rgb up_ink
set label 36 '' at screen right_px(674), key_y point pt 11 ps 1.5 * dot lc rgb down_ink
set label 39 '' at screen right_px(654), key_y point pt 9 ps 0.75 * dot lc rgb 'white'
set label 40 '' at screen right_px(674), key_y point pt 11 ps 0.75 * dot lc rgb 'white'
set label 37 'a doubtful one' at screen right_px(692), key_y font type(13)
set arrow 3 from screen right_px(836), key_y to screen right_px(836) + tile_w, key_y nohead lw 2.5 lc rgb '#777777' dt (2, 3)
set label 38 'voice, register not told' at screen right_px(882), key_y font type(13)
set label 50 pitch_axis at screen right_px(20), top - pitch_high / 2 center rotate by 90 font type(12)
set label 51 level_axis at screen right_px(20), top - pitch_high - gap - level_high / 2 center rotate by 90 font type(12)
set label 52 'probability' at screen right_px(20), bottom + sure_high / 2 center rotate by 90 font type(12)
set label 53 'time, s' at screen (left + right) / 2, bottom - down_px(54) center font type(13)
plot NaN notitle
unset label
unset arrow
unset object

set border 31 lw 0.8 lc rgb '#555555'
set xrange [lo_s:hi_s]
set lmargin at screen left
set rmargin at screen right
tic_font = type(12)
set xtics scale tic out nomirror font tic_font
set format x ''
set grid xtics ytics front lc rgb '#B4B4B4' lt 1 lw 0.6
set style arrow 1 nohead lw 1.2 lc rgb up_ink dt (6, 4)
set style arrow 2 nohead lw 1.2 lc rgb down_ink dt (6, 4)

set yrange [lo_st:hi_st]
set ytics scale tic out nomirror
eval named_tics
set ytics font tic_font
set tmargin at screen top
set bmargin at screen top - pitch_high
set label 1 'pitch, and register' at graph 0, 1 offset character 0, character 0.7 font bold(12)
plot $heavy using (($1 + $2) / 2):((lo_st + hi_st) / 2):1:2:(lo_st):(hi_st) with boxxyerror fc rgb heavy_fill notitle, \
     $light using (($1 + $2) / 2):((lo_st + hi_st) / 2):1:2:(lo_st):(hi_st) with boxxyerror fc rgb light_fill notitle, \
     $flips using 1:(lo_st):(0):(hi_st - lo_st):($3 + 1) with vectors arrowstyle variable notitle, \
     $pitch0 using 1:2 with lines lw 2.5 lc rgb '#777777' dt (2, 3) notitle, \
     $pitch1 using 1:2 with lines lw 3 lc rgb up_ink notitle, \
     $pitch2 using 1:2 with lines lw 3 lc rgb down_ink notitle, \
     $flips using 1:($3 == 0 ? $2 : NaN) with points pt 9 ps 2.2 * dot lc rgb 'white' notitle, \
     $flips using 1:($3 == 1 ? $2 : NaN) with points pt 11 ps 2.2 * dot lc rgb 'white' notitle, \
     $flips using 1:($3 == 0 ? $2 : NaN) with points pt 9 ps 1.5 * dot lc rgb up_ink notitle, \
     $flips using 1:($3 == 1 ? $2 : NaN) with points pt 11 ps 1.5 * dot lc rgb down_ink notitle, \
     $flips using 1:($3 == 0 && $4 == 0 ? $2 : NaN) with points pt 9 ps 0.75 * dot lc rgb 'white' notitle, \
     $flips using 1:($3 == 1 && $4 == 0 ? $2 : NaN) with points pt 11 ps 0.75 * dot lc rgb 'white' notitle

set yrange [lo_db:hi_db]
set grid back
set ytics autofreq
set tmargin at screen top - pitch_high - gap
set bmargin at screen top - pitch_high - gap - level_high
set label 1 'level'
plot $flips using 1:(lo_db):(0):(hi_db - lo_db):($3 + 1) with vectors arrowstyle variable notitle, \
     $level using 1:2 with lines lw 2 lc rgb '#333333' notitle

set yrange [-0.06:1.06]
set ytics 0, 0.5, 1
set format x '%h'
set tmargin at screen bottom + sure_high
set bmargin at screen bottom
set label 1 'how sure: of the light register (line), of each flip (mark; below a half it is doubtful)'
set arrow 1 from graph 0, first 0.5 to graph 1, first 0.5 nohead lw 0.8 lc rgb '#555555'
plot $flips using 1:(0):(0):(1):($3 + 1) with vectors arrowstyle variable notitle, \
     $p_m2 using 1:2 with lines lw 2 lc rgb third_ink notitle, \
     $flips using 1:5 with points pt 5 ps 1.9 * dot lc rgb 'white' notitle, \
     $flips using 1:($4 == 1 ? $5 : NaN) with points pt 5 ps 1.2 * dot lc rgb '#333333' notitle, \
     $flips using 1:($4 == 0 ? $5 : NaN) with points pt 4 ps 1.2 * dot lc rgb '#333333' notitle
unset multiplot
