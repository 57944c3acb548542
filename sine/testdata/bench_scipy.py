"""The work of BenchmarkAccumulator with numpy and scipy, on one core: blocks of whole cycles, joint least squares with the same regressors, residual variances,
rejection, frequency refined from the block phases, ratio with its standard deviation.

batched: all blocks at once, one matrix product and normal equations. lstsq: scipy.linalg.lstsq for each block.
Prints one line for each: NAME: best of several runs in ms, samples/s. Arguments choose lines by their beginning.
"""
import os
import sys
import time

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np
import scipy.linalg

CASES = {  # rate, f, block in samples, mains lines, seconds: as sine.Settings chooses them
    "mains": (48000, 97, 24247, [50 * k for k in range(1, 11)], 20),
    "plain": (48000, 97, 24247, [], 20),
    "slow": (48000, 1, 96000, [], 20),
    "low rate": (1000, 1, 2000, [50 * k for k in range(1, 10)], 60),
}
HARMONICS, DRIFT = 5, 1


def regressors(rate, f, size, mains):
    tau = (np.arange(size) - (size - 1) / 2) / rate
    x = []
    for line in [h * f for h in range(1, HARMONICS + 1)] + mains:
        x += [np.cos(2 * np.pi * line * tau), np.sin(2 * np.pi * line * tau)]
    u = 2 * tau * rate / size
    x += [np.ones(size), u][:DRIFT + 1]
    return np.asfortranarray(np.column_stack(x))


def batched(y, rate, f, size, mains):
    x = regressors(rate, f, size, mains)
    inverse = np.linalg.inv(x.T @ x)
    beta, variance = [], []
    for c in y:
        n = len(c) // size
        d = c[:n * size].reshape(n, size)
        d = d - d[:, :1]
        v = d @ x
        b = v @ inverse
        q = np.einsum("ij,ij->i", d, d)
        beta.append(b)
        variance.append((q - np.einsum("ij,ij->i", b, v)) / (size - x.shape[1]))
    return finish(np.array(beta), np.array(variance), rate, f, size)


def lstsq(y, rate, f, size, mains):
    x = regressors(rate, f, size, mains)
    n = len(y[0]) // size
    beta, variance = np.empty((len(y), n, x.shape[1])), np.empty((len(y), n))
    for c, samples in enumerate(y):
        for b in range(n):
            d = samples[b * size:(b + 1) * size]
            beta[c, b] = scipy.linalg.lstsq(x, d)[0]
            r = d - x @ beta[c, b]
            variance[c, b] = r @ r / (size - x.shape[1])
    return finish(beta, variance, rate, f, size)


def finish(beta, variance, rate, f, size):
    n = beta.shape[1]
    t = (np.arange(n) * size + (size - 1) / 2) / rate
    median = np.median(variance, axis=1)
    ok = np.all(variance <= 9 * median[:, None], axis=0)
    z = ((beta[:, :, 0] - 1j * beta[:, :, 1]) * np.exp(-2j * np.pi * f * t))[:, ok]
    t = t[ok]
    w = 1 / median
    df = np.angle(np.sum(w[:, None] * z[:, 1:] * np.conj(z[:, :-1]))) * rate / size / (2 * np.pi)
    for _ in range(2):
        p = z * np.exp(-2j * np.pi * df * t)
        phase = np.angle(np.sum(w[:, None] * p * np.conj(p.mean(axis=1, keepdims=True)), axis=0))
        df += np.polyfit(t, phase, 1)[0] / (2 * np.pi)
    ratio = z[1] / z[0]
    return f + df, ratio.mean(), np.log(ratio).std(ddof=1) / np.sqrt(len(ratio))


def main():
    rng = np.random.default_rng(1)
    for name, (rate, f, size, mains, seconds) in CASES.items():
        n = rate * seconds
        t = np.arange(n) / rate
        w = 2 * np.pi * f * (1 + 1e-6) * t
        hum = 0.01 * np.cos(2 * np.pi * 50 * t)
        y = [10 + np.cos(w) + hum + 1e-3 * rng.standard_normal(n), 2 * np.cos(w - 0.3) + hum + 1e-3 * rng.standard_normal(n)]
        for way in (batched, lstsq):
            line = name + " " + way.__name__
            if len(sys.argv) > 1 and not any(line.startswith(a) for a in sys.argv[1:]):
                continue
            best, spent = float("inf"), 0.0
            while spent < 1.0:
                start = time.perf_counter()
                way(y, rate, f, size, mains)
                took = time.perf_counter() - start
                best, spent = min(best, took), spent + took
            print(f"{line}: {best * 1e3:.3f} ms, {2 * n / best:.4g} samples/s", flush=True)


main()
