# SPDX-License-Identifier: GPL-3.0-or-later
# How steadily pitch and level were held, and how far what was varied leaked into them, take by take
# and session by session. The program sets beforehand:
#   width_px height_px bare scale tic pt dot face bold_face  as picture.h says
#   singer counts by_date          by_date 0: x is the number of the recording
#   lo_x hi_x first_x last_x       seconds since 1970, or numbers
#   lo[4] hi[4] told[4] titles[4]  the axes, how many values there are, and what is above each
#   lines[n_lines]                 the words beneath
#   $kept                          x, value of takes in which it was held, or nothing was said
#   $lost                          x, value of takes in which it was to be held and was not
#   $middle                        x, median of the day; one index a panel in all three

ink = '#16386B'
other_ink = '#A33B00'
type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

left = right_px(84)
right = 1 - right_px(bare ? 14 : 30)
top = 1 - down_px(bare ? 34 : 150)
bottom = down_px(bare ? 60 : 84 + 27 * n_lines)
gap_x = right_px(96)
gap_y = down_px(bare ? 112 : 118)
wide = (right - left - gap_x) / 2
high = (top - bottom - gap_y) / 2

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
if (!bare) {
    set label 1 singer at screen right_px(30), 1 - down_px(36) font bold(strlen(singer) > 36 ? 13 : 20)
    set label 2 counts at screen right_px(30), 1 - down_px(70) font type(13) tc rgb '#444444'
    key_y = 1 - down_px(70)
    set label 30 '' at screen right_px(520), key_y point pt 7 ps 1.2 * dot lc rgb ink
    set label 31 'held' at screen right_px(536), key_y font type(13)
    set label 32 '' at screen right_px(610), key_y point pt 7 ps 1.5 * dot lc rgb other_ink
    set label 36 '' at screen right_px(610), key_y point pt 7 ps 0.8 * dot lc rgb 'white' front
    set label 33 'to be held, but moved' at screen right_px(626), key_y font type(13)
    set arrow 34 from screen right_px(846), key_y to screen right_px(886), key_y nohead lw 1.5 lc rgb '#555555'
    set label 35 by_date ? 'median of the day' : 'median' at screen right_px(896), key_y font type(13)
}
if (!bare) {
    do for [i = 1:n_lines] {
        set label 40 + i lines[i] at screen right_px(30), down_px(27 * (n_lines - i) + 24) font type(14)
    }
}
plot NaN notitle
unset label
unset arrow

set border 31 lw 0.8 lc rgb '#555555'
if (by_date) {
    set xdata time
    set timefmt '%s'
    set format x "%d %b\n%Y"
} else {
    set xlabel 'number of the recording' font type(bare ? 10 : 12)
}
set xrange [lo_x:hi_x]
if (last_x > first_x) { set xtics (first_x, last_x) } else { set xtics (first_x) }
tic_font = type(bare ? 10 : 12)
title_font = bold(bare ? 10 : 12)
set xtics scale tic out nomirror font tic_font
set ytics scale tic out nomirror font tic_font
set grid ytics lc rgb '#D9D9D9' lt 1 lw 0.6
set xzeroaxis lt 1 lw 1 lc rgb '#555555'
do for [k = 0:3] {
    x0 = left + (k % 2) * (wide + gap_x)
    y1 = top - (k / 2) * (high + gap_y)
    set lmargin at screen x0
    set rmargin at screen x0 + wide
    set tmargin at screen y1
    set bmargin at screen y1 - high
    set yrange [lo[k + 1]:hi[k + 1]]
    set label 1 titles[k + 1] at graph 0, 1 offset character 0, character 0.9 font title_font
    if (told[k + 1]) { unset label 2 } else { set label 2 'nothing to tell' at graph 0.5, 0.5 center font tic_font }
    plot $middle index k using 1:2 with lines lw 1.5 lc rgb '#555555' notitle, \
         $kept index k using 1:2 with points pt 7 ps 1.2 * dot lc rgb ink notitle, \
         $lost index k using 1:2 with points pt 7 ps 1.5 * dot lc rgb other_ink notitle, \
         $lost index k using 1:2 with points pt 7 ps 0.8 * dot lc rgb 'white' notitle
}
unset multiplot
