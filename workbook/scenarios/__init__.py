"""The invented demo passports, complete, one TOML file each. None of the rigs, places or people is real."""

from __future__ import annotations

from importlib.resources import files

NAMES: tuple[str, ...] = ("balcony", "southern-club", "island-traveller", "school", "near-equator")


def text(name: str) -> str:
    """The TOML text of one scenario, with its comments."""
    if name not in NAMES:
        raise ValueError(f"name must be one of {', '.join(NAMES)}, received {name!r}")
    return files(__name__).joinpath(f"{name}.toml").read_text(encoding="utf-8")
