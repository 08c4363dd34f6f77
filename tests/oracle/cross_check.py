"""Checks regression, ICC, distributions and the robust slope against scipy and statsmodels.

Development only. One command, from anywhere:

    python3 -m venv /tmp/oracle && /tmp/oracle/bin/pip install -r tests/oracle/requirements.txt
    /tmp/oracle/bin/python tests/oracle/cross_check.py

Makes 1,000 random inputs for each kind of question from a fixed seed, asks
`cargo run -p backstraight-core --example formula_batch` and compares. Exits with 1 on any
difference beyond the tolerance.
"""

import json
import pathlib
import subprocess
import sys

import numpy as np
import scipy
import scipy.stats as st
import statsmodels
import statsmodels.api as sm

ROOT = pathlib.Path(__file__).resolve().parents[2]
CASES = 1000
SEED = 20_260_101
# Largest relative difference that is allowed; values below `FLOOR` of their scale are compared
# with it absolutely.
TOLERANCE = {
    "line": 1e-9,
    "robust": 1e-9,
    "multiple": 1e-7,
    "correlation": 1e-8,
    "icc": 1e-9,
    "one_way": 1e-8,
    "t": 1e-8,
    "normal": 1e-8,
    "f": 1e-8,
    "t_tail": 1e-8,
}


def text(values):
    return ",".join(repr(float(v)) for v in values)


def table(rows):
    return ";".join(text(row) for row in rows)


def icc(x):
    """Mean squares from an ordinary least-squares fit with dummies, not from sums of ours."""
    n, k = x.shape
    rows = np.repeat(np.arange(n), k)
    columns = np.tile(np.arange(k), n)
    y = x.ravel()
    ones = np.ones((n * k, 1))
    people = (rows[:, None] == np.arange(1, n)[None, :]).astype(float)
    trials = (columns[:, None] == np.arange(1, k)[None, :]).astype(float)
    rss = [sm.OLS(y, np.hstack(parts)).fit().ssr
           for parts in ((ones,), (ones, people), (ones, trials), (ones, people, trials))]
    msb = (rss[0] - rss[1]) / (n - 1)
    msw = rss[1] / (n * (k - 1))
    msj = (rss[0] - rss[2]) / (k - 1)
    mse = rss[3] / ((n - 1) * (k - 1))
    return {
        "i11": (msb - msw) / (msb + (k - 1) * msw),
        "i21": (msb - mse) / (msb + (k - 1) * mse + k * (msj - mse) / n),
        "i31": (msb - mse) / (msb + (k - 1) * mse),
        "i1k": (msb - msw) / msb,
        "i2k": (msb - mse) / (msb + (msj - mse) / n),
        "i3k": (msb - mse) / msb,
    }


def questions(rng):
    """Yields kind, line for the batch, and what the reference says (name to value or list)."""
    for _ in range(CASES):
        n = int(rng.integers(4, 60))
        x = np.round(np.cumsum(rng.uniform(0.5, 10, n)), int(rng.integers(0, 4)))
        if len(set(x)) < 4:
            x = np.arange(n, dtype=float)
        y = np.round(rng.normal(0, 1) * x + rng.normal(0, 10 ** rng.uniform(-1, 2), n), 3)
        fit = st.linregress(x, y)
        half = st.t.ppf(0.975, n - 2) * fit.stderr
        want = {"slope": fit.slope, "intercept": fit.intercept, "se_slope": fit.stderr,
                "se_intercept": fit.intercept_stderr, "low": fit.slope - half,
                "high": fit.slope + half, "r": fit.rvalue, "r2": fit.rvalue ** 2}
        yield "line", f"trend.ols x={text(x)} y={text(y)}", want

        # Ties in x and y on purpose.
        tied = np.sort(rng.integers(0, max(5, n), n)).astype(float)
        if len(set(tied)) < 4:
            tied = np.arange(n, dtype=float)
        z = np.round(rng.normal(0, 0.3) * tied + rng.normal(0, 3, n), int(rng.integers(0, 3)))
        slope, intercept, low, high = st.theilslopes(z, tied, 0.95)
        want = {"slope": slope, "intercept": intercept, "low": low, "high": high}
        yield "robust", f"trend.theil_sen x={text(tied)} y={text(z)}", want

        if len(set(z)) > 1:
            pearson = st.pearsonr(tied, z)
            want = {"r": pearson.statistic, "p": pearson.pvalue,
                    "spearman": st.spearmanr(tied, z).statistic}
            yield "correlation", f"trend.correlation x={text(tied)} y={text(z)}", want

        p = int(rng.integers(1, 5))
        m = int(rng.integers(p + 4, 40))
        design = rng.normal(rng.uniform(-1000, 1000, p), 10 ** rng.uniform(-1, 2, p), (m, p))
        target = design @ rng.normal(0, 1, p) + rng.normal(0, 5, m)
        full = sm.OLS(target, sm.add_constant(design, has_constant="add")).fit()
        want = {"b": list(full.params), "se": list(full.bse), "r2": full.rsquared,
                "f": full.fvalue, "resid_sd": np.sqrt(full.mse_resid)}
        yield "multiple", f"trend.multiple x={table(design)} y={text(target)}", want

        people, trials = int(rng.integers(3, 20)), int(rng.integers(2, 6))
        scores = np.round(rng.normal(50, 10, (people, 1)) + rng.normal(0, 4, (people, trials)), 2)
        yield "icc", f"rel.icc x={table(scores)}", icc(scores)

        groups = [np.round(rng.normal(rng.uniform(0, 5), 2, int(rng.integers(2, 12))), 3)
                  for _ in range(int(rng.integers(2, 7)))]
        f, p_value = st.f_oneway(*groups)
        yield "one_way", f"rel.one_way x={table(groups)}", {"f": f, "p": p_value}

        level, df = rng.uniform(0.5, 0.999), rng.uniform(1, 200)
        want = {"value": st.t.ppf(0.5 + level / 2, df)}
        yield "t", f"dist.t level={level!r} df={df!r}", want
        want = {"value": st.norm.ppf(0.5 + level / 2)}
        yield "normal", f"dist.normal level={level!r}", want
        f, a, b = rng.uniform(0.05, 20), int(rng.integers(1, 20)), int(rng.integers(2, 200))
        yield "f", f"dist.f f={f!r} between={a} within={b}", {"value": st.f.sf(f, a, b)}
        t = rng.uniform(-6, 6)
        yield "t_tail", f"dist.t_tail t={t!r} df={df!r}", {"value": 2 * st.t.sf(abs(t), df)}


def pairs(want, got):
    """Named values of the reference beside ours; a missing one of ours is None."""
    values = got.get("values", {"value": got.get("value")})
    for name, expected in want.items():
        ours = values.get(name)
        if isinstance(expected, list):
            ours = ours or [None] * len(expected)
            for index, (e, o) in enumerate(zip(expected, ours)):
                yield f"{name}[{index}]", e, o
        else:
            yield name, expected, ours


def main():
    asked = list(questions(np.random.default_rng(SEED)))
    command = ["cargo", "run", "--quiet", "-p", "backstraight-core", "--example", "formula_batch"]
    lines = "\n".join(line for _, line, _ in asked) + "\n"
    done = subprocess.run(command, cwd=ROOT, input=lines, capture_output=True, text=True, check=True)
    answers = done.stdout.splitlines()
    if len(answers) != len(asked):
        sys.exit(f"asked {len(asked)} questions, got {len(answers)} answers")
    worst, count, failures = {}, {}, 0
    for (kind, line, want), answer in zip(asked, answers):
        count[kind] = count.get(kind, 0) + 1
        for name, expected, ours in pairs(want, json.loads(answer)):
            if ours is None:
                off = float("inf")
            else:
                off = abs(ours - expected) / max(abs(expected), 1e-6)
            worst[kind] = max(worst.get(kind, 0.0), off)
            if not off <= TOLERANCE[kind]:
                failures += 1
                if failures <= 10:
                    print(f"{kind} {name}: ours {ours}, reference {expected}\n  {line[:300]}\n  {answer[:300]}")
    print(f"numpy {np.__version__}, scipy {scipy.__version__}, statsmodels {statsmodels.__version__}")
    for kind in TOLERANCE:
        print(f"{kind:12} {count.get(kind, 0):5} cases, largest difference {worst.get(kind, 0):.1e}, "
              f"allowed {TOLERANCE[kind]:.0e}")
    print(f"{sum(count.values())} cases, {failures} differences beyond the tolerance")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
