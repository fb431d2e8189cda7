/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CUE_H
#define REGISTER_CUE_H

/* What speaks for and against one change of register being a flip. The chain weighs all frames
 * together and is too sure of itself; each change is asked again for evidence of its own. */

/* Of the change: */
typedef enum cue {
    CUE_CHAIN, /* -log(1 - P + 0.003), P the chain's probability of the old register before (at
                     its highest in 100 ms) times that of the new one after */
    CUE_LEAP,  /* leap of the pitch within 80 ms the way the flip goes, semitones; negative: the
                     other way */
    CUE_SPEED, /* most that the pitch moves that way in 40 ms, semitones */
    CUE_SLIDE, /* that leap, within 6 semitones, times the slide that goes on the same way on both
                     sides, within 4 semitones a second */
    CUE_KINK, /* that leap's kink (register/evidence.h), 0.2 to 0.6, where it leaps that way: nearer
                 to 0.2 under 5 semitones, which is all under 3, and the more voice there is; all
                 from 20 s on, or where the voice has a hole */
    CUE_TRIP, /* how surely that leap, and its fellow that goes back 50 to 250 ms before or after,
                 are quicker than a voice moves at will, 0..1; 0 where it goes the other way */
    CUE_PITCH_BREAK, /* most that speaks for a sudden step of the pitch that way within 60 ms: log
                        of 1 and the nats; negative where all steps go the other way */
    CUE_LEVEL_BREAK, /* most that speaks for one of the level, either way */
    CUE_STEP, /* log-likelihood ratio of the harmonics' step against its usual scatter, nats */
    CUE_ODD,  /* log of the mean square of the step of harmonics that a flip does not explain, in
                     units of the usual, plus 0.3 */
    CUE_DIP,  /* dip of the level, dB */
    CUE_FALL, /* most that the level falls from the side in M1 to that in M2, dB, at least 0 */
    CUE_FAR,  /* step of the register coordinate from 40-250 ms before to as long after; 1 is
                     that from M1 to M2 */
    CUE_NEAR, /* the same from 15-80 ms before to as long after */
    CUE_STAY_BEFORE,
    CUE_STAY_AFTER, /* log of the seconds to the nearest other change or end */
    CUE_EDGE_AFTER, /* log of the seconds to the end of the stretch of voice */
    CUE_PAUSE,      /* longest pause of the voice within 80 ms, s */
    CUE_PLACE,      /* log odds of the new register by pitch and level */
    CUE_BRIEF,      /* 1 for a change into or out of a stay that is too short */
    /* Of all of the singer's voice: */
    CUE_GAIN,   /* log-likelihood that flips gain over none, nats a second */
    CUE_SOURCE, /* correlation of the step of the source with what is expected of it */
    CUE_SIZE,   /* its root mean square over harmonics 1 to 8, dB */
    CUE_LEAPS,  /* mean leap of all changes the way they go, each within 4 semitones */
    CUE_WRONG,  /* share of changes that leap the other way */
    CUE_LEFT,   /* share of all leaps of 1.5 semitones and more, by their size, that no change
                   explains by going the same way within 80 ms */
    CUE_GLIDES, /* log odds that all leap as flips do, not as glides, by their kinks: -12 to 0 */
    CUE_PITCH,  /* slope of the log odds of M2 on the pitch, 1/semitone */
    CUE_VOICED, /* log of the seconds of voice */
    CUE_TOLD, /* log of 1 s and the seconds of voice that are stated to be in the register of which
                   less is stated: with both told the registers have their names and their sound */
    /* Of the singer's other changes: */
    CUE_COMPANY, /* sum of the log odds of each by the cues above, within 4, over their number and 4
                    more */
    CUES
} cue;

const char *cue_name(cue c); /* "chain", "leap_st", ...: with the unit where it has one */

#endif
