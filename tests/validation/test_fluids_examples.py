"""The printed examples of the fluids library, whose functions work out pipe losses."""

from __future__ import annotations

from collections.abc import Callable

import fluids
import pytest

from brewwater.plumbing import Pipe, pipe_loss_psi
from brewwater.plumbing.flow import FT_M, GPM_M3_S, density_kg_m3, inside_diameter_in, viscosity_Pa_s
from brewwater.plumbing.parts import limit
from brewwater.units import INCH_M, PSI_KPA

DOCS = "fluids 1.3.1, docstrings"
WHY = "the library itself: shows that the one installed is the one read"


def test_friction_factors(printed: Callable[..., None]) -> None:
    printed(DOCS, "Colebrook(1e5, 1e-4)", fluids.Colebrook(1e5, 1e-4), 0.0185138661, 5e-11, kind="lookup", why=WHY)
    printed(DOCS, "Haaland(1e5, 1e-4)", fluids.friction.Haaland(1e5, 1e-4), 0.0182650530, 5e-11, kind="lookup", why=WHY)
    printed(
        DOCS, "laminar friction factor at Re 128", fluids.friction_factor(Re=128), 0.5, 5e-10, kind="lookup", why=WHY
    )


def test_losses(printed: Callable[..., None]) -> None:
    printed(
        DOCS,
        "K of a pipe, f 0.018, L 100, D 0.3",
        fluids.core.K_from_f(fd=0.018, L=100.0, D=0.3),
        6.0,
        5e-10,
        kind="lookup",
        why=WHY,
    )
    printed(
        DOCS,
        "pressure of K 10 at 3 m/s, kPa",
        fluids.core.dP_from_K(K=10, rho=1000, V=3) / 1000,
        45.0,
        5e-10,
        kind="lookup",
        why=WHY,
    )


@pytest.mark.parametrize("gpm", [0.1, 0.5, 1.0, 3.0, 8.0])
def test_our_loss_is_the_librarys_one_phase_drop(gpm: float) -> None:
    """A bare pipe by the library's whole function, against our table of it."""
    bore = inside_diameter_in("1/2") * INCH_M
    rho, mu = density_kg_m3(15), viscosity_Pa_s(15)
    theirs = fluids.one_phase_dP(
        m=gpm * GPM_M3_S * rho, rho=rho, mu=mu, D=bore, roughness=limit("pex_roughness"), L=20 * FT_M
    )
    ours = float(pipe_loss_psi(Pipe(size="1/2", length_ft=20), gpm, 15))
    assert ours == pytest.approx(theirs / 1000 / PSI_KPA, rel=0.002)
