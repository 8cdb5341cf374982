/* SPDX-License-Identifier: GPL-3.0-or-later */
/* FFTW (Frigo and Johnson 2005, Proc. IEEE 93:216) over 2^22 points, real and complex, as planned without measuring; only the
 * transform is timed. A unit of work is one transform. */
#include "bench.h"
#include <fftw3.h>
#include <math.h>

enum { POINTS = 1 << 22 };

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    double *real = fftw_alloc_real(POINTS);
    fftw_complex *lines = fftw_alloc_complex(POINTS / 2 + 1), *in = fftw_alloc_complex(POINTS), *out = fftw_alloc_complex(POINTS);
    bench_demand(real && lines && in && out, "out of memory");
    fftw_plan of_real = fftw_plan_dft_r2c_1d(POINTS, real, lines, FFTW_ESTIMATE | FFTW_PRESERVE_INPUT);
    fftw_plan of_complex = fftw_plan_dft_1d(POINTS, in, out, FFTW_FORWARD, FFTW_ESTIMATE | FFTW_PRESERVE_INPUT);
    for (int i = 0; i < POINTS; i++) {
        real[i] = in[i][0] = cos(2 * M_PI * 7 * i / POINTS);
        in[i][1] = 0;
    }
    for (int round = 0; round < rounds; round++) {
        const double start = bench_clock();
        fftw_execute(of_real);
        const double middle = bench_clock();
        fftw_execute(of_complex);
        const double end = bench_clock();
        bench_demand(fabs(lines[7][0] / POINTS - 0.5) < 1e-9 && fabs(out[7][0] / POINTS - 0.5) < 1e-9, "a transform is wrong");
        bench_time("transform", "real", middle - start);
        bench_time("transform", "complex", end - middle);
    }
    fftw_destroy_plan(of_real);
    fftw_destroy_plan(of_complex);
    fftw_free(real);
    fftw_free(lines);
    fftw_free(in);
    fftw_free(out);
    return 0;
}
