/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sampled tones: what the analyser reads of them, against what they are and what theory says can be known of them. */
#include "measure/waves.h"
#include "suite.h"
#include <stdlib.h>

enum { RATE = 1000, TRIALS = 200 };

struct tone {
    double a_period;  /* samples */
    size_t count;
    double sigma;     /* of noise, gaussian */
    int bits;         /* quantised so, full scale -1 to 1; 0: not */
};

/* Two independent ones of variance 1: Box and Muller 1958. */
static double gaussian(uint64_t *seed)
{
    const double u = (1 - random_next(seed)) / 2, v = random_next(seed);
    return sqrt(-2 * log(u)) * cos(M_PI * v);
}

static const double phase = 0.7, offset = 0.01;

/* An analyser that has seen a tone of amplitude 0.985, which with the offset stays within the quantiser's scale. */
static struct dw_spectrum *analysed(const struct tone *tone, uint64_t *seed)
{
    struct wave wave = { 0 };
    const double lsb = tone->bits ? 2 / pow(2, tone->bits) : 0;
    for (size_t i = 0; i < tone->count; i++) {
        double x = offset + 0.985 * cos(2 * M_PI * (double)i / tone->a_period + phase);
        x += tone->sigma > 0 ? tone->sigma * gaussian(seed) : 0;
        wave_add(&wave, (double)i / RATE, lsb > 0 ? lsb * (floor(x / lsb) + 0.5) : x);
    }
    struct dw_header *header = header_with("sampled", "1000", NULL);
    struct dw_spectrum *s = spectrum_of(header, NULL, &wave);
    dw_header_free(header);
    wave_free(&wave);
    return s;
}

/* 20.27 periods, and a whole number of periods in a whole number of samples. */
static struct tone tone_at(size_t i, bool coherent)
{
    static const double a_period[] = { 3.7, 4, 10.3, 20, 49 };
    const double x = a_period[i];
    return (struct tone){ .a_period = x, .count = coherent ? (size_t)lround(20 * x) : (size_t)(20.27 * x) };
}

START_TEST(a_tone_without_noise_is_read_to_a_billionth)
{
    for (size_t i = 0; i < 5; i++)
        for (int coherent = 0; coherent < 2; coherent++) {
            const struct tone tone = tone_at(i, coherent);
            struct dw_spectrum *s = analysed(&tone, NULL);
            const struct dw_line line = dw_spectrum_line(s, 0, 1);
            const struct dw_distortion d = dw_spectrum_distortion(s, 0);
            near(line.frequency, RATE / tone.a_period, 1e-9);
            near(line.amplitude, 0.985, 1e-9);
            within_scale(line.phase, phase, 1e-9, 1);
            near(d.mean, offset, 1e-9);
            near(d.rms, hypot(offset, 0.985 * sqrt(0.5)), 1e-9);
            ck_assert(d.has_thd_all && d.thd_all <= 1e-9);
            dw_spectrum_free(s);
        }
}
END_TEST

/* Variances over the bound of Cramer and Rao for four unknown parameters (Rife and Boorstyn 1974, IEEE Trans. Inf. Theory 20:591):
 * 2 sigma^2/N of the amplitude, 24 sigma^2 / (A^2 N (N^2 - 1)) of the angle a sample, 2 (2 N - 1) 2 sigma^2 / (A^2 N (N + 1)) of the
 * phase at the first sample. */
START_TEST(noise_moves_a_tone_by_what_cramer_and_rao_allow)
{
    uint64_t seed = 1057;
    const double sigma = 0.01 * 0.985;
    for (size_t i = 0; i < 5; i++)
        for (int coherent = 0; coherent < 2; coherent++) {
            struct tone tone = tone_at(i, coherent);
            tone.sigma = sigma;
            const double n = (double)tone.count, share = sigma * sigma / (0.985 * 0.985);
            const double bound[3] = { 2 * share / n, 24 * share / (n * (n * n - 1)), 4 * (2 * n - 1) * share / (n * (n + 1)) };
            double square[3] = { 0 };
            for (int k = 0; k < TRIALS; k++) {
                struct dw_spectrum *s = analysed(&tone, &seed);
                const struct dw_line line = dw_spectrum_line(s, 0, 1);
                const double off[3] = { line.amplitude / 0.985 - 1, 2 * M_PI * (line.frequency / RATE - 1 / tone.a_period),
                                        line.phase - phase };
                for (int q = 0; q < 3; q++)
                    square[q] += off[q] * off[q] / TRIALS;
                dw_spectrum_free(s);
            }
            /* a variance from 200 trials is known to sqrt(2 / 200), a tenth; five of them. What few periods add to the bound,
             * which is that of many, is less */
            for (int q = 0; q < 3; q++)
                within_scale(square[q] / bound[q], 1, 0.5, 1);
        }
}
END_TEST

/* 6.02 N + 1.76 dB of a tone that fills the scale; the error is as if at random where the phases never repeat. */
START_TEST(a_quantised_tone_has_the_effective_bits_of_its_quantiser)
{
    for (int bits = 8; bits <= 12; bits += 4)
        for (size_t i = 0; i < 5; i++) {
            struct tone tone = tone_at(i, false);
            tone.a_period *= 1 + 0.01 * sqrt(5);
            tone.count = 4000;
            tone.bits = bits;
            struct dw_spectrum *s = analysed(&tone, NULL);
            const struct dw_distortion d = dw_spectrum_distortion(s, 0);
            /* squares of 4000 uniform errors: 0.9/sqrt(4000) of their mean, 0.06 dB, five of them; a sine's own quantisation is
             * not quite uniform: 1 / sqrt(levels) of it, 0.2 dB at 8 bits */
            ck_assert(d.has_sinad);
            within_scale(d.sinad, 20 * log10(0.985) + 20 * bits * log10(2) + 10 * log10(1.5), 0.5, 1);
            near(dw_spectrum_line(s, 0, 1).amplitude, 0.985, 2 / pow(2, bits) / 8);
            near(dw_spectrum_line(s, 0, 1).frequency, RATE / tone.a_period, 2 / pow(2, bits) / 4000);
            dw_spectrum_free(s);
        }
}
END_TEST

SUITE("outside: sampled tones", a_tone_without_noise_is_read_to_a_billionth, noise_moves_a_tone_by_what_cramer_and_rao_allow,
      a_quantised_tone_has_the_effective_bits_of_its_quantiser)
