/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/page_keys.h"

/* clang-format off */
#define SIGN(drawing, words) \
    "<li><svg viewBox=\"0 0 48 22\" aria-hidden=\"true\">" drawing "</svg>" words "</li>\n"
#define LIST(items) "<ul class=\"key\">\n" items "</ul>\n"
#define TILE(shape, ink) "<" shape " fill=\"" ink "\"/>"
#define RULE(ink, dash) "<path d=\"M0 11H48\" stroke=\"" ink "\" stroke-width=\"4\"" dash "/>"
#define BAND(ink) "<rect width=\"48\" height=\"22\" fill=\"" ink "\" opacity=\".22\"/>"
#define UP(at, fill) "<path d=\"M" at " 5l8 13h-16z\" " fill "/>"
#define DOWN(at, fill) "<path d=\"M" at " 18l8-13h-16z\" " fill "/>"
#define FULL(ink) "fill=\"" ink "\""
#define OPEN(ink) "fill=\"none\" stroke=\"" ink "\" stroke-width=\"1.5\""

/* The colours of plots/map.gp. */
#define HEAVY "#A3C2E4"
#define LIGHT "#FBE3BC"
#define UP_INK "#16386B"
#define DOWN_INK "#A33B00"
#define DASHES " stroke-dasharray=\"8 4\""

#define MAP_SIGNS \
    SIGN(TILE("rect width=\"48\" height=\"22\"", HEAVY), "heavy register (M1)") \
    SIGN(TILE("rect width=\"48\" height=\"22\"", LIGHT), "light register (M2)") \
    SIGN(TILE("path d=\"M0 22H48V0z\"", HEAVY) TILE("path d=\"M0 22V0H48z\"", LIGHT), "both") \
    SIGN(BAND(UP_INK) RULE(UP_INK, ""), "flips going up, 95 % band") \
    SIGN(BAND(DOWN_INK) RULE(DOWN_INK, DASHES), "flips back coming down, 95 % band") \
    SIGN(UP("12", FULL(UP_INK)) DOWN("36", FULL(DOWN_INK)), "a flip") \
    SIGN(UP("12", OPEN(UP_INK)) DOWN("36", OPEN(DOWN_INK)), "a doubtful flip")

const char page_key_map[] = LIST(MAP_SIGNS
    SIGN("<path d=\"M12 1V21\" stroke=\"#5F88B8\" stroke-width=\"4\"/>"
         "<path d=\"M36 1V21\" stroke=\"#D69A3A\" stroke-width=\"4\" stroke-dasharray=\"5 3\"/>",
         "softest and loudest of each register"));
const char page_key_sessions[] = LIST(MAP_SIGNS SIGN(RULE("#777777", ""), "all sessions"));
const char page_key_progress[] = LIST(
    SIGN(UP("24", FULL(UP_INK)), "flip going up")
    SIGN(DOWN("24", FULL(DOWN_INK)), "flip coming down")
    SIGN("<path d=\"M24 2V20M18 2H30M18 20H30\" stroke=\"#555555\" stroke-width=\"2\"/>",
         "95 % interval")
    SIGN(RULE("#555555", ""), "trend"));
#define SPOT(fill) "<circle cx=\"24\" cy=\"11\" r=\"7\" " fill "/>"
const char page_key_held[] = LIST(
    SIGN(SPOT(FULL(UP_INK)), "held")
    SIGN(SPOT("fill=\"none\" stroke=\"" DOWN_INK "\" stroke-width=\"3\""), "to be held, but moved")
    SIGN(RULE("#555555", ""), "median of the day"));
/* clang-format on */
