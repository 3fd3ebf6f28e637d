"""The rules of the house that a program can look after."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from studio.bootstrap import read_arguments
from studio.environment import ROOT, VARIABLES

APPS = ("studio", "firings", "billing")
MAY_IMPORT = {"studio": (), "firings": ("studio",), "billing": ("studio", "firings")}
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "tests",
    *APPS,
}
FOREIGN_TO_CALCULATIONS = ("django", "celery", "rest_framework", "datetime.now")
MARKS_FOR_LATER = re.compile(r"\b(TODO|FIXME|raise NotImplementedError)\b")
MACHINE_PATHS = re.compile(r"/(work|farm|home|Users|tmp)/\w")


def sources(*places: str) -> Iterator[Path]:
    for place in places:
        yield from sorted((ROOT / place).rglob("*.py"))


def imports_of(path: Path) -> set[str]:
    """Every module a file imports, also inside functions."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module)
    return found


def ids(path: Path) -> str:
    return str(path.relative_to(ROOT))


def test_the_top_level_shows_only_what_it_should():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert visible - {"__pycache__"} == TOP_LEVEL


@pytest.mark.parametrize("app", APPS)
def test_no_app_imports_upward(app):
    forbidden = set(APPS) - {app, *MAY_IMPORT[app]}
    wrong = [
        f"{ids(path)} imports {name}"
        for path in sources(app)
        for name in imports_of(path)
        if name.split(".")[0] in forbidden
    ]
    assert wrong == []


@pytest.mark.parametrize("app", APPS)
def test_no_calculation_imports_a_framework(app):
    wrong = [
        f"{ids(path)} imports {name}"
        for path in sources(f"{app}/calculations")
        for name in imports_of(path)
        if name.split(".")[0] in FOREIGN_TO_CALCULATIONS
        or (name.split(".")[0] in APPS and ".calculations" not in name)
    ]
    assert wrong == []


def test_files_stay_readable():
    long = {
        ids(path): lines
        for path in sources(*APPS, "tests")
        if "migrations" not in path.parts
        and (lines := len(path.read_text(encoding="utf-8").splitlines())) > 500
    }
    assert long == {}


def test_nothing_is_left_for_later():
    me = Path(__file__)
    wrong = [ids(path) for path in sources(*APPS, "tests") if path != me and _is_marked(path)]
    assert wrong == []


def _is_marked(path: Path) -> bool:
    return MARKS_FOR_LATER.search(path.read_text(encoding="utf-8")) is not None


def test_no_file_names_a_folder_of_one_machine():
    documents = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / ".ci" / "run"]
    files = [*documents, *sources(*APPS)]
    wrong = [ids(path) for path in files if MACHINE_PATHS.search(path.read_text(encoding="utf-8"))]
    assert wrong == []


def test_locks_hold_no_address():
    for lock in ("requirements.txt", "tests/requirements.txt"):
        assert "://" not in (ROOT / lock).read_text(encoding="utf-8")


def test_the_test_lock_agrees_with_the_lock_of_the_studio():
    def pins(lock: str) -> set[str]:
        text = (ROOT / lock).read_text(encoding="utf-8")
        return {line.split()[0] for line in text.splitlines() if re.match(r"[\w.-]+==", line)}

    assert pins("requirements.txt") <= pins("tests/requirements.txt")


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_commands_in_documents_exist(document):
    text = (ROOT / document).read_text(encoding="utf-8")
    studio = re.findall(r"python3 -m studio ([a-z][^\n`|&]*)", text)
    for words in studio:
        assert read_arguments(words.split("#")[0].split()).part
    for command in re.findall(r"manage\.py ([a-z_]+)", text):
        places = [ROOT / app / "management" / "commands" / f"{command}.py" for app in APPS]
        assert any(place.exists() for place in places) or command in DJANGOS, command
    assert document != "README.md" or ("python3 -m tests" in text and studio)


def test_places_named_for_developers_exist():
    """Files and folders with their path, in backticks; a room alone, such as `pages/`, is in an
    app, and `.wareboard/` is made by running."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`(\.?[\w-]+/[\w./-]*)`", text)
    rooms = [name for name in named if name.count("/") == 1 and name.endswith("/")]
    missing = [name for name in named if name not in rooms and not (ROOT / name).exists()]
    missing += [
        name
        for name in rooms
        if name != ".wareboard/" and not any((ROOT / app / name).is_dir() for app in APPS)
    ]
    assert (len(named) > 50, missing) == (True, [])


DJANGOS = ("check", "migrate", "makemigrations", "shell", "dbshell", "collectstatic", "spectacular")


def test_every_variable_is_in_the_developers_table():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| `([A-Z_]+)` \| (.*) \|$", text, re.MULTILINE))
    expected = {
        one.name: f"{one.kind} | {f'`{one.default}`' if one.default else ''} | {one.meaning}"
        for one in VARIABLES
    }
    assert {name: re.sub(r"\s+", " ", row) for name, row in rows.items()} == {
        name: re.sub(r"\s+", " ", row) for name, row in expected.items()
    }


def test_nobody_else_reads_the_environment():
    allowed = {"studio/environment.py", "studio/bootstrap.py", "studio/back_up.py"}
    # manage.py, celery.py and wsgi.py only name the settings module.
    wrong = [
        ids(path)
        for path in sources(*APPS)
        if re.search(
            r"os\.environ\b(?!\.setdefault\(\"DJANGO_SETTINGS_MODULE\")|getenv",
            path.read_text(encoding="utf-8"),
        )
        and ids(path) not in allowed
    ]
    assert wrong == []
