"""How far percentiles of full ranges are from those of more draws by another seed.

    python -m tests.convergence                    the office demo, about three minutes of processor time
    python -m tests.convergence clinic --draws 4096

Percentiles of the draws of full ranges are set beside those of 4,096 exact draws by another seed, for every option and
every quantity that is reported. Differences are shares of the spread (P90 less P10) of the latter, whose own error is
in them as well. The exit status is 1 if the mean of them or the worst is above what README.md here states.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from binestimator import read_project
from binestimator.estimate import estimate
from binestimator.ranges.find import FULL_DRAWS, find_ranges
from binestimator.results import Results
from binestimator.steps import weather_of, weather_years_of

ROOT = Path(__file__).resolve().parent.parent
#: Draws that those of full ranges are set beside, and what is added to the project's seed for them.
MORE_DRAWS, OTHER_SEED = 4096, 1000
#: Bounds on the mean and the worst of all differences. [share of P90 - P10]
MEAN_FRAC, WORST_FRAC = 0.006, 0.03


def percentiles(results: Results, draws: int, seed: int, years) -> dict[tuple[str, str], tuple[float, float, float]]:
    """P10, P50 and P90 of every quantity of every option that has all three."""
    terms = results.project.terms
    seeded = replace(results.project, terms=replace(terms, draws=replace(terms.draws, seed=seed)))
    ranges = find_ranges(replace(results, project=seeded), draws=draws, years=years)
    return {
        (option.id, key): (q.p10, q.p50, q.p90)
        for option in ranges.options
        for key, q in option.quantities.items()
        if q.p10 is not None and q.p50 is not None and q.p90 is not None
    }


def differences(results: Results, draws: int, years=()) -> list[tuple[float, str, str, str]]:
    """Differences as shares of the spread, the largest first: share, percentile, option, quantity."""
    seed = results.project.terms.draws.seed
    some = percentiles(results, draws, seed, years)
    more = percentiles(results, MORE_DRAWS, seed + OTHER_SEED, years)
    out = []
    for place in some.keys() & more.keys():
        spread = more[place][2] - more[place][0]
        if spread > 0.0:
            for name, one, other in zip(("P10", "P50", "P90"), some[place], more[place], strict=True):
                out.append((abs(one - other) / spread, name, *place))
    return sorted(out, reverse=True)


def main() -> int:
    reader = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    reader.add_argument("demo", nargs="?", default="office")
    reader.add_argument("--draws", type=int, default=FULL_DRAWS)
    args = reader.parse_args()
    project = read_project(ROOT / "demo_projects" / args.demo / f"{args.demo}.toml")
    weather = weather_of(project)
    found = differences(estimate(project, weather), args.draws, weather_years_of(project, weather))
    for name in ("P10", "P50", "P90"):
        shares = np.array([share for share, which, *_ in found if which == name])
        beyond = np.mean(shares > 0.011)
        print(
            f"{name}  mean {100 * shares.mean():.2f} %  root mean square {100 * np.sqrt(np.mean(shares**2)):.2f} %  "
            f"worst {100 * shares.max():.2f} %  above 1.1 % {100 * beyond:.0f} %"
        )
    for share, name, option, quantity in found[:10]:
        print(f"  {100 * share:5.2f} %  {name}  {option}  {quantity}")
    shares = np.array([share for share, *_ in found])
    return int(shares.mean() > MEAN_FRAC or shares.max() > WORST_FRAC)


if __name__ == "__main__":
    sys.exit(main())
