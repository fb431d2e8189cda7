/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Written by `make trust`: weights of register/trust.c's terms. */

static const double intercept = -0.0745;
static const double means[TRUST_TERMS] = {4.4435,  1.0479,  3.0217,  1.9248,  1.1894, 5.0438,
                                          11.5606, 0.7842,  1.2747,  1.4862,  0.9314, 1.2450,
                                          0.8773,  -0.2157, -0.2642, -0.7368, 0.6959, 0.0488,
                                          4.6118,  0.6645,  2.1419,  1.9953,  0.0271, 0.5716};
static const double weights[TRUST_TERMS] = {0.2760,  3.3360,  -0.1267, -0.2022, -0.1999, 0.0873,
                                            0.0027,  -0.5891, 0.4222,  0.5932,  0.3220,  -1.0400,
                                            -0.0842, 1.3077,  0.3735,  1.4272,  0.4934,  -2.1592,
                                            0.6485,  1.9053,  0.1735,  0.2818,  -6.2820, 4.6956};
