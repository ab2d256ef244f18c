"""Draws one uncertainty budget with our Monte Carlo and with numpy, times both
and compares what they say.

Called as `bench_budget.py PATH-TO-monte_carlo_speed`; tests/figures can call it
the same way. Prints one JSON object: seconds of 200 000 trials each way, their
ratio, and how far standard and expanded uncertainty are apart, also in units
of what sampling makes of them. The example prints the budget (ten shares) and
our answers; this script draws the very same shares.

numpy at its best: the fastest of its generators as measured here first, its
own vectorised draws, arrays reused, sums in place, a partial sort for the tails
instead of a whole one if that is faster, and normal shares merged into one as
ours are. Both give mean, standard deviation, the probabilistically symmetric
and the shortest interval of 95.45 %. Ours draws a rectangular share from 32 bits,
numpy from 53. One thread each. Seconds are the least of
many runs each way, what other programs on the machine disturb least; the
medians stand beside them.
"""

import os

# One thread, set before numpy is loaded.
for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ[library + "_NUM_THREADS"] = "1"

import json
import math
import statistics
import subprocess
import sys
import time
from functools import partial

import numpy as np

COVERAGE = 0.9545
REPEATS = 101
GENERATORS = (np.random.SFC64, np.random.PCG64DXSM, np.random.PCG64, np.random.Philox)


class Trials:
    """The shares, and arrays kept from run to run."""

    def __init__(self, shares, trials, merged):
        self.sum, self.part = np.empty(trials), np.empty(trials)
        normals = [share for share in shares if share["shape"] == "normal"]
        self.shares = shares
        if merged and len(normals) > 1:
            one = {"shape": "normal", "size": math.hypot(*(n["size"] for n in normals))}
            self.shares = [s for s in shares if s["shape"] != "normal"] + [one]

    def rectangular(self, rng, half):
        """Adds numbers from -half to half; the middle is taken off at the end."""
        rng.random(out=self.part)
        self.part *= 2 * half
        self.sum += self.part
        return half

    def draw(self, rng):
        self.sum[:] = 0
        middle = 0.0
        for share in self.shares:
            size = share["size"]
            if share["shape"] == "rectangular":
                middle += self.rectangular(rng, size)
            elif share["shape"] == "triangular":
                middle += self.rectangular(rng, size / 2) + self.rectangular(rng, size / 2)
            elif share["shape"] == "normal":
                rng.standard_normal(out=self.part)
                self.part *= size
                self.sum += self.part
            else:
                part = rng.standard_t(share["dof"], size=len(self.part))
                part *= size
                self.sum += part
        self.sum -= middle
        return self.sum


def tails_sorted(y, starts):
    y.sort()
    return y[:starts], y[-starts:]


def tails_parted(y, starts):
    y.partition((starts - 1, len(y) - starts))
    low, high = y[:starts], y[-starts:]
    low.sort()
    high.sort()
    return low, high


def evaluate(y, tails):
    mean, u = y.mean(), y.std(ddof=1)
    starts = len(y) - round(COVERAGE * len(y))
    low, high = tails(y, starts)
    at = (starts + 1) // 2 - 1
    shortest = (high - low).min()
    return mean, u, (high[at] - low[at]) / 2, shortest / 2


def once(drawn, rng, tails):
    return evaluate(drawn.draw(rng), tails)


def least(call, repeats):
    seconds = []
    for _ in range(repeats):
        began = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - began)
    return min(seconds), statistics.median(seconds)


def main():
    said = subprocess.run(sys.argv[1:2], check=True, capture_output=True, text=True).stdout
    ours = json.loads(said)
    trials, shares = ours["trials"], ours["shares"]
    assert trials == 200_000 and len(shares) == 10
    ways = []
    for merged in (True, False):
        drawn = Trials(shares, trials, merged)
        for kind in GENERATORS:
            rng = np.random.Generator(kind(20))
            for tails in (tails_sorted, tails_parted):
                run = partial(once, drawn, rng, tails)
                ways.append((least(run, 7)[0], merged, kind.__name__, tails.__name__, run))
    _, merged, kind, tails, run = min((way for way in ways if way[1]), key=lambda way: way[0])
    best, median = least(run, REPEATS)
    plain_run = min((way for way in ways if not way[1]), key=lambda way: way[0])[-1]
    plain, plain_median = least(plain_run, REPEATS)
    theirs = np.array([run() for _ in range(REPEATS)]).T
    mine = np.array([ours[what] for what in ("mean", "u", "symmetric", "shortest")])
    agreement = {}
    for what, a, b in zip(("mean", "u", "symmetric", "shortest"), mine, theirs):
        sampling = math.hypot(a.std(ddof=1) / len(a) ** 0.5, b.std(ddof=1) / len(b) ** 0.5)
        agreement[what] = {
            "ours": float(a.mean()),
            "numpy": float(b.mean()),
            "apart": float(a.mean() - b.mean()),
            "apart_by_sampling": float((a.mean() - b.mean()) / sampling),
            "scatter_of_one_run": float(a.std(ddof=1)),
            "scatter_of_one_numpy_run": float(b.std(ddof=1)),
        }
    print(json.dumps({
        "version": {"numpy": np.__version__},
        "trials": trials,
        "shares": len(shares),
        "ours": {"seconds": ours["best_seconds"], "median": ours["seconds"]},
        "numpy": {"seconds": best, "median": median, "generator": kind, "tails": tails},
        "numpy_as_written": {"seconds": plain, "median": plain_median},
        "ratio": best / ours["best_seconds"],
        "ratio_as_written": plain / ours["best_seconds"],
        "budget": ours["budget"],
        "agreement": agreement,
        "agrees": all(abs(one["apart_by_sampling"]) < 4 for one in agreement.values()),
    }))


main()
