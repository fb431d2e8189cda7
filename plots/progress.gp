# SPDX-License-Identifier: GPL-3.0-or-later
# Where a voice flipped from session to session. The program sets beforehand:
#   width_px height_px scale pt dot face bold_face  as picture.h says
#   singer vowel counts pitch_axis lines[n_lines]
#   lo_st hi_st named_tics          the pitch axis
#   lo_s hi_s                       the days, seconds since 1970
#   $up $down                       second, pitch, lower and upper end of its interval
#   $trend_up $trend_down           second, pitch

up_ink   = '#16386B'
down_ink = '#A33B00'
type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

set lmargin at screen right_px(104)
set rmargin at screen 1 - right_px(190)
set tmargin at screen 1 - down_px(96)
set bmargin at screen down_px(84 + 27 * n_lines)
set label 1 singer at screen right_px(30), 1 - down_px(36) font bold(strlen(singer) > 36 ? 13 : 20)
set label 2 (vowel eq '' ? '' : 'vowel ' . vowel . ' · ') . counts at screen right_px(30), 1 - down_px(70) font type(13) tc rgb '#444444'
do for [i = 1:n_lines] {
    set label 2 + i lines[i] at screen right_px(30), down_px(27 * (n_lines - i) + 24) font type(14)
}
set label 30 pitch_axis at screen right_px(20), graph 0.5 center rotate by 90 font type(13)
set border 31 lw 0.8 lc rgb '#555555'
set xdata time
set timefmt '%s'
set format x '%Y-%m-%d'
set xrange [lo_s:hi_s]
set yrange [lo_st:hi_st]
tic_font = type(12)
key_font = type(13)
set xtics scale scale out nomirror font tic_font
if (hi_s - lo_s < 6 * 86400) { set xtics 86400 }
set ytics scale scale out nomirror
eval named_tics
set ytics font tic_font
set grid xtics ytics lc rgb '#D9D9D9' lt 1 lw 0.6
set key at screen 1 - right_px(10), graph 1 right top font key_font samplen 2
plot $trend_up using 1:2 with lines lw 1.5 lc rgb up_ink notitle, \
     $trend_down using 1:2 with lines lw 1.5 lc rgb down_ink dt (8, 4) notitle, \
     $up using 1:2:3:4 with yerrorbars pt 9 ps 1.6 * dot lw 2 lc rgb up_ink title 'going up', \
     $down using 1:2:3:4 with yerrorbars pt 11 ps 1.6 * dot lw 2 lc rgb down_ink title 'coming down', \
     NaN with lines lw 1.5 lc rgb '#555555' title 'trend'
