"""Solves one session with our joint solution and with numpy and scipy, and
times both and our search for a plan, in one call.

Called by tests/figures as `bench_joint.py PATH-TO-joint_speed`. Prints one
JSON object: seconds of one solution each way, their ratio, by how much the
answers differ, and the seconds of a plan. The example prints the session
(200 captures of 32 loads made of 20 weights) and our answers; this script
solves the very same numbers. Seconds are the least of many runs each way, what
other programs on the machine disturb least; the medians stand beside them.

The model is ours, written anew from its formulas as one would with numpy:
one dense row of factors a capture, normal equations by matrix product,
LAPACK's Cholesky factor and inverse, scipy.optimize for the likeliest scatter.
Both begin with the captures and end with the full covariance of all unknowns,
averaged over the lattice of scatters around the likeliest. Ours runs on one
thread, so does numpy here (its matrices are too small to gain by more).

"The same answer": masses agree to 1e-9 of Max, the rest (standard
uncertainties, sizes of the scatter) to 1e-9 of itself.
"""

import os

# One thread, set before numpy is loaded.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ[library + "_NUM_THREADS"] = "1"

import json
import statistics
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy.linalg import cho_factor, cho_solve, cholesky, lapack, solve_triangular
from scipy.optimize import minimize, root

REPEATS = 15
APART, MOST_SUPPORTS = 0.01, 32
LOOP_SD, CREEP_SD = 5e-4, 2e-4
HALF_PLAYS = np.array([1 / 16, 3 / 16])
CREEP_S = np.array([60.0, 600.0])
FRESH_S = 10.0
SPREAD = np.array([2.0, 1.0, 1.2])
STEP, FALL, LEAST_CURVATURE, FARTHEST = 0.05, 9.2, 0.1, 6


def kernel(s, t):
    """Covariance of a process whose third derivative is white noise."""
    a, d = np.minimum(s, t).clip(0), np.abs(s - t)
    return a**3 * (a**2 / 5 + d * a / 2 + d**2 / 3) / 4


class Curve:
    """The curve as a sum over whitened supports and a parabola."""

    def __init__(self, counts):
        self.unit = counts.max()
        joined = []
        for at in np.sort(counts[counts > APART * self.unit] / self.unit):
            if joined and at - joined[-1][0] <= APART:
                mean, count = joined[-1]
                joined[-1] = (mean + (at - mean) / (count + 1), count + 1)
            else:
                joined.append((at, 1))
        at = np.array([mean for mean, _ in joined])
        while len(at) > MOST_SUPPORTS:
            i = np.diff(at).argmin()
            at[i] = 0.5 * (at[i] + at[i + 1])
            at = np.delete(at, i + 1)
        self.at = at
        self.factor = cholesky(kernel(at[:, None], at), lower=True)

    def rows(self, counts):
        """Factors over supports and parabola, and the variance left open."""
        t = counts / self.unit
        smooth = solve_triangular(self.factor, kernel(self.at[:, None], t), lower=True)
        left = (kernel(t, t) - (smooth**2).sum(0)).clip(0)
        return np.column_stack([smooth.T, t, t * t]), left


def past(shares, stays, at_s, rested_s):
    """Departure from the middle of the loop, creep, and who came from above."""
    positions, creep = HALF_PLAYS.copy(), np.zeros(2)
    plays = 2 * HALF_PLAYS
    fresh = 1 - np.exp(-FRESH_S / CREEP_S)
    out = np.zeros((len(shares), 3))
    above = 0
    for i, share in enumerate(shares):
        if i:
            was = shares[i - 1]
            positions = np.clip(positions, stays[i] - HALF_PLAYS, stays[i] + HALF_PLAYS)
            above += 0 < share < was and stays[i] >= share * (1 - 1e-9)
            between = at_s[i] - at_s[i - 1]
            rested = min(max(rested_s[i], 0.0), between)
            creep = was + (creep - was) * np.exp((rested - between) / CREEP_S)
        else:
            rested = rested_s[i]
        creep = share + (creep - share) * np.exp(-rested / CREEP_S)
        positions = np.clip(positions, share - HALF_PLAYS, share + HALF_PLAYS)
        if share <= 0:
            middle = share
        elif share >= 1:
            middle = share - plays
        else:
            middle = 0.5 * (np.maximum(share - plays, 0) + np.minimum(share, 1 - plays))
        out[i, 0] = ((positions - HALF_PLAYS - middle) / plays).mean()
        out[i, 1:] = creep - fresh * share
    return out, above >= 2


class Session:
    """Rows of factors, stated masses and what is known beforehand."""

    def __init__(self, problem):
        max_g = problem["max_g"]
        masses = np.array(problem["mass_g"]) / max_g
        counts, at_s = np.array(problem["counts"]), np.array(problem["at_s"])
        n, bodies = len(counts), len(masses)
        on_pan = np.zeros((n, bodies))
        for row, load in zip(on_pan, problem["loads"]):
            row[load] = 1
        self.load = on_pan @ masses
        empty = ~on_pan.any(1)
        net = counts - counts[empty][0]
        self.curve = Curve(net[~empty])
        self.supports = len(self.curve.at)
        curve_rows, _ = self.curve.rows(net)
        stays = np.zeros(n)
        stays[1:] = (on_pan[1:] * on_pan[:-1]) @ masses
        history, with_loop = past(self.load, stays, at_s, problem["rested_s"])
        # What this script leaves out: a session that never came from above,
        # and one that captures a load twice without moving it.
        assert with_loop and not (on_pan[1:] == on_pan[:-1]).all(1).any()
        zero_s = at_s[empty]
        zeros = np.zeros((n, len(zero_s)))
        before = (np.searchsorted(zero_s, at_s, "right") - 1).clip(0)
        after = (before + 1).clip(max=len(zero_s) - 1)
        between = np.maximum(zero_s[after] - zero_s[before], 1e-300)
        share = ((at_s - zero_s[before]) / between).clip(0, 1)
        zeros[np.arange(n), before] = 1 - share
        zeros[np.arange(n), after] += share
        self.x = np.hstack([curve_rows, -on_pan, -zeros, -history])
        self.bodies = self.supports + 2
        self.loop = self.bodies + bodies + len(zero_s)
        # Precision of what is known; nought for parabola and zeros.
        self.prior = np.zeros(self.x.shape[1])
        known = np.maximum(np.array(problem["within_g"]) / np.sqrt(3) / max_g, 1e-9)
        self.prior[self.bodies : self.bodies + bodies] = known**-2
        self.prior[self.loop :] = [LOOP_SD**-2, CREEP_SD**-2, CREEP_SD**-2]
        top = net.argmax()
        slope = self.load[top] / net[top]
        self.converter = (np.array(problem["sd_counts"]) ** 2).mean() * slope**2
        own = max(np.sqrt(self.converter), 0.01 * problem["e_g"] / max_g)
        self.centre = np.log([0.03, own, 7e-5])
        self.log_prior = np.log(self.prior[self.prior > 0]).sum()
        # Counted from a first solution, in what has no prior: keeps digits.
        self.start, self.y = np.zeros(self.x.shape[1]), self.load
        rough = self.solve(self.centre)[1]
        fixed = self.prior > 0
        fixed[: self.supports] = True
        self.start = np.where(fixed, 0.0, rough)
        self.y = self.load - self.x @ self.start

    def variances(self, logs):
        own, share = np.exp(2 * logs[1:])
        return own, share * self.load**2, self.converter + own + share * self.load**2

    def solve(self, logs):
        """Log of restricted likelihood and belief, unknowns, Cholesky factor."""
        v = self.variances(logs)[2]
        root_w = 1 / np.sqrt(v)
        a, y = self.x * root_w[:, None], self.y * root_w
        h, b = a.T @ a, a.T @ y
        diagonal = h.reshape(-1)[:: len(h) + 1]
        diagonal += self.prior
        diagonal[: self.supports] += np.exp(-2 * logs[0])
        factor = cho_factor(h, lower=True, overwrite_a=True, check_finite=False)
        x = cho_solve(factor, b, check_finite=False)
        log_h = 2 * np.log(np.diagonal(factor[0])).sum()
        log_h += 2 * self.supports * logs[0] - self.log_prior
        belief = (((logs - self.centre) / SPREAD) ** 2).sum()
        log = -0.5 * (np.log(v).sum() + log_h + y @ y - b @ x + belief)
        return log, x, factor[0]

    def slopes(self, logs):
        """The log and its slopes."""
        log, x, factor = self.solve(logs)
        c = whole(lapack.dpotri(factor, lower=1)[0])
        own, share, v = self.variances(logs)
        square = (self.y - self.x @ x) ** 2 + ((self.x @ c) * self.x).sum(1)
        per = (square / v - 1) / v
        s = self.supports
        smooth = np.exp(-2 * logs[0]) * (x[:s] @ x[:s] + np.trace(c[:s, :s])) - s
        slopes = np.array([smooth, own * per.sum(), share @ per])
        return log, slopes - (logs - self.centre) / SPREAD**2

    def mode(self):
        """The likeliest scatter: uphill first, then where the slopes vanish."""

        def down(logs):
            log, slopes = self.slopes(logs)
            return -log, -slopes

        found = minimize(down, self.centre, jac=True, method="BFGS", options={"gtol": 1e-3})
        return root(lambda logs: self.slopes(logs)[1], found.x, options={"xtol": 1e-11}).x

    def axes(self, mode, top):
        """Steps of a deviation: the roughness alone, then the captures' two."""

        def log(*steps):
            return self.solve(mode + STEP * np.array(steps))[0]

        unit = np.eye(3)
        sides = [log(*e) + log(*-e) - 2 * top for e in unit]
        bend = np.diag(sides)
        for j, k in ((0, 1), (0, 2), (1, 2)):
            e = unit[j] + unit[k]
            corners = log(*e) + log(*-e) - 2 * top
            bend[j, k] = bend[k, j] = 0.5 * (corners - sides[j] - sides[k])
        values, vectors = np.linalg.eigh(-bend / STEP**2)
        values = values.clip(LEAST_CURVATURE)
        bend = (vectors * values) @ vectors.T
        of_both, both = np.linalg.eigh(np.linalg.inv(bend)[1:, 1:])
        both = both * np.sqrt(of_both)
        follows = -bend[0, 1:] @ both / bend[0, 0]
        return np.block([[bend[0, 0] ** -0.5, follows], [np.zeros((2, 1)), both]])

    def votes(self):
        """Mode, mean and covariance of the unknowns over all scatters that
        count, the mean of tau squared, how many they are."""
        mode = self.mode()
        top = self.solve(mode)[0]
        axes = self.axes(mode, top)
        seen, waiting = {(0, 0, 0)}, [(0, 0, 0)]
        weights, unknowns, taus = [], [], []
        covariance = np.zeros((self.x.shape[1],) * 2)
        while waiting:
            place = waiting.pop()
            logs = mode + axes @ place
            log, x, factor = self.solve(logs)
            if log < top - FALL:
                continue
            weights.append(np.exp(log - top))
            unknowns.append(x)
            taus.append(np.exp(2 * logs[0]))
            covariance += weights[-1] * lapack.dpotri(factor, lower=1)[0]
            for k in range(3):
                for side in (-1, 1):
                    after = (*place[:k], place[k] + side, *place[k + 1 :])
                    if abs(after[k]) <= FARTHEST and after not in seen:
                        seen.add(after)
                        waiting.append(after)
        shares = np.array(weights) / sum(weights)
        mean = shares @ unknowns
        off = unknowns - mean
        covariance = whole(covariance) / sum(weights) + (off.T * shares) @ off
        return np.exp(mode), self.start + mean, covariance, shares @ taus, len(shares)


def whole(lower):
    """Both triangles of a symmetric matrix of which the lower one counts."""
    lower = np.tril(lower)
    return lower + np.tril(lower, -1).T


def answers(session, solution, places, max_g):
    """What the example prints, from a solution."""
    scatter, mean, covariance, tau_square, _ = solution
    rows, left = session.curve.rows(places)
    wide = np.zeros((len(rows), len(mean)))
    wide[:, : rows.shape[1]] = rows
    of_curve = np.sqrt(((wide @ covariance) * wide).sum(1) + left * tau_square)
    u = np.sqrt(np.diag(covariance))
    weights = slice(session.bodies, session.bodies + 20)
    loop, creep = slice(session.loop, session.loop + 1), slice(session.loop + 1, None)
    return {
        "scatter": scatter,
        "curve": {"value": wide @ mean * max_g, "u": of_curve * max_g},
        "weights": {"value": mean[weights] * max_g, "u": u[weights] * max_g},
        "loop": {"value": mean[loop] * max_g, "u": u[loop] * max_g},
        "creep": {"value": mean[creep], "u": u[creep]},
    }


def agreement(ours, theirs, max_g):
    """Largest differences: of masses by Max, of the rest by itself; and, not
    among the largest of all, of values by their own uncertainty."""
    per = {"curve": max_g, "weights": max_g, "loop": max_g, "creep": 1.0}
    apart = lambda kind, what: np.abs(np.array(ours[kind][what]) - theirs[kind][what])
    found = {f"{kind}_by_max": (apart(kind, "value") / size).max() for kind, size in per.items()}
    found |= {f"{kind}_u": (apart(kind, "u") / theirs[kind]["u"]).max() for kind in per}
    found["scatter"] = np.abs(ours["scatter"] / theirs["scatter"] - 1).max()
    found["largest"] = max(found.values())
    found["values_by_u"] = max((apart(kind, "value") / theirs[kind]["u"]).max() for kind in per)
    return {name: float(value) for name, value in found.items()}


def main():
    said = subprocess.run(sys.argv[1:2], check=True, capture_output=True, text=True).stdout
    ours = json.loads(said)
    problem = ours["problem"]
    assert len(problem["counts"]) == 200 and len(problem["mass_g"]) == 20
    seconds = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        session = Session(problem)
        solution = session.votes()
        seconds.append(time.perf_counter() - began)
    assert session.supports == 32, "not 32 knots"
    max_g = problem["max_g"]
    theirs = answers(session, solution, np.array(ours["places"]), max_g)
    print(json.dumps({
        "version": {"numpy": np.__version__, "scipy": scipy.__version__},
        "unknowns": len(solution[1]),
        "scatters": solution[4],
        "ours": {"seconds": ours["best_seconds"], "median": ours["seconds"]},
        "numpy": {"seconds": min(seconds), "median": statistics.median(seconds)},
        "ratio": min(seconds) / ours["best_seconds"],
        "agreement": agreement(ours["answers"], theirs, max_g),
        "plan": ours["plan"],
    }))


main()
