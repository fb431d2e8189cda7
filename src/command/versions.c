/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/command.h"

#include <fftw3.h>
#include <gsl/gsl_version.h>
#include <jansson.h>
#include <nettle/version.h>
#include <sndfile.h>
#include <soxr.h>
#include <sqlite3.h>

/* As each library says it of itself at run time: what a report of a fault needs. */
void command_versions(FILE *out)
{
    fprintf(out, "seamline %s\n%s\n%s\nGSL %s\nSQLite %s\njansson %s\n%s\nnettle %d.%d\n",
            SEAMLINE_VERSION, sf_version_string(), fftwf_version, gsl_version, sqlite3_libversion(),
            jansson_version_str(), soxr_version(), nettle_version_major(), nettle_version_minor());
}
