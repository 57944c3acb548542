"""Quantiles and probabilities of scipy, as JSON, to compare with."""
import json

from scipy import stats

dofs = [0.7, 1, 1.5, 2, 2.37, 3.3, 4.81, 7.77, 16.752, 25.447, 99.5, 1234.5, 87654.3, 999999.0, 2e6]
probabilities = [0.5, 0.6827, 0.9, 0.95, 0.9545, 0.99, 0.9973, 0.9999]
points = [-40.0, -6.5, -3.29, -1.4, -0.1, 0.0, 0.7, 1.96, 2.0, 5.0]
print(json.dumps({
    "coverage": [[p, v, stats.t.ppf(0.5 + p / 2, v)] for v in dofs for p in probabilities],
    "student": [[t, v, stats.t.cdf(t, v)] for v in dofs for t in points],
    "quantile": [[p, stats.norm.ppf(p)] for p in [1e-6, 0.001, 0.025, 0.31, 0.5, 0.8, 0.975, 0.9995]],
    "normal": [[z, stats.norm.cdf(z)] for z in points if z > -38],
    "ellipsoid": [[p, m, stats.chi2.ppf(p, m) ** 0.5] for p in (0.5, 0.95, 0.9545, 0.99) for m in (1, 2, 3, 7)],
}))
