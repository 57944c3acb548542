"""Check values by other means than the package's: matrices of numpy, distributions and quadrature of scipy. Prints JSON."""
import json
import numpy as np
from scipy import integrate, optimize, stats

out = {}

# Generalised least squares of six results under two reference certificates, as TestAgainstScipy has them.
x = np.array([-5.1, -4.0, -3.05, -2.0, -0.9, 0.0])
y = np.log(np.array([1.0021, 1.0008, 1.0012, 0.9990, 0.9981, 0.9987]) / 1.0021)
std = np.array([2.5, 2.2, 2.0, 2.2, 1.8, 1.9]) * 1e-3
common = np.array([2.0, 2.0, 1.7, 1.5, 1.5, 1.5]) * 1e-3
group = np.array([0, 0, 0, 1, 1, 1])
C = np.where(group[:, None] == group[None, :], np.outer(common, common), 0)
D = np.diag(std**2 - common**2)
X = np.column_stack([np.ones(6), x])


def gls(V):
    W = np.linalg.inv(V)
    cov = np.linalg.inv(X.T @ W @ X)
    beta = cov @ X.T @ W @ y
    r = y - X @ beta
    return beta, cov, r @ W @ r, cov @ X.T @ W


beta, cov, chi2, _ = gls(C + D)
out["stated"] = {"a": beta[0], "b": beta[1], "ua": cov[0, 0]**0.5, "ub": cov[1, 1]**0.5, "r": cov[0, 1] / (cov[0, 0] * cov[1, 1])**0.5, "chi2": chi2,
                 "p_scatter": stats.chi2.sf(chi2, 4), "p": 2 * stats.norm.sf(abs(beta[1]) / cov[1, 1]**0.5)}

# The same with the scatter of the independent parts: chi-squared is its degrees of freedom.
tau2 = optimize.brentq(lambda t: gls(C + t * D)[2] - 4, 1e-4, 1e4, xtol=1e-14)
beta, cov, chi2, H = gls(C + tau2 * D)
t = 1.0
w = np.array([1, t]) @ H
normal, scale = (w @ C @ w)**0.5, (tau2 * (w @ D @ w))**0.5
scale = np.hypot(scale, (max(0, tau2 - 1) * 6 / np.sum(1 / np.diag(D)))**0.5)


def cdf(z, normal, scale, dof):
    f = lambda v: stats.norm.pdf(v) * stats.t.cdf((z - v * normal) / scale, dof)
    return integrate.quad(f, -12, 12, epsabs=1e-13, epsrel=1e-12, limit=400, points=[0, z / normal])[0]


m = 1.0021 * np.exp(beta @ [1, t])
out["scatter"] = {"tau": tau2**0.5, "modulus": m, "u": np.hypot(normal, scale), "within": cdf(np.log(1.001 / m), normal, scale, 4) - cdf(np.log(0.996 / m), normal, scale, 4),
                  "half": optimize.brentq(lambda h: cdf(h, normal, scale, 4) - 0.975, 1e-3, 1e-1, xtol=1e-13)}
out["mixtures"] = [[n, s, d, z, cdf(z, n, s, d)] for n, s, d, z in [(1, 1, 1, 2), (1, 0.2, 3, -1.5), (0.1, 1, 1, 30), (1, 0.02, 1, 2.5), (3, 0.5, 9, -7), (0.001, 1, 2, 0.3)]]

# Benjamini and Hochberg's adjusted probabilities.
p = np.array([0.001, 0.012, 0.9, 0.03, 0.04, 0.2, 0.011])
order = np.argsort(p)
raw = p[order] * len(p) / np.arange(1, len(p) + 1)
adjusted = np.empty(len(p))
adjusted[order] = np.minimum(1, np.minimum.accumulate(raw[::-1])[::-1])
out["adjusted"] = list(adjusted)
v = [1.02, 0.97, 1.0, 1.05, 0.99, 1.4]
out["robust"] = [np.median(v), stats.median_abs_deviation(v, scale="normal")]


# Average run length of the EWMA by a Markov chain (Brook and Evans 1972), extrapolated in the number of states.
def chain(lam, L, shift, n):
    h = L * np.sqrt(lam / (2 - lam))
    w = 2 * h / n
    c = -h + w * (np.arange(n) + 0.5)
    upper = (c[None, :] + w / 2 - (1 - lam) * c[:, None]) / lam - shift
    Q = stats.norm.cdf(upper) - stats.norm.cdf(upper - w / lam)
    return np.linalg.solve(np.eye(n) - Q, np.ones(n))[n // 2]


def run_length(lam, L, shift):
    a, b = chain(lam, L, shift, 201), chain(lam, L, shift, 403)
    return b + (b - a) / ((403 / 201)**2 - 1)


out["lengths"] = [[lam, L, s, run_length(lam, L, s)] for lam, L, s in [(0.1, 2.814, 0), (0.1, 2.814, 1), (0.25, 2.998, 0), (0.25, 2.998, 0.5), (0.4, 3.054, 2), (0.2, 3, 0)]]

# Charts by loops in other words.
rng = np.random.default_rng(20261125)
base, new = 10 + 0.03 * rng.standard_normal(24), 10.02 + 0.03 * rng.standard_normal(12)
sigma = np.mean(np.abs(np.diff(base))) * np.sqrt(np.pi) / 2
z, path = base.mean(), []
for i, value in enumerate(new):
    z = z + 0.2 * (value - z)
    path.append([z, base.mean() + 2.7 * sigma * np.sqrt(sum((0.2 * 0.8**k)**2 for k in range(i + 1)))])
out["chart"] = {"base": list(base), "new": list(new), "sigma": sigma, "path": path}
print(json.dumps(out))
