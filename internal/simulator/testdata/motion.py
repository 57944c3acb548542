"""Equation of motion of an electrodynamic exciter, solved by scipy's DOP853. Reads a case as JSON, writes displacement (m) and velocity (m/s) at the times asked for."""
import json
import math
import sys

from scipy.integrate import solve_ivp

c = json.load(sys.stdin)
m, k = c["mass"], c["mass"] * (2 * math.pi * c["resonance"]) ** 2
half = c["stroke"] / 2
d = 2 * c["damping"] * math.sqrt(k * m)
wall = m * (2 * math.pi * c["hard"]) ** 2


def motion(t, y):
    x, v = y
    u = c["drive"] * min(1.0, t / c["ramp"]) * math.cos(2 * math.pi * c["frequency"] * t)
    i = u if c["current"] else (u - c["force"] * v) / c["resistance"]
    i = max(-c["limit"], min(c["limit"], i))
    f = c["force"] * i - d * v - k * x * (1 + c["asymmetry"] * x / half + c["hardening"] * (x / half) ** 2)
    over = abs(x) - c["stop"]
    if over > 0:
        side = math.copysign(1.0, x)
        f -= side * wall * over * max(0.0, 1 + c["dead"] * v * side)
    return [v, f / m]


s = solve_ivp(motion, (0, c["times"][-1]), [0.0, 0.0], method="DOP853", t_eval=c["times"], rtol=1e-10, atol=1e-13, max_step=5e-4)
json.dump({"x": list(s.y[0]), "v": list(s.y[1])}, sys.stdout)
