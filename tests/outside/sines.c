/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sampled tones: what the analyser reads of them, against what they are and what theory says can be known of them. */
#include "measure/waves.h"
#include "suite.h"
#include <complex.h>
#include <float.h>
#include <fftw3.h>
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

/* Of more samples than the meter keeps, sums: what part of a cycle adds to a mean of n cycles is below 1 / (2 pi n). */
START_TEST(a_long_record_has_the_mean_and_rms_of_all_its_samples)
{
    enum { COUNT = 300000 };
    struct wave wave = { 0 };
    for (size_t i = 0; i < COUNT; i++)
        wave_add(&wave, (double)i / RATE, offset + 0.985 * cos(2 * M_PI * (double)i / 10.3 + phase));
    struct dw_header *header = header_with("sampled", "1000", NULL);
    struct dw_meter *meter = meter_of(header, NULL, &wave);
    within_scale(measured(meter, DW_MEASURE_MEAN), offset, 10.3 / (2 * M_PI * COUNT), 0.985);
    near(measured(meter, DW_MEASURE_AC_RMS), 0.985 / sqrt(2), 10.3 / (2 * M_PI * COUNT));
    dw_meter_free(meter);
    dw_header_free(header);
    wave_free(&wave);
}
END_TEST

/* ---- against FFTW ---- */

/* The transform of samples over their span, in which the first and the last count half, times weights: the definition of a DFT, with the
 * trapezoidal rule's ends. weight: sum of cosines, as in Heinzel, Ruediger and Schilling 2002 (HFT90D); NULL: 1. */
static void transform(const struct wave *wave, const double *weight, size_t terms, fftw_complex *dft)
{
    const size_t spaces = wave->count - 1;
    fftw_plan plan = fftw_plan_dft_1d((int)spaces, dft, dft, FFTW_FORWARD, FFTW_ESTIMATE);
    for (size_t i = 0; i < spaces; i++) {
        double w = 1;
        for (size_t m = 1; m < terms; m++)
            w += weight[m] * cos(2 * M_PI * (double)(m * i % spaces) / (double)spaces);
        const double value = i ? wave->row[2 * i + 1] : (wave->row[1] + wave->row[2 * spaces + 1]) / 2;
        dft[i] = value * w / (double)spaces;
    }
    fftw_execute(plan);
    fftw_destroy_plan(plan);
}

START_TEST(samples_without_a_fundamental_have_the_lines_of_their_transform)
{
    static const double flat_top[] = { 1, -1.942604, 1.340318, -0.440811, 0.043097 };
    static const size_t counts[] = { 96, 131, 1000 };
    uint64_t seed = 57;
    for (size_t k = 0; k < 3; k++)
        for (int tapered = 0; tapered < 2; tapered++) {
            struct wave wave = { 0 };
            for (size_t i = 0; i < counts[k]; i++)
                wave_add(&wave, 0.25 + (double)i / RATE, 0.3 + random_next(&seed));
            fftw_complex *dft = fftw_alloc_complex(counts[k]);
            ck_assert(dft != NULL);
            transform(&wave, flat_top, tapered ? 5 : 1, dft);
            struct dw_header *header = header_with("sampled", "1000", NULL);
            struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .taper = tapered ? DW_TAPER_FLAT_TOP : DW_TAPER_NONE }, &wave);
            ck_assert_uint_eq(dw_spectrum_highest(s), (counts[k] - 1) / 2);
            /* below the taper's terms the mean, which the analyser takes away before it weighs, is in the transform still */
            for (size_t n = tapered ? 5 : 1; n <= dw_spectrum_highest(s); n++) {
                const struct dw_line line = dw_spectrum_line(s, 0, n);
                const double complex got = line.amplitude / 2 * cexp(I * line.phase);
                /* times are rounded by an ulp of 1 s in a spacing of a ms; a line near half the rate is divided by (2/pi)^2 */
                within_scale(cabs(got - dft[n]), 0, 1e4 * DBL_EPSILON, 1);
            }
            dw_spectrum_free(s);
            dw_header_free(header);
            fftw_free(dft);
            wave_free(&wave);
        }
}
END_TEST

/* Between two lines the flat top is off by 0.0039 dB at most: a fact of its weights, whatever the samples a period. */
START_TEST(a_flat_top_reads_a_sampled_tone_wherever_it_lies)
{
    for (size_t i = 0; i < 5; i++)
        for (double shift = 0; shift < 1; shift += 0.23) {
            struct tone tone = tone_at(i, false);
            struct wave wave = { 0 };
            tone.a_period *= 1 - 0.01 * shift;
            for (size_t k = 0; k < 1500; k++)
                wave_add(&wave, (double)k / RATE, offset + 0.985 * cos(2 * M_PI * (double)k / tone.a_period + phase));
            struct dw_header *header = header_with("sampled", "1000", NULL);
            struct dw_spectrum *s = spectrum_of(header, &(struct dw_spectrum_options){ .taper = DW_TAPER_FLAT_TOP }, &wave);
            double largest = DBL_MIN;
            for (size_t n = 1; n <= dw_spectrum_highest(s); n++)
                largest = fmax(largest, dw_spectrum_line(s, 0, n).amplitude);
            within_scale(20 * log10(largest / 0.985), 0, 0.0039, 1);
            dw_spectrum_free(s);
            dw_header_free(header);
            wave_free(&wave);
        }
}
END_TEST

SUITE("outside: sampled tones", a_long_record_has_the_mean_and_rms_of_all_its_samples,
      samples_without_a_fundamental_have_the_lines_of_their_transform, a_flat_top_reads_a_sampled_tone_wherever_it_lies,
      a_tone_without_noise_is_read_to_a_billionth, noise_moves_a_tone_by_what_cramer_and_rao_allow,
      a_quantised_tone_has_the_effective_bits_of_its_quantiser)
