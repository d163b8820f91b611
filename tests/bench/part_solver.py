"""How quick the part solver is, against plainer ways, all measured in one run.

    python tests/bench/part_solver.py            # everything, some minutes
    python tests/bench/part_solver.py --cells 20000 --largest 50000

(a) a plain control-volume march that fills a cell at a time: each step solves the pressure on the
wet cells with the same sparse solvers (the quicker of the direct one and multigrid). Marching
50,000 cells takes hours, so its solves are timed at 40 wet sets evenly spread over the filling and
multiplied by the number of steps; a march run to its end on a small part shows beside it how well
that estimate holds.
(b) the same sweep without going from coarse to fine.

Seconds are of one core's work (CPU time), so that other work on the machine hardly counts.

    python tests/bench/part_solver.py --only square   # 2,000 cells a side: time and peak memory
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.fit.impulse import constant_impulse
from analysis.panel.records import Resin, Vacuum
from analysis.part.answer.doubts import Ends
from analysis.part.answer.part_answer import put_in_time
from analysis.part.flow import multigrid
from analysis.part.flow.filling import fill_plan
from analysis.part.flow.system import fill_impulse, open_feeds
from analysis.part.grid.canvas import lay_canvas
from analysis.part.grid.factor import direct
from analysis.part.plan.outline import l_shape, rectangle
from analysis.part.plan.part_toml import PartJob
from analysis.part.plan.plan import PartFeed, PartPlan, PartStack, Place, Vent, Zone
from analysis.part.plan.search_goal import SearchGoal
from analysis.part.search.candidates import candidates
from analysis.part.search.layout_score import QUICK, Judge


def part(cells: int) -> PartPlan:
    """An L with a hole and a turned, uneven patch, of about so many cells in all."""
    along = round(float(np.sqrt(cells / 0.7375)))
    stack = PartStack(1.5e-10, 1.0e-10, 0.0, 0.5, 3.0)
    patch = PartStack(3.0e-10, 1.0e-10, 30.0, 0.45, 4.0)
    hole = rectangle(100, 125) + np.array([150, 700])
    zone = Zone("patch", rectangle(300, 400) + np.array([600, 50]), patch)
    feed = PartFeed(Place(np.array([[0.0, 0.0], [0.0, 1000.0]])))
    vent = Vent(Place(np.array([[1000.0, 0.0], [1000.0, 500.0]])))
    outline = l_shape(1000, 1000, 500, 500)
    return PartPlan(outline, (hole,), stack, (zone,), (), (feed,), (vent,), along)


def clocked(run) -> tuple[float, object]:
    """Time one call, in seconds of one core."""
    start = time.process_time()
    result = run()
    return time.process_time() - start, result


def solve_step(system, wet) -> float:
    """Time one pressure solve of the march on a wet set: the quicker of two solvers."""
    cells = np.flatnonzero(wet)

    def by_factors():
        matrix = system.matrix[cells][:, cells]
        return direct(matrix).solve(system.feed_m3[cells])

    def by_cycles():
        matrix = system.matrix[cells][:, cells]
        cycle = multigrid.build(matrix, system.groups, cells, factor_below=0)
        right = system.feed_m3[cells]
        return multigrid.solve(matrix, right, cycle, tolerance=1e-7 * right.max())

    return min(clocked(by_factors)[0], clocked(by_cycles)[0])


def march(system) -> tuple[int, np.ndarray]:
    """March to the end, a cell (or a tie of cells) at a time; give steps and filling impulses."""
    n = len(system.pore_m3)
    fill, wet, full_at, now, steps = np.zeros(n), np.zeros(n, bool), np.zeros(n), 0.0, 0
    while not wet.all():
        pressure = np.zeros(n)
        cells = np.flatnonzero(wet)
        if len(cells):
            matrix = system.matrix[cells][:, cells]
            pressure[cells] = direct(matrix).solve(system.feed_m3[cells])
        inflow = np.where(wet, 0.0, system.feed_m3 - system.matrix @ pressure)
        moving = inflow > 1e-12 * inflow.max()
        wait = np.full(n, np.inf)
        wait[moving] = (1 - fill[moving]) * system.pore_m3[moving] / inflow[moving]
        step = wait.min()
        fill = np.where(wet, 1.0, fill + step * np.maximum(inflow, 0.0) / system.pore_m3)
        now += step
        done = wait <= step * (1 + 1e-9)
        wet |= done
        full_at[done] = now
        steps += 1
    return steps, full_at


def estimate(plan: PartPlan, samples: int = 40) -> tuple[float, int]:
    """Estimate what the march would take, from solves at evenly spread wet sets."""
    system = open_feeds(lay_canvas(plan), plan.feeds)
    order = np.argsort(fill_impulse(system))
    n = len(order)
    times = []
    for k in range(samples):
        wet = np.zeros(n, bool)
        wet[order[: int((k + 0.5) / samples * n)]] = True
        times.append(solve_step(system, wet))
    return float(np.mean(times)) * n, n


def against_march(cells: int) -> None:
    """Print (a)."""
    small = part(2000)
    system = open_feeds(lay_canvas(small), small.feeds)
    true_s, (steps, full_at) = clocked(lambda: march(system))
    guess_s, n = estimate(small)
    w = fill_impulse(system).max()
    print(
        f"(a) march of {n} cells to its end: {true_s:.1f} s in {steps} steps; estimated "
        f"{guess_s * steps / n:.1f} s; its total differs from the one solve by "
        f"{abs(full_at.max() / w - 1):.1e}"
    )
    plan = part(cells)
    march_s, n = estimate(plan)
    sweep_s, fill = clocked(lambda: fill_plan(plan))
    print(
        f"(a) {n} cells: march {march_s:.0f} s (estimated), sweep of {len(fill.step_impulse)} "
        f"steps {sweep_s:.1f} s: {march_s / sweep_s:.0f} times faster"
    )
    plain_s, plain = clocked(lambda: fill_plan(plan, coarse_to_fine=False))
    print(
        f"(b) {n} cells: sweep without coarse to fine {plain_s:.1f} s ({plain.step_solves.sum()} "
        f"solves against {fill.step_solves.sum()}): {plain_s / sweep_s:.1f} times slower"
    )
    resin = Resin(gel_time_s=4000.0, density_kg_m3=1150.0)
    impulse = constant_impulse(9e4, 0.2)
    job = PartJob(Path(), plan, resin, Vacuum(), impulse, SearchGoal())
    other_s = min(
        clocked(lambda: put_in_time(job, fill, Ends(0.8 * fill.total, 1.2 * fill.total)))[0]
        for _ in range(5)
    )
    print(
        f"what-if on vacuum or viscosity: {1000 * other_s:.1f} ms against {sweep_s:.1f} s: "
        f"{sweep_s / other_s:.0f} times faster than a fresh solve"
    )


def growth(largest: int) -> None:
    """Print how time grows with the number of cells."""
    print("cells      sweep s   microseconds per cell   solves   one linear solve s")
    for cells in (5_000, 15_000, 50_000, 150_000, 500_000):
        if cells > largest:
            break
        plan = part(cells)
        sweep_s, fill = clocked(lambda plan=plan: fill_plan(plan))
        canvas = lay_canvas(plan)
        one_s, _ = clocked(lambda c=canvas, p=plan: fill_impulse(open_feeds(c, p.feeds)))
        n = fill.links.count
        print(
            f"{n:<10} {sweep_s:<10.1f} {1e6 * sweep_s / n:<23.0f} "
            f"{fill.step_solves.sum():<8} {one_s:.2f}"
        )


def layouts(cells: int, count: int) -> None:
    """Print how long it takes to rank layouts."""
    plan = part(cells)
    for kind in ("point", "line"):
        places = candidates(plan, SearchGoal(True, 2, kind))
        pairs = list(itertools.combinations(places, 2))
        step = max(1, len(pairs) // count)
        tried = pairs[::step][:count]
        fresh_s, fresh = clocked(
            lambda tried=tried: [
                fill_impulse(open_feeds(lay_canvas(plan), [PartFeed(p) for p in layout])).max()
                for layout in tried[::10]
            ]
        )
        fresh_s /= len(fresh)
        start = time.process_time()
        canvas = lay_canvas(plan)
        judge = Judge(plan, canvas, QUICK)
        ranked = [judge.judge(layout) for layout in tried]
        each_s = (time.process_time() - start) / len(tried)
        off = max(abs(one.total / w - 1) for one, w in zip(ranked[::10], fresh, strict=True))
        print(
            f"{len(tried)} layouts of 2 {kind}s on {canvas.links.count} cells: "
            f"{1000 * each_s:.0f} ms of one core each, all set-up counted; "
            f"{fresh_s / each_s:.1f} times faster than setting each up afresh; totals differ by "
            f"{off:.0e} at most"
        )


def square(cells: int) -> None:
    """Print time and peak memory of a square part with so many cells on a side."""
    import resource

    feed = PartFeed(Place(np.array([[0.0, 0.0], [0.0, 700.0]])))
    vent = Vent(Place(np.array([[1000.0, 0.0], [1000.0, 500.0]])))
    stack = PartStack(1.5e-10, 1.0e-10, 0.0, 0.5, 3.0)
    plan = PartPlan(rectangle(1000, 1000), (), stack, feeds=(feed,), vents=(vent,), cells=cells)
    spent_s, fill = clocked(lambda: fill_plan(plan, progress=lambda text: print(f"  {text}")))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{cells} cells on a side ({fill.links.count} in all): {spent_s:.0f} s of one core, "
        f"{peak_mb:.0f} MB at the most; mass error {fill.mass_error:.0e}"
    )


def main() -> None:
    """Run what is asked for."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--cells", type=int, default=50_000)
    ask.add_argument("--largest", type=int, default=500_000)
    ask.add_argument("--only", choices=("march", "growth", "layouts", "square"))
    given = ask.parse_args()
    if given.only in (None, "march"):
        against_march(given.cells)
    if given.only in (None, "layouts"):
        layouts(20_000, 200)
    if given.only in (None, "growth"):
        growth(given.largest)
    if given.only == "square":
        square(2000)


if __name__ == "__main__":
    main()
