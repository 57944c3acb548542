"""The least squares of package sine with scipy, as an outside reference.

Reads one JSON object: rate, size, freq (Hz, harmonics first), harmonics, drift, samples (base64 of float64, one string a channel), blocks (or else batch).
blocks: per block and channel the harmonics' complex amplitudes about the first sample [[re, im], ...], residual variance, squared moduli of the mains lines.
batch: frequency and amplitudes of a nonlinear fit of the whole record, one frequency for all channels, samples weighted alike.
"""
import base64
import json
import sys

import numpy as np
import scipy.linalg
import scipy.optimize
from numpy.polynomial import legendre


def columns(tau, freq, drift, length):
    x = []
    for f in freq:
        x += [np.cos(2 * np.pi * f * tau), np.sin(2 * np.pi * f * tau)]
    for k in range(drift + 1):
        x.append(legendre.legval(2 * tau / length, [0] * k + [1]))
    return np.column_stack(x)


def blocks(p, samples):
    rate, size, freq, h = p["rate"], p["size"], p["freq"], p["harmonics"]
    tau = (np.arange(size) - (size - 1) / 2) / rate
    x = columns(tau, freq, p["drift"], size / rate)
    out = []
    for b in range(len(samples[0]) // size):
        centre = (b * size + (size - 1) / 2) / rate
        row = []
        for y in samples:
            y = y[b * size:(b + 1) * size]
            beta, _, rank, _ = scipy.linalg.lstsq(x, y)
            assert rank == x.shape[1]
            r = y - x @ beta
            z = [(beta[2 * k] - 1j * beta[2 * k + 1]) * np.exp(-2j * np.pi * freq[k] * centre) for k in range(h)]
            hum = [beta[2 * k] ** 2 + beta[2 * k + 1] ** 2 for k in range(h, len(freq))]
            row.append({"z": [[v.real, v.imag] for v in z], "variance": r @ r / (size - x.shape[1]), "hum": hum})
        out.append(row)
    return out


def batch(p, samples):
    rate, n, h = p["rate"], len(samples[0]), p["harmonics"]
    t = np.arange(n) / rate
    start = p["freq"][0]

    def solve(df):
        freq = [(k + 1) * (start + df) for k in range(h)] + p["freq"][h:]
        x = columns(t - n / rate / 2, freq, p["drift"], n / rate)
        return x, [scipy.linalg.lstsq(x, y)[0] for y in samples]

    def residual(d):
        x, beta = solve(d[0] * rate / n)
        return np.concatenate([y - x @ b for y, b in zip(samples, beta)])

    r = scipy.optimize.least_squares(residual, [0.0], method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    df = r.x[0] * rate / n
    _, beta = solve(df)
    turn = np.exp(2j * np.pi * (start + df) * n / rate / 2)
    z = [(b[0] - 1j * b[1]) * np.conj(turn) for b in beta]
    return {"frequency": start + df, "z": [[v.real, v.imag] for v in z]}


def main():
    p = json.load(sys.stdin)
    samples = [np.frombuffer(base64.b64decode(s), "<f8") for s in p["samples"]]
    json.dump({"blocks": blocks(p, samples)} if p["blocks"] else {"batch": batch(p, samples)}, sys.stdout)


main()
