"""Counterpart of BenchmarkEvaluate: the same evaluation of the same recordings with numpy and scipy, on one core.

Digest, reading, inspection for clipped and flat channels, block-wise joint least squares (harmonics 1 to 5, drift, mains lines that can be
separated) at a frequency refined from the block phases in a second pass, ratio with type A uncertainty, Monte Carlo of the budget.
The least squares is done twice: all blocks in one matrix product (the fastest numpy knows), and one scipy.linalg.lstsq for each block.
"""
import hashlib
import os
import sys
import time

import numpy as np
import scipy.io.wavfile
import scipy.linalg

FULL_SCALE, MAINS, TRIALS, SETS = 10.0, 50.0, 200_000, 2


def regressors(f, fs, size):
    tau = (np.arange(size) - (size - 1) / 2) / fs
    tb = size / fs
    freq = [h * f for h in range(1, 6)]
    freq += [k * MAINS for k in range(1, 11) if all(abs(k * MAINS - h * f) * tb >= 1 for h in range(1, 6))]
    cols = [g(2 * np.pi * x * tau) for x in freq for g in (np.cos, np.sin)]
    return np.stack(cols + [np.ones(size), 2 * tau / tb], axis=1)


def product(x, y):
    n = x.T @ x
    v = y @ x
    beta = np.linalg.solve(n, v.T).T
    s2 = (np.einsum("ij,ij->i", y, y) - np.einsum("ij,ij->i", beta, v)) / (x.shape[0] - x.shape[1])
    return beta, s2


def by_block(x, y):
    out = [scipy.linalg.lstsq(x, row) for row in y]
    beta = np.array([o[0] for o in out])
    return beta, np.array([np.sum((row - x @ b) ** 2) for row, b in zip(y, beta)]) / (x.shape[0] - x.shape[1])


def evaluate(path, solve, size=24000):
    raw = open(path, "rb").read()
    hashlib.sha256(raw).hexdigest()
    fs, data = scipy.io.wavfile.read(path)
    data = data.astype(np.float64) / 2**31 * FULL_SCALE
    for c in range(2):
        y = data[:, c]
        assert np.ptp(y) > 0 and np.count_nonzero(np.abs(y) >= FULL_SCALE * (1 - 2**-23)) < 2
    blocks = len(data) // size
    t = np.arange(blocks) * size / fs
    f = 80.0
    for _ in range(2):
        x = regressors(f, fs, size)
        z = []
        for c in range(2):
            y = data[: blocks * size, c].reshape(blocks, size)
            beta, s2 = solve(x, y - y[:, :1])
            z.append((beta[:, 0] - 1j * beta[:, 1]) * np.exp(-2j * np.pi * f * t))
        f += np.polyfit(t, np.unwrap(np.angle(z[1])), 1)[0] / 2 / np.pi
    ln = np.log(z[1] / z[0])
    u = ln.std(ddof=1) / np.sqrt(blocks)
    r = np.random.Generator(np.random.PCG64(1))
    for _ in range(SETS):
        s = np.ones(TRIALS, complex)
        for _ in range(4):
            s *= 1 + 0.002 * r.standard_normal(TRIALS) + 1e-3j * r.standard_normal(TRIALS)
        for _ in range(8):
            s *= 1 + 1e-3 * (2 * r.random(TRIALS) - 1) + 1e-3j * (2 * r.random(TRIALS) - 1)
        for _ in range(2):
            s *= 1 + 1e-3 * np.sin(2 * np.pi * r.random(TRIALS)) + 1e-3j * np.sin(2 * np.pi * r.random(TRIALS))
        m, p = np.abs(s), np.angle(s)
        k = (TRIALS // 44, TRIALS - TRIALS // 44)
        np.partition(m, k), np.partition(p, k)
    return ln.mean(), u


def main():
    base = os.environ.get("PLUMBLINE_BENCH_DIR")
    if not base:
        sys.exit("PLUMBLINE_BENCH_DIR: the folder BenchmarkEvaluate wrote to")
    for seconds in (60, 600):
        path = os.path.join(base, f"{seconds}s", "recordings", "80Hz.wav")
        for name, solve in (("evaluate", product), ("evaluate by lstsq", by_block)):
            best = 1e9
            for _ in range(3 if seconds == 60 else 1):
                start = time.perf_counter()
                evaluate(path, solve)
                best = min(best, time.perf_counter() - start)
            print(f"{name} {seconds}s: {best * 1e3:.1f} ms")


main()
