"""Where the learner's own files are, and whose rig a lesson reads."""

from __future__ import annotations

import os
from pathlib import Path

from workbook import passport as passports

DEMO = "balcony"
PASSPORT = "passport.toml"


def home_folder() -> Path:
    """The learner's folder: WORKBOOK_HOME, or `my-workbook` beside the folder of the notebooks.

    It is made when something is first written into it.
    """
    if given := os.environ.get("WORKBOOK_HOME", "").strip():
        return Path(given).expanduser()
    here = Path.cwd()
    return (here.parent if here.name == "notebooks" else here) / "my-workbook"


def find_rig(passport=None):
    """The passport a lesson reads, and what to say about it.

    Asked in this order: the argument, WORKBOOK_PASSPORT, `passport.toml` in the learner's folder, the
    scenario balcony. A passport that cannot be read gives one line a fault, and the balcony instead.

    Parameters
    ----------
    passport : path or str, optional
        A file or the name of a scenario.

    Returns
    -------
    Passport, list of str
    """
    own = home_folder() / PASSPORT
    given = os.environ.get("WORKBOOK_PASSPORT", "").strip()
    wanted = str(passport or given or (own if own.exists() else DEMO))
    if wanted.startswith("~"):
        wanted = str(Path(wanted).expanduser())
    shown = Path(wanted).name
    try:
        rig = passports.find(wanted)
    except passports.PassportError as error:
        faults = [
            line.replace(wanted, shown) for line in str(error).splitlines()
        ]  # no folders of the learner
        fallback = f"This lesson reads the demo rig {DEMO} instead, until the passport is mended."
        return passports.find(DEMO), [*faults, fallback]
    if rig.path is None:
        return rig, [f"This lesson reads the demo rig {rig.name}."]
    return rig, [f"This lesson reads your own rig “{rig['rig.name']}” from {shown}."]
