"""Benchmark, not a test: import of the topics, the efficiency curve, 2,000 draws, a whole verdict.

Run: python tests/benchmarks/bench_verdict.py
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

TOPICS = (
    "alignment",
    "balance",
    "drive",
    "exposure",
    "optics",
    "pointing",
    "power",
    "rotation",
    "sensor",
    "sky",
)


def import_ms() -> float:
    """Median import of all topics above numpy, in fresh interpreters."""
    code = (
        "import time, importlib, numpy; start = time.perf_counter();"
        f"[importlib.import_module('workbook.' + name) for name in {TOPICS!r}];"
        "print(1e3 * (time.perf_counter() - start))"
    )
    runs = [subprocess.run([sys.executable, "-c", code], capture_output=True, text=True) for _ in range(7)]
    return statistics.median(float(run.stdout) for run in runs)


def median_ms(call, runs):
    call()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


def main():
    from workbook import passport, verdict
    from workbook.verdict.answer import DRAW_NODES, DRAW_PHASES, drawn_rigs, night_sums

    print(f"import of all topics above numpy: {import_ms():.0f} ms (goal 250)")
    for name in passport.SCENARIOS:
        rig = passport.scenario(name)
        sky = verdict.conditions(rig, target=rig["plan.target"], date=rig["plan.date"])
        how = {"mode": rig["plan.mode"], "guided": rig["plan.guided"]}
        central = rig.central()
        best_s = verdict.efficiency_curve(central, sky, **how).best_sub_s
        curve_ms = median_ms(lambda c=central, s=sky, h=how: verdict.efficiency_curve(c, s, **h), 15)
        drawn = drawn_rigs(rig, 2000, 1)
        many = {"sub_s": best_s, "nodes": DRAW_NODES, "phases": DRAW_PHASES, "seed": 1}
        draws_ms = median_ms(lambda d=drawn, s=sky, h=how, m=many: night_sums(d, s, **m, **h), 3)
        draw_ms = median_ms(lambda r=rig: drawn_rigs(r, 2000, 1), 3)
        whole_ms = median_ms(lambda r=rig: verdict.verdict(r), 2)
        print(
            f"{name:18} {how['mode']:7} {'guided' if how['guided'] else 'unguided':9} "
            f"curve {curve_ms:5.1f} ms (goal 20)   2,000 draws {draws_ms + draw_ms:5.0f} ms (goal 1000)   "
            f"whole {whole_ms:5.0f} ms"
        )


if __name__ == "__main__":
    main()
