"""Writing a passport: the owner's comments stay, and whatever happens, no file is lost."""

import builtins
import datetime
import errno
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from workbook.passport import Entry, PassportError, load, loads, save, scenario, share, update

ROOT = Path(__file__).parents[1]
DAY = datetime.date(2026, 11, 2)
GEAR = {"drive.gear_error_arcsec": Entry(43.25, 1.5, DAY)}


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "my-rig.toml"
    save(scenario("balcony"), path)
    return path


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def assert_untouched(file, others=()):
    """The file is as it was, and nothing lies beside it."""
    assert file.read_text(encoding="utf-8") == scenario("balcony").text
    assert names(file.parent) == sorted(["my-rig.toml", *others])


# What is written


def test_a_scenario_is_saved_with_all_its_comments(file):
    assert_untouched(file)
    assert load(file).entries == scenario("balcony").entries


def test_update_changes_its_line_and_no_other(file):
    updated = update(file, GEAR)
    before, after = scenario("balcony").text.splitlines(), file.read_text(encoding="utf-8").splitlines()
    pairs = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    ((old, new),) = pairs
    assert new.startswith("gear_error_arcsec = { value = 43.25, sigma = 1.5, measured = 2026-11-02 }")
    assert new.endswith("# from peak to peak")
    assert old.endswith("# from peak to peak")
    assert updated == load(file)
    assert updated.entry("drive.gear_error_arcsec") == Entry(43.25, 1.5, DAY)
    others = {key: updated.entry(key) for key in updated if key not in GEAR}
    assert others == {key: scenario("balcony").entry(key) for key in others}


def test_the_previous_file_is_kept(file):
    update(file, GEAR)
    first = file.read_bytes()
    update(file, {"optics.focal_mm": Entry(318.2, 0.4, DAY)})
    assert file.with_name("my-rig.toml.before").read_bytes() == first
    assert names(file.parent) == ["my-rig.toml", "my-rig.toml.before"]
    update(
        file, {"optics.focal_mm": Entry(318.2, 0.4, DAY)}
    )  # nothing new: the kept file stays the older one
    assert file.with_name("my-rig.toml.before").read_bytes() == first


def test_update_of_a_passport_keeps_what_its_owner_wrote_meanwhile(file):
    rig = load(file).replace({"night.wind_m_s": 1})
    text = file.read_text(encoding="utf-8").replace("lead_m = {", "# my new lead\nlead_m = {")
    file.write_text(text.replace("lead_awg = 20", "lead_awg = 18"), encoding="utf-8")
    updated = update(rig, GEAR)
    assert updated["power.lead_awg"] == 18
    assert updated["night.wind_m_s"] == 2  # replaced in memory only
    assert "# my new lead\n" in file.read_text(encoding="utf-8")


def test_save_writes_what_was_replaced(file, tmp_path):
    changes = {
        "optics.focal_mm": 400,
        "optics.tube": "carbon",
        "camera.width_px": 3000,
        "plan.date": DAY,
        "plan.guided": True,
        "rig.name": 'A "new" rig \\ 2',
        "site.horizon_deg": [[0, 3.5], [180, 10], [360, 3.5]],
        "drive.gear_error_arcsec": Entry(1e-7, 0),
    }
    rig = load(file).replace(changes)
    copy = save(rig, tmp_path / "copy.toml")
    assert load(copy).entries == rig.entries
    text = copy.read_text(encoding="utf-8")
    assert 'tube = "carbon"                                    # aluminium, carbon or steel' in text
    assert text.count("#") == scenario("balcony").text.count("#")
    assert load(file).entries == scenario("balcony").entries


def test_a_bare_number_stays_bare_until_it_is_measured(tmp_path):
    line = "focal_mm = { value = 320, sigma = 4.8 }"
    file = tmp_path / "a.toml"
    file.write_text(scenario("balcony").text.replace(line, "focal_mm = 320"), encoding="utf-8")
    save(load(file).replace({"optics.focal_mm": 400}), file)
    assert "\nfocal_mm = 400 " in file.read_text(encoding="utf-8")
    update(file, {"optics.focal_mm": Entry(398, None, DAY)})
    assert "\nfocal_mm = { value = 398, sigma = 5.97, measured = 2026-11-02 } " in file.read_text(
        encoding="utf-8"
    )


@pytest.mark.parametrize(
    "written",
    [
        "focal_mm.value = 320 # mine\nfocal_mm.sigma = 4.8",
        "[optics.focal_mm]\nvalue = 320 # mine\nsigma = 4.8\nmeasured = 2026-01-01",
    ],
)
def test_other_ways_of_writing_a_table_can_be_edited(tmp_path, written):
    line = "focal_mm = { value = 320, sigma = 4.8 }"
    where = "[camera]" if written.startswith("[") else "tube ="
    text = scenario("balcony").text.replace(line, "#").replace(where, f"{written}\n{where}", 1)
    file = tmp_path / "a.toml"
    file.write_text(text, encoding="utf-8")
    assert update(file, {"optics.focal_mm": Entry(400, 2, DAY)}).entry("optics.focal_mm") == Entry(
        400, 2, DAY
    )
    assert "value = 400 # mine" in file.read_text(encoding="utf-8")
    assert update(file, {"optics.focal_mm": Entry(500)}).entry("optics.focal_mm") == Entry(500, 7.5, None)


def test_optional_text_is_added_and_line_ends_are_kept(tmp_path):
    file = tmp_path / "a.toml"
    text = scenario("balcony").text.replace("\nnote =", "\n# note =")
    file.write_bytes(text.replace("\n", "\r\n").encode())
    assert update(file, {"rig.note": Entry("new")} | GEAR)["rig.note"] == "new"
    lines = file.read_bytes().split(b"\n")
    assert sum(line.endswith(b"\r") for line in lines) >= len(lines) - 2
    assert load(file).entry("drive.gear_error_arcsec") == GEAR["drive.gear_error_arcsec"]


def test_a_link_stays_a_link_and_rights_are_kept(file, tmp_path):
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    update(link, GEAR)
    assert link.is_symlink()
    assert load(file)["drive.gear_error_arcsec"] == 43.25
    assert file.stat().st_mode & 0o777 == 0o640


# What is refused


def test_impossible_measurements_change_nothing(file):
    for wrong, words in (
        ({"drive.gear_error_arcsec": Entry(-3, 1, DAY)}, "received -3 ″, allowed 0 to 1200 ″"),
        ({"drive.gear_error": Entry(3, 1, DAY)}, "nearest valid name is drive.gear_error_arcsec"),
        ({"drive.gear_period_s": Entry(500, None, DAY)}, "205 teeth"),
        ({"drive.gear_error_arcsec": Entry(3, 1, "today")}, "measured: received the text"),
    ):
        with pytest.raises(PassportError, match=words):
            update(file, wrong | {"optics.focal_mm": Entry(300, 1, DAY)})
        assert_untouched(file)


def test_a_scenario_has_no_file_to_update():
    with pytest.raises(PassportError, match=r"balcony\.toml: has no file of its own: save it first"):
        update(scenario("balcony"), GEAR)


def test_a_faulty_file_is_not_touched(file):
    file.write_text("[optics]\nfocal_mm = 0.32\n", encoding="utf-8")
    with pytest.raises(PassportError, match="did you give metres"):
        update(file, GEAR)
    assert file.read_text(encoding="utf-8") == "[optics]\nfocal_mm = 0.32\n"


def test_folders_that_cannot_take_a_file(tmp_path):
    with pytest.raises(PassportError, match="there is no such folder, make it first"):
        save(scenario("balcony"), tmp_path / "no" / "a.toml")
    with pytest.raises(PassportError, match="this is a folder, give a file name"):
        save(scenario("balcony"), tmp_path)
    assert names(tmp_path) == []


# Accidents

FULL = OSError(errno.ENOSPC, "No space left on device")
REFUSED = PermissionError(errno.EACCES, "Permission denied")


def failing(function, error, *, after):
    """The function, that raises on call number `after` and from then on."""
    calls = []

    def wrapped(*args, **kwargs):
        calls.append(args)
        if len(calls) >= after:
            raise error
        return function(*args, **kwargs)

    return wrapped


class HalfAFile:
    """A file on a disk that is full after a hundred bytes."""

    def __init__(self, file):
        self.file = file

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()

    def write(self, content):
        self.file.write(content[:100])
        self.file.flush()
        raise FULL


@pytest.mark.parametrize("after", [1, 2])
@pytest.mark.parametrize(
    ("what", "error", "words"),
    [
        ("fsync", FULL, "the disk is full, free some space and try again; nothing was changed"),
        ("replace", FULL, "the disk is full"),
        ("replace", REFUSED, "you may not write in this folder, choose another one"),
        ("fsync", OSError(errno.EIO, "Input/output error"), "Input/output error; nothing was changed"),
    ],
)
def test_an_error_at_any_step_leaves_the_file_as_it_was(file, monkeypatch, what, error, words, after):
    monkeypatch.setattr(os, what, failing(getattr(os, what), error, after=after))
    with pytest.raises(PassportError, match=r"my-rig\.toml: cannot be written: ") as caught:
        update(file, GEAR)
    assert words in str(caught.value)
    monkeypatch.undo()
    kept = ["my-rig.toml.before"] if what == "replace" and after == 2 else []
    assert_untouched(file, kept)
    for name in kept:
        assert (file.parent / name).read_text(encoding="utf-8") == scenario("balcony").text


def test_a_disk_that_fills_up_in_the_middle_of_a_write(file, monkeypatch):
    def half(path, mode="r", *args, **kwargs):
        opened = open_(path, mode, *args, **kwargs)
        return HalfAFile(opened) if "w" in mode else opened

    open_ = builtins.open
    monkeypatch.setattr(builtins, "open", half)
    with pytest.raises(PassportError, match="the disk is full"):
        update(file, GEAR)
    monkeypatch.undo()
    assert_untouched(file)


@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize("accident", [KeyboardInterrupt, SystemExit])
def test_an_interrupt_leaves_nothing_behind(file, monkeypatch, step, accident):
    monkeypatch.setattr(os, step, failing(getattr(os, step), accident(), after=1))
    with pytest.raises(accident):
        update(file, GEAR)
    monkeypatch.undo()
    assert_untouched(file)


def in_another_process(code, *args):
    """Run code in a Python of its own: some accidents end the process, or need its rights."""
    code = "import sys; sys.path.insert(0, sys.argv[1])\n" + textwrap.dedent(code)
    command = [sys.executable, "-c", code, str(ROOT), *map(str, args)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


@pytest.mark.parametrize(("step", "call"), [("fsync", 1), ("fsync", 2), ("replace", 1), ("replace", 2)])
def test_a_power_cut_at_any_step_leaves_a_whole_file(file, step, call):
    done = in_another_process(
        """
        import os
        from workbook.passport import Entry, update
        step, calls, real = sys.argv[3], [], getattr(os, sys.argv[3])
        def cut(*args):
            calls.append(args)
            if len(calls) == int(sys.argv[4]):
                os._exit(9)
            return real(*args)
        setattr(os, step, cut)
        update(sys.argv[2], {"drive.gear_error_arcsec": Entry(43.25, 1.5)})
        """,
        file,
        step,
        call,
    )
    assert done.returncode == 9, done.stderr
    assert load(file).entries == scenario("balcony").entries
    assert update(file, GEAR)["drive.gear_error_arcsec"] == 43.25  # and the next try works
    assert file.with_name("my-rig.toml.before").read_text(encoding="utf-8") == scenario("balcony").text


@pytest.mark.skipif(os.name != "posix", reason="limits of a process are a matter of POSIX")
def test_a_real_write_that_stops_half_way(file):
    """The kernel refuses to let any file grow beyond 2,000 bytes, as a full disk would."""
    done = in_another_process(
        """
        import resource, signal
        from workbook.passport import Entry, PassportError, update
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))
        try:
            update(sys.argv[2], {"drive.gear_error_arcsec": Entry(43.25, 1.5)})
        except PassportError as error:
            sys.exit(str(error))
        """,
        file,
    )
    assert "cannot be written: File too large; nothing was changed" in done.stderr
    assert_untouched(file)


@pytest.mark.skipif(os.name != "posix", reason="on other systems a folder is not read-only by its mode")
def test_a_real_read_only_folder(file):
    """As a user without rights: root may write everywhere, so the rights are dropped first."""
    for folder in (file.parent, *file.parent.parents[:3]):  # one more level where tests run in parallel
        folder.chmod(folder.stat().st_mode | 0o055)
    file.parent.chmod(0o555)
    done = in_another_process(
        """
        import os
        from workbook.passport import Entry, PassportError, load, update
        load(sys.argv[2])  # whatever Python still has to read itself, it reads with its own rights
        if os.geteuid() == 0:
            os.setuid(65534)
        try:
            update(sys.argv[2], {"drive.gear_error_arcsec": Entry(43.25, 1.5)})
        except PassportError as error:
            sys.exit(str(error))
        """,
        file,
    )
    file.parent.chmod(0o755)
    assert "cannot be written: you may not write in this folder" in done.stderr
    assert_untouched(file)


# Sharing


def test_share_rounds_the_coordinates_and_leaves_the_comments_out():
    text = scenario("balcony").text
    text = text.replace("latitude_deg = 52.4 ", "latitude_deg = 52.43817 # 52.43817, door 7")
    text = text.replace(
        "longitude_deg = 10.5 ", "longitude_deg = { value = -10.54999, measured = 2026-11-02 }"
    )
    rig = loads(text)
    shared = share(rig)
    for secret in ("52.43", "10.54", "door 7"):
        assert secret not in shared
    again = loads(shared)
    assert again.entry("site.latitude_deg") == Entry(52.4, 0.0, None)
    assert again.entry("site.longitude_deg") == Entry(-10.5, 0.0, DAY)
    for key in rig:
        if key not in ("site.latitude_deg", "site.longitude_deg"):
            assert again.entry(key) == rig.entry(key), key
    assert rig["site.latitude_deg"] == 52.43817
