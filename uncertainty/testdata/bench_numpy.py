"""Counterpart of BenchmarkTrials: the same twelve-input product model, vectorised, one million trials on one core.

Run with one thread: OMP_NUM_THREADS=1 python3 bench_numpy.py
"""
import time

import numpy as np

M = 1_000_000
r = np.random.Generator(np.random.PCG64(1))


def trials():
    y = np.full(M, 10.0)
    for s in (0.0035, 0.0005, 0.0009):
        y *= 1 + s * r.standard_normal(M)
    for a in (0.002, 0.002, 0.0016, 0.0003, 0.0003, 0.00024, 0.0001):
        y *= 1 + a * (2 * r.random(M) - 1)
    y *= 1 + 0.006 * np.sin(np.pi * (r.random(M) - 0.5))
    y *= 1 - (1000 / (8000 + 12000 * r.random(M))) ** 2
    return y


def summary(y):
    y = np.partition(y, (M // 40, M - M // 40))
    return y.mean(), y.std(ddof=1), y[M // 40], y[M - M // 40]


def best_of(f, runs=7):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        f()
        times.append(time.perf_counter() - start)
    return min(times)


trials()
for name, f in (("trials", trials), ("trials and two quantiles", lambda: summary(trials()))):
    best = best_of(f)
    print(f"{name}: {best * 1e3:.1f} ms, {M / best / 1e6:.1f} million trials/s")
