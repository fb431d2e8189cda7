/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TRACK_H
#define VOICE_TRACK_H

/* What is heard in one take, one row a frame: pitch, level, levels of the harmonics, register.
 *
 * Every array has n rows; a frame's time is the centre of its window. Undefined numbers are NaN,
 * the level of silence is -INFINITY. The register stage fills in `reg` and `p_m2`. */

#include <stdbool.h>
#include <stddef.h>

enum { TRACK_HARMONICS = 16 };

typedef enum declared_register { DECLARED_NONE, DECLARED_M1, DECLARED_M2 } declared_register;

/* What somebody who knows says of a frame: bits. */
typedef enum frame_statement {
    STATED_M1 = 1,
    STATED_M2 = 2,
    STATED_FLIP = 4, /* the register changes about here */
    STATED_SAME = 8  /* it does not change on entering this frame */
} frame_statement;

typedef struct track {
    char *take;                 /* as the user named it */
    size_t n;                   /* frames; 0 for less sound than one window */
    double hop_s;               /* 0.005 */
    double full_scale_db;       /* dB SPL at 30 cm of RMS 1.0; NaN: levels are dB re full scale */
    declared_register declared; /* what the singer says the whole take is */
    unsigned char *stated;    /* [n] bits of frame_statement; NULL: nothing. track_part() leaves it
                                   out, and track_append() takes it away */
    double *time_s;           /* seconds from the start of the take */
    double *pitch_st;         /* semitones, A4 = 69; NaN when unvoiced */
    double *voicing;          /* probability of voice, 0..1 */
    unsigned char *doubled;   /* 1 where the period is doubled: the sound repeats an octave lower */
    unsigned char *irregular; /* irregular glottal cycles that begin in it, see voice/cycles.h */
    double *level_db;         /* unweighted short-time RMS */
    float *harmonic_db;    /* [n][TRACK_HARMONICS] level of harmonic h+1; NaN when not to be had */
    float *noise_db;       /* [n][TRACK_HARMONICS] level of what is not voice around it */
    unsigned char *sounds; /* [n] of an outline: 1 where the frame has harmonics; else NULL */
    unsigned char *reg;    /* 1 M1, 2 M2, 0 unvoiced or not to be told */
    double *p_m2;          /* probability of M2; NaN where there is none */
    struct measures *measures; /* voice/measures.h; NULL unless they were asked for */
    struct egg_frame *egg;     /* [n] voice/egg.h; NULL without an EGG channel */
} track;

/* n frames, all undefined, time_s set from hop_s and the first frame's time. */
track *track_new(const char *take, size_t n, double hop_s, double first_s);
/* The same without harmonics, for those who need none: harmonic_db and noise_db are NULL, and none
 * of the functions below but track_set_flags() and track_sounds() takes it. */
track *track_outline(const char *take, size_t n, double hop_s, double first_s);
void track_free(track *t); /* NULL allowed */

/* Puts frames first..first + n - 1 of `from`, times and all, behind those of t. */
void track_append(track *t, const track *from, size_t first, size_t n);
/* A copy of frames first..first + n - 1 with take, scale and declared register. */
track *track_part(const track *t, size_t first, size_t n);

/* No register is told of any frame. */
void track_forget_registers(track *t);

/* What is small of a frame, as one byte for those who keep tracks: whether it has harmonics,
 * whether its period is doubled, and above these its irregular cycles, at most 63. */
enum { TRACK_HAS_HARMONICS = 1, TRACK_DOUBLED = 2, TRACK_CYCLES = 4 };
unsigned char track_flags(const track *t, size_t frame);
/* Sets the doubled period and the irregular cycles, and of an outline what track_sounds() tells. */
void track_set_flags(track *t, size_t frame, unsigned char flags);
/* Whether a frame has harmonics: voice does, but where lips or tongue trill. */
bool track_sounds(const track *t, size_t frame);

#endif
