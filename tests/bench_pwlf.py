"""Times our fit and the package pwlf on the same 40 observations, in one call.

Called by tests/figures as `bench_pwlf.py PATH-TO-fit_speed`. Prints one JSON
object: for each way the seconds of one fit (the median) and its residual sum
of squares. Both fit four continuous straight segments, breakpoints included,
to NIST StRD Pontius: x = deflection, y = load. pwlf offers a global search
(`fit`) and a faster one from several starts (`fitfast`); both are timed,
imports and the first call left out. Its seed is fixed.
"""

import importlib.metadata
import json
import pathlib
import statistics
import subprocess
import sys
import time

import numpy
import pwlf

SEGMENTS = 4
REPEATS = 3
SEED = 1
DATA = pathlib.Path(__file__).parent / "reference" / "strd" / "Pontius.dat"


def observations():
    """Deflections and loads: lines 61 to 100 of the data file."""
    lines = DATA.read_text().splitlines()[60:100]
    return numpy.array([[float(word) for word in line.split()] for line in lines]).T


def timed(x, y, search):
    """Median seconds, and the least residual sum of squares of all repeats."""
    seconds, squares = [], []
    for repeat in range(REPEATS):
        model = pwlf.PiecewiseLinFit(x, y, seed=SEED + repeat)
        began = time.perf_counter()
        getattr(model, search)(SEGMENTS)
        seconds.append(time.perf_counter() - began)
        squares.append(float(model.ssr))
    return {"seconds": statistics.median(seconds), "rss": min(squares)}


def main():
    said = subprocess.run(
        [sys.argv[1], str(SEGMENTS)], check=True, capture_output=True, text=True
    ).stdout
    ours = json.loads(said)
    x, y = observations()
    assert ours["observations"] == len(x) == 40, "not the same observations"
    pwlf.PiecewiseLinFit(x, y, seed=SEED).fitfast(SEGMENTS)
    print(json.dumps({
        "version": importlib.metadata.version("pwlf"),
        "ours": ours["free_knots"],
        "global": timed(x, y, "fit"),
        "multistart": timed(x, y, "fitfast"),
    }))


main()
