"""The pull of a magnet across an air gap, iron neglected but its saturation capped."""

import math

from engine.calculations.guard import not_negative, positive

MAGNETIC_CONSTANT = 4e-7 * math.pi
"""Permeability of free space, H/m; CODATA 2018 differs from it by less than 1e-9 of it."""

SATURATION = 1.8
"""Flux density in tesla where solenoid iron gives no more (judgement, within 1.6 to 2 T)."""


def flux_density(
    ampere_turns: float, gap: float, gaps: int = 1, saturation: float = SATURATION
) -> float:
    """Return the flux density in tesla in ``gaps`` equal gaps of ``gap`` metres each.

    Capped at ``saturation``. Raises ValueError for negative ampere-turns, a gap or cap not above
    zero, or fewer than one gap. Source: B = mu0 N I / (gaps x g), Ampere's law, iron neglected.
    """
    if gaps < 1:
        raise ValueError(f"gaps must be 1 or more, got {gaps!r}")
    path = gaps * positive("gap", gap)
    free = MAGNETIC_CONSTANT * not_negative("ampere_turns", ampere_turns) / path
    return min(free, positive("saturation", saturation))


def gap_force(
    ampere_turns: float, area: float, gap: float, gaps: int = 1, saturation: float = SATURATION
) -> float:
    """Return the force in newton over ``gaps`` equal gaps of ``area`` m2 and ``gap`` metres each.

    Below saturation one gap gives (N I)^2 mu0 A / (2 g^2). Raises ValueError as
    :func:`flux_density`, and for an area not above zero. Source: Maxwell stress, B^2 A / (2 mu0)
    a gap.
    """
    density = flux_density(ampere_turns, gap, gaps, saturation)
    return gaps * density**2 * positive("area", area) / (2.0 * MAGNETIC_CONSTANT)


def ampere_turns_for_force(force: float, area: float, gap: float, gaps: int = 1) -> float:
    """Return the ampere-turns that give ``force`` newton, saturation left out of account.

    Raises ValueError for a negative force, an area or gap not above zero, or fewer than one gap.
    Source: the inverse of :func:`gap_force`.
    """
    if gaps < 1:
        raise ValueError(f"gaps must be 1 or more, got {gaps!r}")
    stress = 2.0 * MAGNETIC_CONSTANT * not_negative("force", force)
    density = math.sqrt(stress / (gaps * positive("area", area)))
    return density * gaps * positive("gap", gap) / MAGNETIC_CONSTANT
