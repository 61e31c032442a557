"""The rules of the house as functions over a folder, a function or a source text; each returns its faults.

tests/test_package.py applies them to the package, and to planted faults that they must find.
"""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
import typing
from pathlib import Path

from workbook.units import SUFFIXES, suffix_of

TOPICS = (
    "optics", "sampling", "pointing", "rotation", "alignment", "drive", "guiding", "balance", "sky", "sensor",
    "exposure", "power", "link",
)  # fmt: skip
FLOORS = (
    ("constants", "checks", "units"),
    TOPICS,
    ("night", "horizon", "catalogue", "readers", "frames"),
    ("passport", "scenarios", "verdict", "plan", "nine_stars", "practice"),
    ("figures",),
    ("panels", "lesson"),
    ("__init__", "__main__", "launch"),
)
LOWEST_FLOOR = {"astropy": 2, "erfa": 2, "matplotlib": 4, "ipywidgets": 5, "IPython": 5}
HEAVY = ("astropy", "matplotlib", "ipywidgets", "IPython", "scipy", "erfa")
MOST_LINES = 400

# Names that end in a unit the list of suffixes does not have: use the one unit of that quantity instead.
FOREIGN = {
    "cm",
    "km",
    "rad",
    "sec",
    "secs",
    "seconds",
    "minutes",
    "degrees",
    "inch",
    "kelvin",
    "percent",
}
FOREIGN |= {"ms", "mw", "mv", "ma", "mah", "pa", "mbar", "kmh", "asec", "radians", "microns", "grams", "g"}
UNIT_WORDS = {"magnitude": "mag"}  # a plain noun that is its own unit

# Defaults are for true conventions only; each reason stands in the docstring, after the word "default".
CONVENTIONS = {"band", "model", "harmonics", "drag", "subs", "phase_deg", "dec_deg"}
CONVENTIONS |= {"axis_altitude_deg", "axis_azimuth_deg", "sun_altitude_deg"}

ORACLES = {
    "erfa",
    "astropy",
    "skyfield",
    "scipy",
    "psychrolib",
    "rigid_body",
    "brute_night",
}  # share no code with the topics
SOURCE_WORDS = ("source:", "derivation:", "reference row")


# Who imports whom


def modules_of(package: Path) -> dict[str, Path]:
    """Every module below a package folder by its dotted name."""
    names = {}
    for path in sorted(package.rglob("*.py")):
        parts = [package.name, *path.relative_to(package).with_suffix("").parts]
        names[".".join(parts[:-1] if parts[-1] == "__init__" and len(parts) > 2 else parts)] = path
    return names


def imports_of(name: str, path: Path, known) -> list[tuple[int, str, bool]]:
    """Line, dotted name and "inside a function?" of each import, lazy and typing-only ones included."""
    package = name.removesuffix(".__init__") if path.name == "__init__.py" else name.rpartition(".")[0]
    found = []

    def visit(node, lazy):
        if isinstance(node, ast.Import):
            found.extend((node.lineno, alias.name, lazy) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = node.module or ""
            if node.level:
                base = package.rsplit(".", node.level - 1)[0] if node.level > 1 else package
                source = f"{base}.{source}".rstrip(".")
            for alias in node.names:
                deeper = f"{source}.{alias.name}"
                found.append(
                    (node.lineno, deeper if deeper in known or source == "matplotlib" else source, lazy)
                )
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith(("import_module", "__import__")):
            found.extend(
                (node.lineno, str(a.value), lazy) for a in node.args[:1] if isinstance(a, ast.Constant)
            )
        inside = lazy or isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda))
        for child in ast.iter_child_nodes(node):
            visit(child, inside)

    visit(ast.parse(path.read_text(encoding="utf-8")), False)
    return found


def import_faults(package: Path) -> list[str]:
    """Modules without a floor, imports that point up, circles, and libraries on the wrong floor."""
    known = modules_of(package)
    faults, edges = [], {}
    for name, path in known.items():
        floor = _floor(name, package.name)
        edges[name] = set()
        if floor is None:
            faults.append(f"{name} stands on no floor: add it to FLOORS")
            continue
        for line, target, lazy in imports_of(name, path, known):
            where = f"{name}:{line} imports {target}"
            if target.split(".")[0] == package.name:
                target = target if target in known else f"{target}.__init__"
                edges[name].add(target)
                if target not in known:
                    faults.append(f"{where}, which does not exist")
                elif (_floor(target, package.name) or 0) > floor:
                    faults.append(f"{where}, which points up")
            else:
                faults.extend(f"{where}, {why}" for why in _library_faults(name, floor, target, lazy))
    return faults + [f"{' -> '.join(circle)} is a circle" for circle in _circles(edges)]


def _floor(name, package):
    part = name.removeprefix(f"{package}.").split(".")[0]
    return next((floor for floor, parts in enumerate(FLOORS) if part in parts), None)


def _library_faults(name, floor, target, lazy):
    library = target.split(".")[0]
    if target.startswith("matplotlib.pyplot"):
        yield "the global state of pyplot"
    if library == "scipy" and not lazy:
        yield "scipy outside a function"
    in_adapter = name.endswith(".units") and library == "astropy" and lazy
    if floor < LOWEST_FLOOR.get(library, 0) and not in_adapter:
        yield f"a library of floor {LOWEST_FLOOR[library]}"
    if floor < 2 and library not in {"numpy", "scipy", *LOWEST_FLOOR} | sys.stdlib_module_names:
        yield "not one of numpy, scipy and the standard library"


def _circles(edges):
    """Each circle once, as the names along it."""
    done, found = set(), []

    def walk(name, trail):
        if name in trail:
            found.append([*trail[trail.index(name) :], name])
        elif name not in done:
            for target in sorted(edges.get(name, ())):
                walk(target, [*trail, name])
            done.add(name)

    for name in edges:
        walk(name, [])
    return found


def heavy_after_import(names, folder: Path) -> set[str]:
    """The heavy libraries that a fresh Python holds after importing some modules from a folder."""
    code = f"import sys\nfor n in {list(names)}: __import__(n)\nprint(*(set(sys.modules) & set({HEAVY})))"
    run = subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True, check=True)
    return set(run.stdout.split())


def long_files(package: Path) -> list[str]:
    """Files above the house's limit of lines."""
    counts = {
        path: len(path.read_text(encoding="utf-8").splitlines()) for path in modules_of(package).values()
    }
    return [f"{path.name} has {count} lines" for path, count in counts.items() if count > MOST_LINES]


# What a public function says about itself


def public_functions(module) -> dict:
    """The functions a module defines for others, by name."""
    members = inspect.getmembers(module, inspect.isfunction)
    return {n: f for n, f in members if f.__module__ == module.__name__ and not n.startswith("_")}


def documentation_faults(function) -> list[str]:
    """Where signature, suffixes and docstring of a topic function disagree."""
    sections = _sections(inspect.getdoc(function) or "")
    documented = _entries(sections.get("Parameters", ""))
    parameters = inspect.signature(function).parameters
    faults = []
    numbers = [n for n in parameters if "str" not in documented.get(n, ("", ""))[0]]
    if len(numbers) > 1 and any(parameters[n].kind is not inspect.Parameter.KEYWORD_ONLY for n in parameters):
        faults.append("takes more than one number: make all arguments keyword-only")
    faults += [f"documents {name}, which it does not take" for name in documented if name not in parameters]
    for name, parameter in parameters.items():
        if name not in documented:
            faults.append(f"{name} is not documented")
            continue
        text = documented[name][1]
        faults += [f"{name} {fault}" for fault in _unit_faults(name, text)]
        if parameter.default is not inspect.Parameter.empty:
            if name not in CONVENTIONS:
                faults.append(f"{name} has a default, but is no convention")
            elif "default" not in text:
                faults.append(f"{name} does not give the reason of its default")
    faults += _result_faults(function, sections.get("Returns", ""))
    faults += [
        f"has no section {part}" for part in ("Returns", "References", "Examples") if not sections.get(part)
    ]
    if ">>>" not in sections.get("Examples", ">>>"):
        faults.append("has an example that does not run")
    return faults


def _result_faults(function, text):
    record = _record_of(function, text)
    if record is None:
        return [f"result {fault}" for fault in _unit_faults(function.__name__, text)]
    text += inspect.getdoc(record) or ""
    fields = typing.get_type_hints(record, vars(sys.modules[record.__module__]))
    return [f"result {f} {fault}" for f in fields for fault in _unit_faults(f, text, others=True)]


def _record_of(function, text):
    """The record that the Returns section names, looked up where the function stands."""
    found = sys.modules[function.__module__].__dict__.get(text.split("\n")[0].strip())
    return found if inspect.isclass(found) else None


def _unit_faults(name, text, others=False):
    """A name and its description agree on the unit; `others`: the text describes several names."""
    last = name.split("_")[-1]
    suffix = suffix_of(name) or UNIT_WORDS.get(last)
    if not suffix and last in FOREIGN:
        return [f"ends in {last}, which is no suffix"]
    shown = [unit.label for unit in SUFFIXES.values() if f"[{unit.label}]" in text]
    if suffix:
        return [] if f"[{SUFFIXES[suffix].label}]" in text else [f"lacks its unit [{SUFFIXES[suffix].label}]"]
    return [] if others or not shown else [f"has the unit [{shown[0]}] but no suffix"]


def _sections(doc):
    """Sections of a numpydoc docstring by heading."""
    lines, sections, current = doc.split("\n"), {}, None
    for line, below in zip(lines, [*lines[1:], ""], strict=True):
        if below.strip() and set(below.strip()) == {"-"}:
            current = line.strip()
            sections[current] = []
        elif current and set(line.strip()) != {"-"}:
            sections[current].append(line)
    return {heading: "\n".join(body).strip("\n") for heading, body in sections.items()}


def _entries(section):
    """Name to (type, description) of a Parameters section; "a, b : float" describes both."""
    entries, names = {}, []
    for line in section.split("\n"):
        if line and not line.startswith(" "):
            left, _, kind = line.partition(" : ")
            names = [name.strip().lstrip("*") for name in left.split(",")]
            entries |= dict.fromkeys(names, (kind, ""))
        else:
            entries |= {n: (entries[n][0], f"{entries[n][1]} {line.strip()}".strip()) for n in names}
    return entries


# Which functions the tests check against something outside


def checked_functions(source: str) -> set[str]:
    """Topic functions ("sky.moon_magnitude") used by a test that names its source.

    A test names it with one of SOURCE_WORDS in a docstring or id, by reading reference rows, or by calling
    one of the ORACLES; what a test reaches through functions and tables of its own file counts as its own.
    """
    tree = ast.parse(source)
    modules, functions = _aliases(tree)
    sources = {"rows", "assert_row"} | _oracles(tree)
    top = {}
    for node in tree.body:
        for name in _names_defined(node):
            top[name] = node
    tests = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name.startswith("test")]
    checked = set()
    for test in tests:
        reached, queue = [], [test]
        while queue:
            node = queue.pop()
            reached.append(node)
            used = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
            queue += [top[name] for name in used if name in top and top[name] not in (*reached, *queue)]
        nodes = [n for part in reached for n in ast.walk(part)]
        if any(_is_source(n, sources) for n in nodes):
            checked |= {hit for n in nodes if (hit := _topic_function(n, modules, functions))}
    return checked


def _aliases(tree):
    modules, functions = {}, {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "workbook":
            modules |= {a.asname or a.name: a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("workbook."):
            topic = node.module.removeprefix("workbook.")
            functions |= {a.asname or a.name: f"{topic}.{a.name}" for a in node.names}
        elif isinstance(node, ast.Import):
            for a in node.names:
                if a.asname and a.name.startswith("workbook."):
                    modules[a.asname] = a.name.removeprefix("workbook.")
    return modules, functions


def _oracles(tree):
    """The names under which a test file knows something of an oracle."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            origin = getattr(node, "module", None)
            names |= {
                (a.asname or a.name).split(".")[0]
                for a in node.names
                if (origin or a.name).split(".")[0] in ORACLES
            }
    return names


def _names_defined(node):
    if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        return [node.name]
    targets = getattr(node, "targets", None) or ([node.target] if hasattr(node, "target") else [])
    return [n.id for target in targets for n in ast.walk(target) if isinstance(n, ast.Name)]


def _is_source(node, sources):
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return any(word in node.value.lower() for word in SOURCE_WORDS)
    return isinstance(node, ast.Name) and node.id in sources


def _topic_function(node, modules, functions):
    if isinstance(node, ast.Name):
        return functions.get(node.id)
    if isinstance(node, ast.Attribute):
        owner = ast.unparse(node.value)
        topic = modules.get(owner) or owner.rpartition("workbook.")[2] or owner
        return f"{topic}.{node.attr}"
    return None
