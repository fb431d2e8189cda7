/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/verdict.h"

#include <math.h>
#include <string.h>

/* Thresholds. Where no source is named it is common practice, no source. */
static const double voice_least_s = 0.2;
static const double length_fail_s = 0.5, length_warn_s = 1;
static const double dc_warn = 1, dc_fail = 10; /* % of full scale: headroom lost */
/* Softest tone over noise: 10 dB for the noise to add less than half a decibel (Sramkova et al.
 * 2015; Patel et al. 2018, from memory), 15 dB asked of microphones by Svec, Sramkova & Granqvist
 * 2009. */
static const double noise_fail_db = 10, noise_warn_db = 15;
/* The same rules, when it is hum; the fundamental of a low voice lies where hum does. */
static const double hum_fail_db = 10, hum_warn_db = 15;
/* Harmonics are used up to 6 kHz; a telephone ends at 3.4 kHz. Higher cuts are signs of a coder. */
static const double band_fail_hz = 3800, band_warn_hz = 6000, band_coded_hz = 18500;
static const double band_coded_share = 0.88; /* of half the rate: anti-aliasing begins above */
static const double gain_warn_db = 3, gain_fail_db = 6;
static const double echo_warn_s = 0.6, echo_fail_s = 1;
static const double two_warn = 10, two_fail = 30; /* % of the voice */
enum { ENDINGS_LEAST = 2 };
static const char unheard[] = "Not judged, since no voice is heard.";

typedef struct check {
    const char *name, *unit;
    check_name needs; /* itself: nothing */
    void (*judge)(const verdict_figures *f, check_row *row);
} check;

static void set(check_row *row, double figure, check_result result, const char *remedy)
{
    *row = (check_row){result, figure, result == CHECK_PASS ? NULL : remedy};
}

static void not_judged(check_row *row, const char *why)
{
    *row = (check_row){CHECK_NONE, (double)NAN, why};
}

static check_result at_least(double figure, double warn, double fail)
{
    return figure < fail ? CHECK_FAIL : figure < warn ? CHECK_WARN : CHECK_PASS;
}

static check_result at_most(double figure, double warn, double fail)
{
    return figure > fail ? CHECK_FAIL : figure > warn ? CHECK_WARN : CHECK_PASS;
}

static void judge_voice(const verdict_figures *f, check_row *row)
{
    set(row, f->voiced_s, at_least(f->voiced_s, voice_least_s, voice_least_s),
        "No singing is heard: see that the right microphone is on, or name its channel.");
}

static void judge_length(const verdict_figures *f, check_row *row)
{
    set(row, f->voiced_s, at_least(f->voiced_s, length_warn_s, length_fail_s),
        "Sing longer: a slide or a swell wants two seconds and more.");
}

static void judge_clipping(const verdict_figures *f, check_row *row)
{
    size_t peaks = f->full_runs > f->cut_peaks ? f->full_runs : f->cut_peaks;
    set(row, (double)peaks, peaks ? CHECK_FAIL : CHECK_PASS,
        "Turn the recording level down, or move farther away, until the loudest tones stay 6 dB "
        "under full scale, and record again.");
}

static void judge_dc(const verdict_figures *f, check_row *row)
{
    set(row, 100 * f->dc, at_most(fabs(100 * f->dc), dc_warn, dc_fail),
        "The recorder adds a constant voltage, which is taken out here but costs headroom: try "
        "another input.");
}

static void judge_noise(const verdict_figures *f, check_row *row)
{
    static const char quieter[] = "The softest tones are near the noise: find a quieter place, or "
                                  "come nearer to the microphone and state the distance.";
    if (isnan(f->noise_db))
        not_judged(row, "Not judged for want of a pause: leave a second of silence before and "
                        "after singing.");
    else if (isnan(f->softest_db))
        not_judged(row, "Not judged, since no tone lasts half a second.");
    else
        set(row, f->softest_db - f->noise_db,
            at_least(f->softest_db - f->noise_db, noise_warn_db, noise_fail_db), quieter);
}

static void judge_hum(const verdict_figures *f, check_row *row)
{
    static const char *const remedies[] = {
        "Mains hum at 50 Hz: run the recorder on its battery, and keep cables away from mains.",
        "Mains hum at 60 Hz: run the recorder on its battery, and keep cables away from mains."};
    if (isnan(f->hum_db) || isnan(f->softest_db))
        not_judged(row, "Not judged for want of pauses: leave two seconds of silence before "
                        "singing.");
    else
        set(row, f->softest_db - f->hum_db,
            at_least(f->softest_db - f->hum_db, hum_warn_db, hum_fail_db),
            remedies[f->hum_hz == 60]);
}

static void judge_dropouts(const verdict_figures *f, check_row *row)
{
    set(row, (double)f->gaps, f->gaps ? CHECK_FAIL : CHECK_PASS,
        "Samples are missing: close other programs, use a cable in place of a wireless link, and "
        "record again.");
}

static void judge_band(const verdict_figures *f, check_row *row)
{
    check_result result = at_least(f->band_hz, band_warn_hz, band_fail_hz);
    const char *remedy = "The top of the spectrum is missing: record at 44.1 kHz, not by "
                         "telephone or call.";
    bool coded = f->band_hz < band_coded_hz && f->band_hz < band_coded_share * f->rate_hz / 2;
    if (result == CHECK_PASS && coded) {
        result = CHECK_WARN;
        remedy = "The band ends early, as after lossy coding or a lower rate: record WAV or FLAC "
                 "where you can.";
    }
    if (isnan(f->band_hz))
        not_judged(row, "Not judged: there is no sound.");
    else
        set(row, f->band_hz / 1000, result, remedy);
}

static void judge_gain(const verdict_figures *f, check_row *row)
{
    if (isnan(f->gain_db))
        not_judged(row, "Not judged for want of pauses: leave two seconds of silence before and "
                        "after singing.");
    else
        set(row, f->gain_db, at_most(f->gain_db, gain_warn_db, gain_fail_db),
            "The noise rises when the voice stops, so the gain changes by itself: switch automatic "
            "gain off, or use the map for pitch alone.");
}

/* One slow ending may be a tone that the singer let fade; one fast ending shows a dry room. */
static void judge_echo(const verdict_figures *f, check_row *row)
{
    if (isnan(f->decay_s))
        not_judged(row, "Not judged: no tone stops clearly enough.");
    else if (f->decay_s > echo_warn_s && f->endings < ENDINGS_LEAST)
        not_judged(row, "Not judged: too few tones stop, and they may have been let fade.");
    else
        set(row, f->decay_s, at_most(f->decay_s, echo_warn_s, echo_fail_s),
            "The room rings: come nearer to the microphone, or go where carpets and curtains are.");
}

static void judge_two_voices(const verdict_figures *f, check_row *row)
{
    if (isnan(f->second_share))
        not_judged(row, f->voiced_s > 0
                            ? "Not judged: less than half a second is sung loudly enough."
                            : unheard);
    else
        set(row, 100 * f->second_share, at_most(100 * f->second_share, two_warn, two_fail),
            "Another voice or an instrument sounds along: record one singer alone.");
}

static const check checks[CHECKS] = {
    [CHECK_VOICE] = {"voice", "s", CHECK_VOICE, judge_voice},
    [CHECK_LENGTH] = {"length", "s", CHECK_VOICE, judge_length},
    [CHECK_CLIPPING] = {"clipping", "peaks", CHECK_CLIPPING, judge_clipping},
    [CHECK_DC] = {"dc", "% of full scale", CHECK_DC, judge_dc},
    [CHECK_NOISE] = {"noise", "dB", CHECK_VOICE, judge_noise},
    [CHECK_HUM] = {"hum", "dB", CHECK_VOICE, judge_hum},
    [CHECK_DROPOUTS] = {"dropouts", "places", CHECK_VOICE, judge_dropouts},
    [CHECK_BAND] = {"band", "kHz", CHECK_BAND, judge_band},
    [CHECK_GAIN] = {"gain", "dB", CHECK_VOICE, judge_gain},
    [CHECK_ECHO] = {"echo", "s", CHECK_VOICE, judge_echo},
    [CHECK_TWO_VOICES] = {"two_voices", "% of voice", CHECK_TWO_VOICES, judge_two_voices},
};

const char *check_name_of(check_name c)
{
    return checks[c].name;
}

const char *check_unit_of(check_name c)
{
    return checks[c].unit;
}

int check_decimals_of(const char *name)
{
    bool count = strcmp(name, checks[CHECK_CLIPPING].name) == 0 ||
                 strcmp(name, checks[CHECK_DROPOUTS].name) == 0;
    return count ? 0 : 2;
}

const char *check_result_of(check_result r)
{
    static const char *const words[] = {NULL, "pass", "warn", "fail"};
    return words[r];
}

/* Prerequisites stand before what needs them. */
void verdict_of(const verdict_figures *f, checkup *out)
{
    for (int c = 0; c < CHECKS; c++) {
        check_row *row = &out->of[c], *needed = &out->of[checks[c].needs];
        if (needed != row && (needed->result == CHECK_NONE || needed->result == CHECK_FAIL))
            not_judged(row, unheard);
        else
            checks[c].judge(f, row);
    }
}
