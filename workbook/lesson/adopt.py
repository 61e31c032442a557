"""Choose or make your passport: copy a demo into the learner's folder once, and say how it stands."""

from __future__ import annotations

from workbook import passport as passports
from workbook.lesson.home import PASSPORT, home_folder
from workbook.lesson.words import Note


def adopt_passport(scenario: str = "balcony") -> Note:
    """Copy a demo scenario as the learner's own passport; a passport that is there already is never touched.

    Parameters
    ----------
    scenario : str
        Name of a demo scenario.

    Returns
    -------
    Note
        What was done, or why not. Faults of the folder are said in a line, not raised.
    """
    rig = passports.scenario(scenario)
    own = home_folder() / PASSPORT
    if own.exists():
        return Note(f"You have a passport already; {PASSPORT} stays as it is. Edit it, or rename it first.")
    try:
        own.parent.mkdir(parents=True, exist_ok=True)
        with own.open("x", encoding="utf-8") as file:  # "x": never over a file that came in between
            file.write(rig.text)
    except OSError as error:
        return Note(
            f"{PASSPORT} could not be written: {error.strerror}. The lessons go on with the demo rig."
        )
    return Note(
        f"Your passport {PASSPORT} now holds the numbers of {scenario}. "
        "Open it in the folder my-workbook, change what differs, save, and run the lesson again."
    )


def passport_report(passport) -> Note:
    """How much of a passport is measured, in words, and the numbers that cost most to leave assumed."""
    uncertain = passport.uncertain_keys()
    measured = [key for key in uncertain if passport.is_measured(key)]
    lines = [
        f"{passport['rig.name']}: {len(measured)} of {len(uncertain)} uncertain numbers are measured, the others "
        "assumed with a spread.",
        f"Telescope {passport['optics.aperture_mm']:g} mm, f = {passport['optics.focal_mm']:g} mm; pixels "
        f"{passport['camera.pixel_um']:g} µm; gear error {passport['drive.gear_error_arcsec']:g}″; sky "
        f"{passport['site.sky_mag_arcsec2']:g} mag/″²; latitude {passport['site.latitude_deg']:g}°.",
    ]
    return Note("\n".join(lines))
