/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Written by `make trust`: weights of register/trust.c's terms. */

static const double intercept = 0.0099;
static const double means[TRUST_TERMS] = {4.4372,  1.0570,  3.0354,  1.9406,  1.1962, 5.0427,
                                          11.4933, 0.7770,  1.2775,  1.4925,  0.9314, 1.2454,
                                          0.8784,  -0.2165, -0.2680, -0.7375, 0.6933, 0.0496,
                                          4.5718,  0.6619,  2.1263,  2.0127,  0.0266, 0.5785};
static const double weights[TRUST_TERMS] = {0.2007,  2.8411,  -0.2160, 0.0471, -0.4502, 0.1005,
                                            0.0100,  -0.5052, 0.4230,  0.5933, 0.5921,  -1.1838,
                                            -0.0255, 1.1525,  0.4297,  1.3369, 0.5064,  -2.4935,
                                            0.6476,  1.9536,  0.1945,  0.3151, -3.0469, 4.3424};
