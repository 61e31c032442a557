"""Every fault of a passport, at once and with its line, its cure and the nearest valid name."""

import pickle
import random

import numpy as np
import pytest
from passport_texts import BALCONY, changed, faults_of, only_fault

from workbook.passport import FIELDS, Fault, PassportError, loads, scenario

# Faults, one by one


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        (
            "optics.focal_mm",
            "0.32",
            "received 0.32 mm, allowed 30 to 5000 mm: did you give metres? 0.32 m is 320 mm",
        ),
        ("optics.throughput", "45", "received 45, allowed 0.01 to 1: did you give per cent? 45 % is 0.45"),
        ("night.humidity_end", "90", "did you give per cent? 90 % is 0.9"),
        ("night.air_start_degc", "281", "received 281 °C, .* did you give kelvin\\? 281 K is 7.85 °C"),
        ("night.pressure_hpa", "101300", "did you give pascals? 101300 Pa is 1013 hPa"),
        ("stand.load_kg", "2600", "did you give grams? 2600 g is 2.6 kg"),
        ("camera.pixel_um", "0.0035", "did you give millimetres? 0.0035 mm is 3.5 µm"),
        ("optics.aperture_mm", "-58", "received -58 mm, allowed 10 to 1000 mm: small telescopes"),
        ("optics.aperture_mm", '"58 mm"', 'received the text "58 mm", expected a number in mm: write'),
        ("optics.aperture_mm", "true", "received true, expected a number in mm"),
        ("optics.aperture_mm", "nan", "received nan mm, allowed 10 to 1000 mm"),
        ("optics.aperture_mm", "-inf", "received -inf mm, allowed 10 to 1000 mm"),
        ("optics.aperture_mm", "9" * 400, "received inf mm"),
        ("optics.aperture_mm", "[58]", r"received [58], expected a number in mm"),
        ("camera.width_px", "4000.5", "a whole number, 100 to 20000 px: leave out the decimals"),
        ("optics.tube", '"wood"', 'received the text "wood", allowed "aluminium" or "carbon" or "steel"'),
        ("plan.target", "7331", "received 7331, expected text"),
        ("plan.target", '" "', "received an empty text: write name of the object"),
        ("plan.guided", "0", "received 0, allowed true or false"),
        ("plan.date", '"2026-10-10"', 'received the text "2026-10-10", expected a date alone'),
        ("plan.date", "2026-10-10T20:00:00", "received 2026-10-10 20:00:00, expected a date alone"),
        ("plan.date", "20:00:00", "received 20:00:00, expected a date alone"),
        ("plan.date", "1026-10-10", "received 1026-10-10, allowed 2000-01-01 to 2099-12-29"),
        ("plan.date", "2099-12-30", "received 2099-12-30, allowed 2000-01-01 to 2099-12-29"),
        ("site.longitude_deg", "349", "received 349 °, allowed -180 to 180 °: west is negative"),
        ("optics.focal_mm", "{ value = 320, sigma = -4 }", "sigma: received -4 mm, allowed 0 or more"),
        ("optics.focal_mm", "{ value = 320, sigma = nan }", "sigma: received nan mm, allowed 0 or more"),
        ("optics.focal_mm", '{ value = 320, sigma = "4" }', 'sigma: received the text "4", expected'),
        ("optics.focal_mm", "{ value = 320, sigma = 9000 }", "sigma: received 9000 mm, wider than all that"),
        ("optics.focal_mm", "{ sigma = 4 }", "received sigma without a value"),
        ("optics.focal_mm", "{}", "received an empty table without a value"),
        ("optics.focal_mm", "{ value = 320, sgima = 4 }", "sgima: unknown part .* is sigma"),
        ("optics.focal_mm", "{ value = 320, measured = true }", "measured: received true, expected a date"),
        ("habits.tolerance_px", "{ value = 1.5, sigma = 0.1 }", "0.1 px, but this field takes no spread"),
        ("drive.gear_teeth", "{ value = 205, sigma = 1 }", "takes no spread"),
        ("optics.tube", '{ value = "steel", sigma = 1 }', "takes no spread"),
        ("drive.gear_error_arcsec", "{ value = 0, sigma = 5 }", "received 5 ″, allowed up to 10 times"),
        ("site.horizon_deg", "20", "received 20, expected a list of pairs"),
        ("site.horizon_deg", "[]", "received [], expected a list of pairs"),
        ("site.horizon_deg", "[[0, 5], [90]]", "pair 2: received [90], expected two numbers in °"),
        ("site.horizon_deg", '[[0, 5], [90, "5"]]', "pair 2: received [90, '5'], expected two numbers"),
        ("site.horizon_deg", "[[0, 5], [90, nan]]", "pair 2: received [90, nan], expected two numbers"),
        ("site.horizon_deg", "[[0, 5], [400, 5]]", "received 400 ° as the first number, allowed 0 to 360"),
        ("site.horizon_deg", "[[0, 5], [90, 95]]", "received 95 ° as the second number, allowed -10 to 90"),
        ("site.horizon_deg", "[[0, 5], [90, 5], [80, 5]]", "pair 3: received azimuth 80 ° after 90 °"),
        ("site.horizon_deg", "[[9, 5], [9, 6], [9, 7]]", "received azimuth 9 ° 3 times, allowed twice"),
        ("site.horizon_deg", "[[0, 5], [360, 6], [360, 7]]", "received azimuth 0 ° 3 times, allowed twice"),
        ("stand.leg_outline_mm", "[[0, 5]]", "at least 2"),
        ("stand.leg_outline_mm", "[[0, 5], [9000, 5]]", "received 9000 mm .* allowed -5000 to 5000 mm"),
        ("drive.gear_period_s", "600", r"received 600 s, but 205 teeth .* 86164.09 s / 205 = 420.3 s"),
        ("night.gust_m_s", "1", "received 1 m/s, below the steady wind of 2 m/s"),
        ("power.mount_highest_v", "7", "received 7 V, not above the lowest voltage of 7.5 V"),
        ("camera.file_bits", "12", "received 12, but the camera's own converter has 14 bits"),
    ],
)  # fmt: skip
def test_one_fault_with_its_line_what_was_received_and_the_cure(key, value, words):
    text, line = changed(key, value)
    message = only_fault(text, key, line)
    parts = words.split(" .* ")
    for part in parts:
        assert part.replace("\\?", "?") in message, message


@pytest.mark.parametrize(
    ("value", "cure"),
    [
        ("320,5", "write a decimal point, not a comma"),
        ("{ value = 320,5, sigma = 1 }", "write a decimal point, not a comma"),
        ("1,320", "leave out the comma between thousands"),
        ("320 mm", "write the number alone, the unit stands in the name"),
        ("320.", "write a figure on both sides of the decimal point"),
        ("0320", "leave out the zeros in front"),
        ("", "write a value after the ="),
        ("about # 320", "put text in quotes"),
        ("True", "write true or false in small letters"),
        ("[320", "a bracket is opened and not closed"),
        ('"320', "close the text with the same quote"),
        ("{ value = 320, measured = 2026-13-02 }", "write a date that there is, as year-month-day"),
    ],
)
def test_a_line_that_is_no_toml_is_one_fault_with_its_cure(value, cure):
    text, line = changed("optics.focal_mm", value)
    message = only_fault(text, "optics.focal_mm", line)
    assert message.startswith("cannot be read as TOML: received focal_mm =")
    assert cure in message


def test_ends_of_the_allowed_range_are_allowed():
    """The fields that hang together with others have tests of their own."""
    rig = scenario("balcony")
    bound = {"drive.gear_period_s", "night.wind_m_s", "night.gust_m_s", "power.mount_lowest_v"}
    for key, field in FIELDS.items():
        if field.kind != "number" or key in bound | {"power.mount_highest_v"}:
            continue
        for end in (field.low, field.high):
            assert rig.replace({key: end})[key] == end
        for beyond in (np.nextafter(field.low, -np.inf), np.nextafter(field.high, np.inf)):
            with pytest.raises(PassportError, match=f"{key}: received .* allowed"):
                rig.replace({key: beyond})


@pytest.mark.parametrize(
    ("teeth", "period_s", "fits"),
    [(205, 420.3, True), (205, 424.5, True), (205, 424.6, False), (205, 416.2, True), (205, 416.1, False)],
)
def test_gear_period_and_teeth_agree_within_one_per_cent(teeth, period_s, fits):
    """Derivation: 86164.0905 s / 205 = 420.3126 s; 1 % of it is 4.203 s."""
    change = {"drive.gear_teeth": teeth, "drive.gear_period_s": period_s}
    if fits:
        scenario("balcony").replace(change)
    else:
        with pytest.raises(PassportError, match=r"86164\.09 s / 205 = 420\.3 s"):
            scenario("balcony").replace(change)


# Faults, all at once


def test_every_fault_of_a_file_is_told_at_once_each_with_its_line():
    text, expected = BALCONY, {}
    for key, value in (
        ("optics.focal_mm", "0.32"),
        ("camera.full_well_e", "13 ke"),
        ("camera.adc_bits", "14.5"),
        ("drive.gear_period_s", "42"),
        ("stand.bar_thread", '"M11"'),
        ("power.pack_usable", "90"),
        ("site.latitude_deg", "{ value = 99, sigma = 1 }"),
        ("night.gust_m_s", "1"),
        ("plan.guided", "False"),
    ):
        text, expected[key] = changed(key, value, text=text)
    # a shorter text moves no line above it: all changes but the horizon keep their one line
    faults = faults_of(text)
    assert {fault.key: fault.line for fault in faults} == expected
    assert [fault.key for fault in faults].count("site.latitude_deg") == 2  # value and sigma
    assert [fault.line for fault in faults] == sorted(fault.line for fault in faults)


def test_a_fault_is_worded_as_one_line():
    text, line = changed("optics.focal_mm", "0.32")
    with pytest.raises(PassportError) as caught:
        loads(text, source="balcony.toml")
    assert str(caught.value) == (
        f"balcony.toml line {line}: optics.focal_mm: received 0.32 mm, allowed 30 to 5000 mm: "
        "did you give metres? 0.32 m is 320 mm"
    )
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.faults, str(again)) == (caught.value.faults, str(caught.value))


def test_a_misspelt_key_is_one_fault_not_two():
    text = BALCONY.replace("back_focus_tolerance_mm =", "back_focus_tolerence_mm =")
    line = text[: text.index("back_focus_tolerence_mm")].count("\n") + 1
    message = only_fault(text, "optics.back_focus_tolerence_mm", line)
    assert message == "unknown key, the nearest valid name is optics.back_focus_tolerance_mm"


def test_a_strange_key_leaves_the_missing_one_missing():
    text, line = changed("optics.tube", "1")
    text = text.replace("tube = 1", "zzz = 1")
    section = text[: text.index("[optics]")].count("\n") + 1
    assert {(fault.key, fault.line) for fault in faults_of(text)} == {
        ("optics.zzz", line),
        ("optics.tube", section),
    }


def test_a_misspelt_section_is_still_read():
    text, line = changed("camera.pixel_um", "-1")
    text = text.replace("[camera]", "[camra]")
    header = text[: text.index("[camra]")].count("\n") + 1
    section, value = faults_of(text)
    assert section == Fault(header, "camra", "unknown section, the nearest valid name is [camera]")
    assert (value.line, value.key) == (line, "camera.pixel_um")


def test_a_broken_line_under_a_misspelt_section_is_not_missing_too():
    text, line = changed("camera.pixel_um", "3,5")
    faults = faults_of(text.replace("[camera]", "[camra]"))
    assert [fault.key for fault in faults] == ["camra", "camra.pixel_um"]
    assert faults[1].line == line


def test_missing_fields_and_sections():
    text = BALCONY.replace("\nload_kg =", "\n# load_kg =")
    section = text[: text.index("[stand]")].count("\n") + 1
    assert "missing: add load_kg = … under [stand], telescope" in only_fault(text, "stand.load_kg", section)
    text = BALCONY[: BALCONY.index("[plan]")]
    message = only_fault(text, "plan", text.rstrip().count("\n") + 1)
    assert message == "this section is missing: add [plan] with target, date, mode, guided"


def test_optional_fields_may_be_left_out():
    text = BALCONY.replace("\nnote =", "\n# note =").replace("\nsky_reading =", "\n# sky_reading =")
    rig = loads(text)
    assert rig["rig.note"] == rig["site.sky_reading"] == ""


def test_a_key_in_the_wrong_place_is_sent_home():
    text = BALCONY.replace("\nadc_bits = 14 ", "\n# ").replace("[guide]", "[guide]\nadc_bits = 14")
    line = text[: text.index("\nadc_bits")].count("\n") + 2
    assert only_fault(text, "guide.adc_bits", line) == "does not belong here: put it under [camera]"
    assert (
        only_fault("focal_mm = 320\n" + BALCONY, "focal_mm", 1)
        == "stands outside all sections: it belongs under [optics] or [guide]"
    )


def test_what_stands_twice():
    text = BALCONY.replace("[camera]", "focal_mm = 330\n[camera]", 1)
    first = text[: text.index("\nfocal_mm")].count("\n") + 2
    line = text[: text.index("focal_mm = 330")].count("\n") + 1
    assert (
        only_fault(text, "optics.focal_mm", line)
        == f"stands twice, first in line {first}: keep one of the two"
    )
    text = BALCONY.replace("[camera]", "[optics]\n[camera]", 1)
    (fault,) = faults_of(text)
    assert "this section stands twice, first in line" in fault.message
    text = BALCONY.replace("[optics]", "[[optics]]")
    (fault,) = faults_of(text)
    assert fault.message == "written with double brackets: write [optics]"


def test_a_broken_header_still_opens_its_section():
    text = BALCONY.replace("[camera]  #", "[camera  #")
    line = text[: text.index("[camera")].count("\n") + 1
    assert "a section is its name in square brackets" in only_fault(text, "camera", line)


def test_an_unclosed_list_does_not_hide_what_follows():
    text = BALCONY.replace("    [360, 90],\n]", "    [360, 90],\n").replace(
        "ceiling_deg = 68", "ceiling_deg = 99"
    )
    horizon, ceiling = faults_of(text)
    assert horizon.key == "site.horizon_deg"
    assert "a bracket is opened and not closed" in horizon.message
    assert ceiling.key == "site.ceiling_deg"
    assert text.split("\n")[ceiling.line - 1].startswith("ceiling_deg")


def test_values_over_several_lines_and_in_tables_of_their_own():
    """TOML 1.0 writes the same table in several ways: all of them are read alike."""
    focal = "focal_mm = { value = 320, sigma = 4.8 }"
    assert focal in BALCONY
    for written in (
        "focal_mm.value = 320\nfocal_mm.sigma = 4.8",
        '"focal_mm" = { "value" = 320.0, sigma = 4.8 }',
        "focal_mm = { value = 3.2e2, sigma = 0.48e1 }",
    ):
        assert loads(BALCONY.replace(focal, written)).entries == scenario("balcony").entries
    table = BALCONY.replace(focal, "#").replace(
        "[camera]", "[optics.focal_mm]\nvalue = 320\nsigma = 4.8\n[camera]"
    )
    assert loads(table).entries == scenario("balcony").entries
    note = BALCONY.replace('name = "Balcony rig"', 'name = """\nBalcony = [ rig"""')
    assert loads(note)["rig.name"] == "Balcony = [ rig"
    assert loads(BALCONY.replace("\n", "\r\n")).entries == scenario("balcony").entries


def test_what_only_the_whole_text_shows():
    """A table that is opened twice is no TOML, though each of its lines is."""
    twice = "[optics.focal_mm]\nvalue = 320\n[optics.focal_mm]\nsigma = 4.8\n[camera]"
    text = BALCONY.replace("focal_mm = { value = 320, sigma = 4.8 }", "#").replace("[camera]", twice)
    line = text[: text.rindex("[optics.focal_mm]")].count("\n") + 1
    assert only_fault(text, "", line).startswith("cannot be read as TOML: cannot declare")


def test_an_empty_text():
    for text in ("", "\n\n", "# only a comment\n"):
        (fault,) = faults_of(text)
        assert fault.message.startswith("there is nothing in it: start from a copy of a scenario: balcony")


def test_junk_raises_nothing_but_a_passport_error():
    """Whatever stands in a file, the answer is a passport or its faults, and their lines exist."""
    dice = random.Random(20261010)
    alphabet = [
        *list("[]{}=\"'#,.\n\\ _-+:"),
        "\r",
        "\x00",
        "\t",
        "é",
        "mm",
        "1",
        "0",
        "e9",
        "true",
        '"""',
        "nan",
    ]
    lines = BALCONY.split("\n")
    texts = ["".join(dice.choices(alphabet, k=dice.randrange(1, 60))) for _ in range(400)]
    texts += [
        "a = " + "[" * 3000,
        "[" * 3000,
        "a = " + "[" * 90 + "]" * 90,
        "a." * 3000 + "a = 1",
        "1" * 9000,
    ]
    for _ in range(150):
        text = lines.copy()
        for _ in range(dice.randrange(1, 6)):
            at = dice.randrange(len(text))
            piece = text[at]
            cut = dice.randrange(len(piece) + 1)
            text[at] = dice.choice(
                [
                    piece[:cut],
                    piece[cut:],
                    piece[:cut] + dice.choice(alphabet) + piece[cut:],
                    dice.choice(lines),
                    piece.replace(dice.choice(alphabet), dice.choice(alphabet)),
                ]
            )
        texts.append("\n".join(text))
    told, wrong = 0, []
    for text in texts:
        try:
            loads(text)
        except PassportError as error:
            told += 1
            places = [fault.line or 1 for fault in error.faults] or [0]
            wrong += [text] if min(places) < 1 or max(places) > text.count("\n") + 1 else []
    assert not wrong
    assert told > 400
