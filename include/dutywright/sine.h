/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sines fitted to equally spaced samples: between samples nothing is claimed. docs/theory.md, section 5.7. */
#ifndef DUTYWRIGHT_SINE_H
#define DUTYWRIGHT_SINE_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_SINE_SAMPLES_LEAST = 8, DW_SINE_HARMONICS_MOST = 1024 };

struct dw_samples {
    const double *value;  /* sample i is value[i * pitch], finite */
    size_t count, pitch;  /* doubles from one sample to the next, >= 1 */
    double rate;          /* 1/s: sample i is taken at i / rate */
};

struct dw_sine {
    double frequency;  /* Hz */
    size_t harmonics;  /* fitted, of which the fundamental is the first; 0: no sine was found */
    double residual;   /* rms of what the fit leaves, unit of the samples */
    bool joined;       /* the frequency was fitted with all harmonics at once, not with the fundamental alone */
};

/* How many harmonics of a frequency can be told apart: those at least half of rate / count below half the rate, and no more unknowns
 * than samples. 0 where not even the first can. */
DW_API size_t dw_sine_fitting(const struct dw_samples *samples, double frequency);

/* Least-squares fit of offset + sum over n = 1 .. H of amplitude_n cos(2 pi n frequency t + phase_n).
 *   samples    DW_SINE_SAMPLES_LEAST or more, and 3 or more where the frequency is known
 *   frequency  Hz, below rate / 2, of a known fundamental (three-parameter fit); 0: to be found (four-parameter fit), from the
 *              largest tone that the first 65536 samples hold in two periods or more. Where harmonics amount to a hundredth of
 *              the fundamental or more, they would pull the frequency along, so that it is fitted with all of them at once
 *   harmonics  most that are wanted, at least 1, at most DW_SINE_HARMONICS_MOST; as many are fitted as dw_sine_fitting allows
 *   line       out, [(harmonics + 1) x 2]: offset, 0, then real and imaginary part of amplitude_n/2 e^(j phase_n); those that were
 *              not fitted are 0. Means nothing where sine->harmonics is 0
 *   sine       out
 *   returns    DW_OK, also where no sine was found; DW_BAD_USE: a rate, frequency or number out of range; DW_NO_MEMORY
 *   accuracy   without noise, frequency and amplitudes to some 16 DBL_EPSILON sqrt(count); with white noise, the Cramer-Rao bound
 *   cost       each step takes twice count x harmonics; some six steps for each factor of four in count. FFTW's planner
 *              serves one thread at a time
 *   source     IEEE Std 1057-2017, three- and four-parameter sine fit, from memory; the linear parameters are eliminated in each
 *              step (Golub and Pereyra 1973, SIAM J. Numer. Anal. 10:413): docs/theory.md, equations 5.22 to 5.25 */
DW_API enum dw_status dw_sine_fit(const struct dw_samples *samples, double frequency, size_t harmonics, double *line,
                                  struct dw_sine *sine, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
