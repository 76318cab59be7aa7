"""What treating costs beside solving: run with ``python tests/benchmarks/bench_treatment.py``."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from brewwater import chemistry
from brewwater.ensemble import Draws
from brewwater.treatment import MEDIA, Dose, Stage, apply, capacity, run_train, settings_for
from brewwater.water import Water


def best_us(work: Callable[[], object], repeats: int = 30) -> float:
    """Shortest of ``repeats`` runs, microseconds."""
    found = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return 1e6 * min(found)


def main() -> None:
    draws = Draws(2048)
    rng = np.random.default_rng(1)
    water = Water(
        pH=rng.uniform(7, 8.3, 2048),
        calcium_mg_L=rng.uniform(30, 110, 2048),
        magnesium_mg_L=rng.uniform(3, 25, 2048),
        sodium_mg_L=rng.uniform(5, 60, 2048),
        chloride_mg_L=rng.uniform(5, 90, 2048),
        sulfate_mg_L=rng.uniform(5, 90, 2048),
        alkalinity_mg_L_as_CaCO3=rng.uniform(60, 250, 2048),
        free_chlorine_mg_L=rng.uniform(0.3, 2, 2048),
    )
    solve = best_us(lambda: chemistry.speciate(water.totals, 20.0))
    print(f"speciate 2048 waters: {solve:.0f} us")
    for medium in MEDIA.values():
        doses = (Dose(salt="potassium_bicarbonate", mg_L=60),) if medium.id == "mineral_dose" else ()
        stage = Stage(name=medium.id, medium=medium.id, bypass_percent=20, doses=doses)
        settings = settings_for(stage, draws)
        cost = best_us(lambda stage=stage, settings=settings: apply(stage, water, settings))
        drawn = best_us(lambda stage=stage: settings_for(stage, draws), 5)
        bears = best_us(lambda stage=stage: capacity(stage, draws), 5)
        print(
            f"{medium.id:22} apply {cost:7.0f} us = {cost / solve:5.3f} of solving"
            f"; drawing its performance {drawn:6.0f} us, its capacity {bears:6.0f} us"
        )
    train = tuple(
        Stage(name=m, medium=m, bypass_percent=10 if m == "reverse_osmosis" else 0)
        for m in ("sediment", "carbon", "reverse_osmosis")
    )
    chosen = {s.name: settings_for(s, draws) for s in train}
    cost = best_us(lambda: run_train(train, water, draws, settings=chosen))
    print(f"sediment, carbon, membrane: {cost:.0f} us = {cost / solve:.3f} of solving")


if __name__ == "__main__":
    main()
