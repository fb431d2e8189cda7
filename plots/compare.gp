# SPDX-License-Identifier: GPL-3.0-or-later
# The boundaries of several singers on one plane, and by how much each differs from the first. The
# program sets beforehand:
#   width_px height_px bare scale tic pt dot face bold_face  as picture.h says
#   title counts level_axis pitch_axis lines[n_lines]
#   singers, names[singers], levels  how many; the levels compared at
#   lo_db hi_db lo_st hi_st db_step named_tics   the plane
#   lo_diff hi_diff                  semitones
#   $up $down     level, pitch, band's lower and upper edge; one index a singer
#   $diff         semitones, lower and upper end, row (3 a singer from 0), 0 up 1 down
#   level_tics    sets the tics of the rows

array ink[6] = ['#16386B', '#A33B00', '#5B7F2B', '#7A3E8E', '#8A6D00', '#2B7F86']
array shape[6] = [7, 5, 9, 13, 11, 4]
type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

key_rows = (singers + 2) / 3
left = right_px(104)
middle = right_px(716)
top = 1 - down_px(132 + 30 * key_rows)
bottom = down_px(96 + 27 * n_lines)

set multiplot
set border 0
unset key
unset tics
set xrange [0:1]
set yrange [0:1]
set lmargin at screen 0
set rmargin at screen 1
set bmargin at screen 0
set tmargin at screen 1
set label 1 title at screen right_px(30), 1 - down_px(36) font bold(20)
set label 2 counts at screen right_px(30), 1 - down_px(70) font type(13) tc rgb '#444444'
do for [i = 1:n_lines] {
    set label 2 + i lines[i] at screen right_px(30), down_px(27 * (n_lines - i) + 24) font type(14)
}
do for [i = 1:singers] {
    x = right_px(104 + 360 * ((i - 1) % 3))
    y = 1 - down_px(104 + 30 * ((i - 1) / 3))
    c = (i - 1) % 6 + 1
    set arrow 100 + i from screen x, y to screen x + right_px(44), y nohead lw 3 lc rgb ink[c]
    set label 100 + i '' at screen x + right_px(22), y point pt shape[c] ps 1.3 * dot lc rgb ink[c]
    set label 200 + i names[i] at screen x + right_px(56), y font type(13)
}
set label 50 pitch_axis at screen right_px(20), (top + bottom) / 2 center rotate by 90 font type(13)
set label 51 level_axis at screen (left + middle) / 2, bottom - down_px(54) center font type(13)
set label 52 'lower  ←   semitones, 95 %   →  higher' at screen right_px(1010), bottom - down_px(54) center font type(13)
plot NaN notitle
unset label
unset arrow

set border 31 lw 0.8 lc rgb '#555555'
tic_font = type(12)
set xtics scale tic out nomirror font tic_font
set ytics scale tic out nomirror
set grid xtics ytics lc rgb '#D9D9D9' lt 1 lw 0.6
set tmargin at screen top
set bmargin at screen bottom

set lmargin at screen left
set rmargin at screen middle
set xrange [lo_db:hi_db]
set yrange [lo_st:hi_st]
set xtics db_step
set format x (has_levels ? '%h' : '')
eval named_tics
set ytics font tic_font
set label 1 'solid: flips going up, band 95 %; dashed: back coming down' at graph 0, 1 offset character 0, character 0.8 font bold(12)
plot for [i = 0:singers - 1] $up index i using 1:3:4 with filledcurves fc rgb ink[i % 6 + 1] fs transparent solid 0.13 noborder notitle, \
     for [i = 0:singers - 1] $up index i using 1:2 with lines lw 3 lc rgb ink[i % 6 + 1] notitle, \
     for [i = 0:singers - 1] $down index i using 1:2 with lines lw 2 lc rgb ink[i % 6 + 1] dt (8, 5) notitle, \
     for [i = 0:singers - 1] $up index i every 8 using 1:2 with points pt shape[i % 6 + 1] ps 1.3 * dot lc rgb ink[i % 6 + 1] notitle, \
     for [i = 0:singers - 1] $down index i every 8 using 1:2 with points pt shape[i % 6 + 1] ps 1.0 * dot lc rgb ink[i % 6 + 1] notitle

# By how much each of the others differs from the first: a block of rows for each.
set lmargin at screen right_px(850)
set rmargin at screen 1 - right_px(30)
set xrange [lo_diff:hi_diff]
set format x '%h'
set xtics hi_diff - lo_diff > 12 ? 4 : 2
rows = (singers - 1) * (levels + 1)
set yrange [rows - 0.5:-0.5]
eval level_tics
set ytics font tic_font scale 0
unset grid
set grid xtics
set label 1 'against the first: ▲ up, ▼ down'
do for [i = 2:singers] {
    set label i names[i] at graph 0, first (i - 2) * (levels + 1) offset character 0.5, 0 font bold(12) tc rgb ink[(i - 1) % 6 + 1]
}
set arrow 1 from first 0, graph 0 to first 0, graph 1 nohead lw 1.2 lc rgb '#555555'
plot for [i = 2:singers] $diff using ($5 == 0 && int($4) / (levels + 1) == i - 2 ? $1 : NaN):($4 - 0.14):2:3 with xerrorbars pt 9 ps 1.4 * dot lw 2 lc rgb ink[(i - 1) % 6 + 1] notitle, \
     for [i = 2:singers] $diff using ($5 == 1 && int($4) / (levels + 1) == i - 2 ? $1 : NaN):($4 + 0.14):2:3 with xerrorbars pt 11 ps 1.4 * dot lw 2 lc rgb ink[(i - 1) % 6 + 1] notitle
unset multiplot
