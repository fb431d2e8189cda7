# SPDX-License-Identifier: GPL-3.0-or-later
# The map of a voice, or one small map a session. The program sets beforehand:
#   width_px height_px bare scale tic pt dot face bold_face  as picture.h says
#   panels, columns, small, has_all maps, maps a row, 1 when they are small, 1 when $all_ is drawn
#   titles[panels], lines[n_lines]  above each small map; the words beneath
#   singer vowel counts pitch_axis level_axis level_scale, has_levels (0: they are not known)
#   lo_db hi_db lo_st hi_st db_step named_tics bare_tics tuning (of A4 from 440 Hz, semitones)
#   $ranges        level, pitch, register: the softest and the loudest of each semitone
#   $heavy $light $flips $up $down $all_up $all_down  one index a map, as map_draw.c says

heavy_fill = '#A3C2E4'
light_fill = '#FBE3BC'
heavy_edge = '#5F88B8'
light_edge = '#D69A3A'
up_ink     = '#16386B'
down_ink   = '#A33B00'
faint      = '#D9D9D9'
strong     = '#A6A6A6'
all_ink    = '#777777'
hollow     = 0.5 # a mark is made hollow by a white one in it, of this share

type(size) = sprintf('%s,%.2f', face, size * pt)
bold(size) = sprintf('%s,%.2f', bold_face, size * pt)
down_px(px) = px * scale / height_px
right_px(px) = px * scale / width_px

rows = ceil(1.0 * panels / columns)
left = right_px(104)
right = 1 - right_px(bare ? 12 : 278)
top = 1 - down_px(bare ? 10 : 96)
bottom = down_px(bare ? 80 : 100 + 27 * n_lines)
gap_x = right_px(16)
gap_y = down_px(small ? 42 : 0)
title_room = down_px(small ? 28 : 0)
wide = (right - left - gap_x * (columns - 1)) / columns
high = (top - title_room - bottom - gap_y * (rows - 1)) / rows

set style fill solid 1 noborder
set border 0
unset key
unset tics
set xrange [0:1]
set yrange [0:1]
set multiplot

# Words and key, on the whole page.
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
key_x = right + right_px(26)
key_text = key_x + right_px(62)
key_y(i) = top - down_px(14 + 36 * i)
tile_w = right_px(22)
tile_h = down_px(11)
set label 20 'where it was sung' at screen key_x, key_y(0) font bold(12)
set object 1 rectangle from screen key_x, key_y(1) - tile_h to screen key_x + 2 * tile_w, key_y(1) + tile_h fc rgb heavy_fill fs solid noborder
set label 21 'heavy (M1)' at screen key_text, key_y(1) font type(13)
set object 2 rectangle from screen key_x, key_y(2) - tile_h to screen key_x + 2 * tile_w, key_y(2) + tile_h fc rgb light_fill fs solid noborder
set label 22 'light (M2)' at screen key_text, key_y(2) font type(13)
set object 3 polygon from screen key_x, key_y(3) - tile_h to screen key_x + 2 * tile_w, key_y(3) - tile_h to screen key_x + 2 * tile_w, key_y(3) + tile_h to screen key_x, key_y(3) - tile_h fc rgb heavy_fill fs solid noborder
set object 4 polygon from screen key_x, key_y(3) - tile_h to screen key_x, key_y(3) + tile_h to screen key_x + 2 * tile_w, key_y(3) + tile_h to screen key_x, key_y(3) - tile_h fc rgb light_fill fs solid noborder
set label 23 'both' at screen key_text, key_y(3) font type(13)
more = small ? 0 : 1
if (!small) {
    set arrow 10 from screen key_x + 0.5 * tile_w, key_y(4) - tile_h to screen key_x + 0.5 * tile_w, key_y(4) + tile_h nohead lw 2.2 lc rgb heavy_edge
    set arrow 11 from screen key_x + 1.5 * tile_w, key_y(4) - tile_h to screen key_x + 1.5 * tile_w, key_y(4) + tile_h nohead lw 2.2 lc rgb light_edge dt (4, 2)
    set label 41 'softest, loudest' at screen key_text, key_y(4) font type(13)
}
set label 24 'blank: hardly or never' at screen key_x, key_y(4 + more) font type(13) tc rgb '#444444'
set label 30 'where it flips' at screen key_x, key_y(5.5 + more) font bold(12)
set object 5 rectangle from screen key_x, key_y(6.5 + more) - tile_h to screen key_x + 2 * tile_w, key_y(6.5 + more) + tile_h fc rgb up_ink fs transparent solid 0.22 noborder
set arrow 1 from screen key_x, key_y(6.5 + more) to screen key_x + 2 * tile_w, key_y(6.5 + more) nohead lw 3 lc rgb up_ink
set label 31 'going up' at screen key_text, key_y(6.5 + more) font type(13)
set object 6 rectangle from screen key_x, key_y(7.5 + more) - tile_h to screen key_x + 2 * tile_w, key_y(7.5 + more) + tile_h fc rgb down_ink fs transparent solid 0.22 noborder
set arrow 2 from screen key_x, key_y(7.5 + more) to screen key_x + 2 * tile_w, key_y(7.5 + more) nohead lw 3 lc rgb down_ink dt (8, 4)
set label 32 'coming down' at screen key_text, key_y(7.5 + more) font type(13)
set label 33 'shaded: 95 % band' at screen key_x, key_y(8.5 + more) font type(13) tc rgb '#444444'
set label 34 '' at screen key_x + tile_w * 0.5, key_y(9.5 + more) point pt 9 ps 1.5 * dot lc rgb up_ink
set label 35 '' at screen key_x + tile_w * 1.5, key_y(9.5 + more) point pt 11 ps 1.5 * dot lc rgb down_ink
set label 36 'a flip' at screen key_text, key_y(9.5 + more) font type(13)
set label 37 '' at screen key_x + tile_w * 0.5, key_y(10.5 + more) point pt 9 ps 1.5 * dot lc rgb up_ink
set label 38 '' at screen key_x + tile_w * 1.5, key_y(10.5 + more) point pt 11 ps 1.5 * dot lc rgb down_ink
set label 42 '' at screen key_x + tile_w * 0.5, key_y(10.5 + more) point pt 9 ps hollow * 1.5 * dot lc rgb 'white'
set label 43 '' at screen key_x + tile_w * 1.5, key_y(10.5 + more) point pt 11 ps hollow * 1.5 * dot lc rgb 'white'
set label 39 'a doubtful one' at screen key_text, key_y(10.5 + more) font type(13)
if (has_all) {
    set arrow 3 from screen key_x, key_y(11.5 + more) to screen key_x + 2 * tile_w, key_y(11.5 + more) nohead lw 1.5 lc rgb all_ink
    set label 40 'all sessions' at screen key_text, key_y(11.5 + more) font type(13)
}
}
set label 50 pitch_axis at screen right_px(20), (top + bottom) / 2 center rotate by 90 font type(13)
set label 51 level_axis at screen (left + right) / 2, bottom - down_px(54) center font type(13)
plot NaN notitle
unset label
unset arrow
unset object

# The maps.
set border 31 lw 0.8 lc rgb '#555555'
set xrange [lo_db:hi_db]
set yrange [lo_st:hi_st]
tic_font = type(12)
set xtics db_step scale tic out nomirror font tic_font offset 0, 0.2
set ytics scale tic out nomirror
set grid xtics lc rgb faint lt 1 lw 0.6
set grid ytics lc rgb faint lt 1 lw 0.6
set grid back
do for [octave = 0:10] {
    c = 12 * octave + tuning
    if (c > lo_st && c < hi_st) { set arrow from graph 0, first c to graph 1, first c nohead back lc rgb strong lw 0.8 }
}
set style arrow 1 nohead lw 2.2 lc rgb heavy_edge
set style arrow 2 nohead lw 2.2 lc rgb light_edge dt (4, 2)
flip_size = (small ? 0.9 : 1.5) * dot
do for [i = 0:panels - 1] {
    column = i % columns
    row = i / columns
    set lmargin at screen left + column * (wide + gap_x)
    set rmargin at screen left + column * (wide + gap_x) + wide
    set tmargin at screen top - title_room - row * (high + gap_y)
    set bmargin at screen top - title_room - row * (high + gap_y) - high
    eval column == 0 ? named_tics : bare_tics
    set ytics font tic_font
    set format x (has_levels && i + columns >= panels ? '%h' : '')
    set label 1 titles[i + 1] at graph 0, 1 offset character 0, character 0.9 font bold(12)
    plot $heavy index i using 1:2 with filledcurves closed fc rgb heavy_fill notitle, \
         $light index i using 1:2 with filledcurves closed fc rgb light_fill notitle, \
         $ranges using 1:($2 - 0.42):(0):(0.84):($3) with vectors arrowstyle variable notitle, \
         $all_up using 1:2 with lines lw 1.5 lc rgb all_ink notitle, \
         $all_down using 1:2 with lines lw 1.5 lc rgb all_ink dt (8, 4) notitle, \
         $up index i using 1:3:4 with filledcurves fc rgb up_ink fs transparent solid 0.22 notitle, \
         $down index i using 1:3:4 with filledcurves fc rgb down_ink fs transparent solid 0.22 notitle, \
         $up index i using 1:3 with lines lw 0.8 lc rgb up_ink notitle, \
         $up index i using 1:4 with lines lw 0.8 lc rgb up_ink notitle, \
         $down index i using 1:3 with lines lw 0.8 lc rgb down_ink dt (8, 4) notitle, \
         $down index i using 1:4 with lines lw 0.8 lc rgb down_ink dt (8, 4) notitle, \
         $up index i using 1:2 with lines lw (small ? 2.5 : 3.5) lc rgb up_ink notitle, \
         $down index i using 1:2 with lines lw (small ? 2.5 : 3.5) lc rgb down_ink dt (8, 4) notitle, \
         $flips index i using 1:($3 == 0 ? $2 : NaN) with points pt 9 ps 1.5 * flip_size lc rgb 'white' notitle, \
         $flips index i using 1:($3 == 1 ? $2 : NaN) with points pt 11 ps 1.5 * flip_size lc rgb 'white' notitle, \
         $flips index i using 1:($3 == 0 ? $2 : NaN) with points pt 9 ps flip_size lc rgb up_ink notitle, \
         $flips index i using 1:($3 == 1 ? $2 : NaN) with points pt 11 ps flip_size lc rgb down_ink notitle, \
         $flips index i using 1:($3 == 0 && $4 == 0 ? $2 : NaN) with points pt 9 ps hollow * flip_size lc rgb 'white' notitle, \
         $flips index i using 1:($3 == 1 && $4 == 0 ? $2 : NaN) with points pt 11 ps hollow * flip_size lc rgb 'white' notitle
}
unset multiplot
