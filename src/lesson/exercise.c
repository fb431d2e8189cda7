/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/exercise.h"

const exercise exercises[EXERCISES] = {
    {0, LESSON_PITCH, "explore pitch"},
    {0, LESSON_LEVEL, "explore level"},
    {0, LESSON_REGISTER, "explore register"},
    {LESSON_LEVEL, LESSON_PITCH, "vary pitch, hold level"},
    {LESSON_REGISTER, LESSON_PITCH, "vary pitch, hold register"},
    {LESSON_PITCH, LESSON_LEVEL, "vary level, hold pitch"},
    {LESSON_REGISTER, LESSON_LEVEL, "vary level, hold register"},
    {LESSON_PITCH, LESSON_REGISTER, "vary register, hold pitch"},
    {LESSON_LEVEL, LESSON_REGISTER, "vary register, hold level"},
    {LESSON_LEVEL | LESSON_REGISTER, LESSON_PITCH, "vary pitch, hold level and register"},
    {LESSON_PITCH | LESSON_REGISTER, LESSON_LEVEL, "vary level, hold pitch and register"},
    {LESSON_PITCH | LESSON_LEVEL, LESSON_REGISTER, "vary register, hold pitch and level"},
};

const exercise *exercise_find(int hold, int vary)
{
    for (size_t i = 0; i < EXERCISES; i++)
        if (exercises[i].hold == hold && exercises[i].vary == vary)
            return &exercises[i];
    return NULL;
}

bool exercise_check(int hold, int vary, err *e)
{
    return hold < 0 || vary < 0 || !(hold & vary) ||
           err_set(e,
                   "What is held cannot be varied in the same take: name it in one of --hold and "
                   "--vary.");
}
