# SPDX-License-Identifier: GPL-3.0-or-later
# Where a voice flipped from session to session: the pitch at each level, beneath it the hysteresis
# and the zone of both registers. The program sets beforehand:
#   width_px height_px bare scale tic pt dot face bold_face  as picture.h says
#   singer vowel counts pitch_axis lines[n_lines]
#   levels, titles[levels]          1 or 3 of them, what is above each
#   lo_st hi_st named_tics bare_tics  the pitch axis
#   lo_diff hi_diff hi_zone         the axes beneath
#   lo_s hi_s first_s last_s        the days, seconds since 1970
#   $up $down                       second, pitch, lower and upper end of its interval; one index a level
#   $trend_up $trend_down           second, pitch; likewise
#   $diff $trend_diff $zone         the same of hysteresis (st) and zone (st x dB)

up_ink    = '#16386B'
down_ink  = '#A33B00'
third_ink = '#5B7F2B'
type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

left = right_px(104)
right = 1 - right_px(bare ? 14 : 30)
top = 1 - down_px(bare ? 34 : 128)
bottom = down_px(bare ? 70 : 84 + 27 * n_lines)
gap_x = right_px(bare ? 30 : 16)
between = down_px(bare ? 112 : 126)
upper = (top - bottom - between) * 0.62
lower = (top - bottom - between) * 0.38
wide = (right - left - gap_x * (levels - 1)) / levels

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
    set label 2 (vowel eq '' ? '' : 'vowel ' . vowel . ' · ') . counts at screen right_px(30), 1 - down_px(70) font type(13) tc rgb '#444444'
    do for [i = 1:n_lines] {
        set label 2 + i lines[i] at screen right_px(30), down_px(27 * (n_lines - i) + 24) font type(14)
    }
    key_y = 1 - down_px(70)
    set label 30 '' at screen right_px(640), key_y point pt 9 ps 1.6 * dot lc rgb up_ink
    set label 31 'going up' at screen right_px(656), key_y font type(13)
    set label 32 '' at screen right_px(770), key_y point pt 11 ps 1.6 * dot lc rgb down_ink
    set label 33 'coming down' at screen right_px(786), key_y font type(13)
    set arrow 34 from screen right_px(926), key_y to screen right_px(966), key_y nohead lw 1.5 lc rgb '#555555'
    set label 35 'trend; bars: 95 %' at screen right_px(976), key_y font type(13)
}
set label 50 pitch_axis at screen right_px(20), top - upper / 2 center rotate by 90 font type(13)
plot NaN notitle
unset label
unset arrow

set border 31 lw 0.8 lc rgb '#555555'
set xdata time
set timefmt '%s'
set format x "%d %b\n%Y"
set xrange [lo_s:hi_s]
tic_font = type(bare ? 10 : 12)
set pointintervalbox 0
# Going up and coming down stand side by side, so that their intervals are not on each other.
aside = 0.009 * levels * (hi_s - lo_s)
if (last_s > first_s) { set xtics (first_s, last_s) } else { set xtics (first_s) }
if (last_s > first_s && !bare) { set xtics add ((first_s + last_s) / 2) }
set xtics scale tic out nomirror font tic_font
set ytics scale tic out nomirror font tic_font
set grid xtics ytics lc rgb '#D9D9D9' lt 1 lw 0.6

# The pitch at each level.
set yrange [lo_st:hi_st]
set tmargin at screen top
set bmargin at screen top - upper
do for [i = 0:levels - 1] {
    set lmargin at screen left + i * (wide + gap_x)
    set rmargin at screen left + i * (wide + gap_x) + wide
    eval i == 0 ? named_tics : bare_tics
    set label 1 titles[i + 1] at graph 0, 1 offset character 0, character 0.9 font bold(12)
    plot $trend_up index i using ($1 - aside):2 with lines lw 1.5 lc rgb up_ink notitle, \
         $trend_down index i using ($1 + aside):2 with lines lw 1.5 lc rgb down_ink dt (8, 4) notitle, \
         $up index i using ($1 - aside):2:3:4 with yerrorbars pt 9 ps 1.6 * dot lw 2 lc rgb up_ink notitle, \
         $down index i using ($1 + aside):2:3:4 with yerrorbars pt 11 ps 1.6 * dot lw 2 lc rgb down_ink notitle
}

# What comes of it.
half = (right - left - right_px(104)) / 2
set ytics hi_diff - lo_diff < 12 ? 1 : 5
set tmargin at screen bottom + lower
set bmargin at screen bottom
set lmargin at screen left
set rmargin at screen left + half
set yrange [lo_diff:hi_diff]
set label 1 bare ? 'up less down, st' : 'hysteresis: going up less coming down, semitones'
set xzeroaxis lt 1 lw 1 lc rgb '#555555'
plot $trend_diff using 1:2 with lines lw 1.5 lc rgb third_ink notitle, \
     $diff using 1:2:3:4 with yerrorbars pt 5 ps 1.2 * dot lw 2 lc rgb third_ink notitle
unset xzeroaxis
set lmargin at screen right - half
set rmargin at screen right
set yrange [0:hi_zone]
set ytics autofreq
set label 1 bare ? 'both registers, st × dB' : 'where both registers were sung, semitones × dB'
plot $zone using 1:2:3:4 with yerrorbars pt 7 ps 1.3 * dot lw 2 lc rgb third_ink notitle
unset multiplot
