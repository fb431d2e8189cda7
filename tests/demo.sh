#!/bin/sh
# SPDX-License-Identifier: GPL-3.0-or-later
# demo.sh BUILD: an invented studio from recordings to maps. The program is given the sound, the
# dates and what the singers say they held and moved; what the voices were told to do is opened
# only after it has answered.
set -eu
build=$1
demo=$build/demo
studio=data/studio.tsv
full_scale=108
SEAMLINE_JOURNAL=$demo/journal.db
export SEAMLINE_JOURNAL
unset DISPLAY WAYLAND_DISPLAY || true

# For the program: columns that any studio could write down, the register that was held among them.
# The studio's microphone is calibrated, swift records at home on a telephone.
takes() {
    awk -F '\t' -v home="$1" '
        NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; OFS = "\t"
                  print "file", "singer", "date", "hold", "vary", "vowel", "register"; next }
        ($at["singer"] == "swift") == home {
            held = $at["held"]; said = held ? "M" held : ""
            print $at["file"], $at["singer"], $at["date"], $at["hold"], $at["vary"], $at["vowel"], said }
    ' "$studio"
}

rm -rf "$demo"
mkdir -p "$demo/recordings" "$demo/truth"
echo "The test voice sings the takes of $studio ..."
"$build/testvoice" render "$studio" "$demo/recordings"
mv "$demo/recordings"/*.tsv "$demo/truth/"

echo "seamline listens to them ..."
takes 0 >"$demo/recordings/studio.tsv"
takes 1 >"$demo/recordings/home.tsv"
"$build/seamline" add --table "$demo/recordings/studio.tsv" --full-scale $full_scale >"$demo/added.tsv"
"$build/seamline" add --table "$demo/recordings/home.tsv" >>"$demo/added.tsv"
echo
"$build/seamline" singers
echo

maps=
for singer in $("$build/seamline" singers | awk -F '\t' '!/^#/ && seen++ { print $1 }'); do
    code=0
    "$build/seamline" map "$singer" -o "$demo/$singer.png" >"$demo/$singer.tsv" || code=$?
    case $code in
    0) maps="$maps $demo/$singer.tsv" ;;
    3) ;; # the takes do not tell it, and the sentence above says so
    *) exit $code ;;
    esac
done
"$build/seamline" map wren --sessions -o "$demo/wren-sessions.png" >/dev/null
"$build/seamline" progress wren -o "$demo/wren-progress.png" >"$demo/wren-progress.tsv"
"$build/seamline" held wren -o "$demo/wren-held.png" >"$demo/wren-held.tsv"
"$build/seamline" compare wren linnet bittern -o "$demo/compare.png" >"$demo/compare.tsv"
"$build/seamline" analyse "$demo"/recordings/wren/2025-01-14-*.wav --full-scale $full_scale \
    -o "$demo/wren-take.png" >"$demo/wren-take.tsv"
"$build/seamline" analyse "$demo"/recordings/wren/2025-01-14-*.wav --full-scale $full_scale \
    --explain -o "$demo/wren-explain.png" >"$demo/wren-explain.tsv"
"$build/seamline" report --all -o "$demo/pages" >/dev/null

echo "Where the voices flip, as heard, and as they were told to (opened only now):"
echo
# shellcheck disable=SC2086
"$build/demo_compare" "$studio" "$demo/truth" $full_scale "$SEAMLINE_JOURNAL" $maps
echo "The pictures are $demo/*.png, the singers' pages $demo/pages/index.html."
echo "The journal is $SEAMLINE_JOURNAL: try $build/seamline takes wren --journal $SEAMLINE_JOURNAL"
