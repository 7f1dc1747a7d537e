"""What a cricket of a body length weighs: for size classes by length, in a folder before there is a book too."""

from __future__ import annotations


def mass_of_length(length_mm: float, species: str) -> float:
    """Mass [mg] of a cricket so long, of a species by its key: what a size class by length begins at."""
    from chirr.engine.biology.growth import mass_of_length_mg
    from chirr.engine.biology.species import species as animal

    return float(mass_of_length_mg(length_mm, animal(species)))
