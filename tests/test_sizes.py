"""Budgets: how long a module and a function may be, and what must be annotated and explained."""

import ast
import statistics
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parent.parent
PRODUCT = ("gateway", "simulators")
MODULE_MEDIAN, MODULE_MOST = 150, 350
FUNCTION_P90, FUNCTION_MOST = 30, 60

Function = ast.FunctionDef | ast.AsyncFunctionDef


class Sized(NamedTuple):
    """How many lines something has; a module has all its lines, a function those from `def` to its end."""

    lines: int
    name: str


def module_files(folders: tuple[str, ...] = PRODUCT) -> list[Path]:
    """Every module below these folders; a folder that is not there yet has none."""
    return sorted(file for folder in folders for file in (ROOT / folder).rglob("*.py"))


def functions(tree: ast.AST) -> Iterator[Function]:
    """Every function and method, inner ones too."""
    yield from (node for node in ast.walk(tree) if isinstance(node, Function))


def percentile(values: list[int], share: float) -> int:
    """The smallest value that at least this share of the values does not exceed (nearest rank)."""
    ordered = sorted(values)
    return ordered[max(0, -(-int(share * 100) * len(ordered) // 100) - 1)]


def over(sized: list[Sized], most: int) -> list[str]:
    """The longest first, each with its length, of those above the limit."""
    return [
        f"{one.name}: {one.lines} lines, at most {most}" for one in sorted(sized)[::-1] if one.lines > most
    ]


def long_modules(sized: list[Sized]) -> list[str]:
    """What breaks the module budget."""
    found = over(sized, MODULE_MOST)
    if sized and statistics.median(one.lines for one in sized) > MODULE_MEDIAN:
        found += ["the median module is too long: shorten among these", *over(sized, MODULE_MEDIAN)]
    return found


def long_functions(sized: list[Sized]) -> list[str]:
    """What breaks the function budget."""
    found = over(sized, FUNCTION_MOST)
    if sized and percentile([one.lines for one in sized], 0.9) > FUNCTION_P90:
        found += ["more than a tenth of the functions are too long: shorten among these"]
        found += over(sized, FUNCTION_P90)
    return found


def module_sizes(files: list[Path]) -> list[Sized]:
    """Lines of each module that defines something (a bare `__init__` would only flatter the median)."""
    texts = ((file, file.read_text()) for file in files)
    return [Sized(len(text.splitlines()), _name(file)) for file, text in texts if _defines(ast.parse(text))]


def _defines(tree: ast.Module) -> bool:
    return any(isinstance(node, Function | ast.ClassDef) for node in tree.body)


def function_sizes(source: str, name: str) -> list[Sized]:
    """Lines of each function of a source."""
    return [
        Sized((node.end_lineno or node.lineno) - node.lineno + 1, f"{name}:{node.lineno} {node.name}")
        for node in functions(ast.parse(source))
    ]


def unannotated(source: str, name: str) -> list[str]:
    """Functions with an argument or a result that has no type (self and cls need none)."""
    found = []
    for node in functions(ast.parse(source)):
        spec = node.args
        plain = [*spec.posonlyargs, *spec.args]
        named = [arg for i, arg in enumerate(plain) if not (i == 0 and arg.arg in ("self", "cls"))]
        every = [*named, *spec.kwonlyargs, *(arg for arg in (spec.vararg, spec.kwarg) if arg)]
        bare = [arg.arg for arg in every if arg.annotation is None]
        bare += [] if node.returns else ["its result"]
        if bare:
            found.append(f"{name}:{node.lineno} {node.name}: no type for {', '.join(bare)}")
    return found


def unexplained(source: str, name: str, deep: bool) -> list[str]:
    """The module, and if `deep` each public class, function and method, that has no docstring."""
    tree = ast.parse(source)
    found = [] if ast.get_docstring(tree) else [f"{name}: the module has no docstring"]
    for node in _public(tree) if deep else ():
        if not ast.get_docstring(node):
            found.append(f"{name}:{node.lineno} {node.name}: no docstring")
    return found


def _public(tree: ast.Module | ast.ClassDef) -> Iterator[Function | ast.ClassDef]:
    """Public definitions of a module or of a public class of it; not what is inside a function."""
    for node in tree.body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from _public(node)


def _name(file: Path) -> str:
    return file.relative_to(ROOT).as_posix()


def _must_explain(name: str) -> bool:
    return name.startswith("gateway/core/") or name == "gateway/ports.py"


def _report(found: list[str]) -> str:
    return "\n" + "\n".join(found)


def test_modules_are_short() -> None:
    found = long_modules(module_sizes(module_files()))
    assert not found, _report(found)


def test_functions_are_short() -> None:
    sized = [one for file in module_files() for one in function_sizes(file.read_text(), _name(file))]
    found = long_functions(sized)
    assert not found, _report(found)


def test_every_function_is_annotated() -> None:
    files = module_files((*PRODUCT, "tests"))
    found = [line for file in files for line in unannotated(file.read_text(), _name(file))]
    assert not found, _report(found)


def test_every_module_says_what_it_is_and_the_core_explains_itself() -> None:
    files = module_files((*PRODUCT, "tests"))
    assert files, "no module found: is this the repository?"
    found = [
        line
        for file in files
        for line in unexplained(file.read_text(), _name(file), _must_explain(_name(file)))
    ]
    assert not found, _report(found)


def test_a_module_over_the_budget_is_found() -> None:
    fine = [Sized(150, "a.py"), Sized(20, "b.py"), Sized(350, "c.py")]
    assert long_modules(fine) == []
    assert long_modules([*fine, Sized(351, "d.py"), Sized(1, "e.py")]) == ["d.py: 351 lines, at most 350"]
    assert long_modules([Sized(151, "a.py"), Sized(151, "b.py"), Sized(9, "c.py")])[1:] == [
        "b.py: 151 lines, at most 150",
        "a.py: 151 lines, at most 150",
    ]


def test_a_function_over_the_budget_is_found() -> None:
    source = "def f() -> None:\n" + "    x = 1\n" * 60
    assert function_sizes(source, "m.py") == [Sized(61, "m.py:1 f")]
    nine = [Sized(30, "short")] * 9
    assert long_functions([*nine, Sized(60, "long")]) == []
    assert long_functions([*nine, Sized(61, "long")]) == ["long: 61 lines, at most 60"]
    assert long_functions([*nine, Sized(31, "one"), Sized(31, "two")])[1:] == [
        "two: 31 lines, at most 30",
        "one: 31 lines, at most 30",
    ]


@pytest.mark.parametrize(
    ("source", "bare"),
    [
        ("def f(a, b: int) -> None: ...", "a"),
        ("def f(a: int): ...", "its result"),
        ("async def f(*a, k=1, **b) -> int: ...", "k, a, b"),
        ("class C:\n    def f(self, x) -> int: ...", "x"),
        ("def f() -> None:\n    def g(y) -> None: ...", "y"),
    ],
)
def test_a_missing_type_is_found(source: str, bare: str) -> None:
    [found] = unannotated(source, "m.py")
    assert found.endswith(f"no type for {bare}")


def test_full_types_pass() -> None:
    assert unannotated("class C:\n    def f(self, x: int, *a: str, **k: int) -> int: ...", "m.py") == []


def test_a_missing_docstring_is_found() -> None:
    source = (
        '"""m."""\nclass C:\n    def f(self) -> int: ...\n    def _g(self) -> int: ...\ndef h() -> int: ...'
    )
    assert unexplained(source, "m.py", deep=False) == []
    assert unexplained("x = 1", "m.py", deep=False) == ["m.py: the module has no docstring"]
    assert [line.split()[1] for line in unexplained(source, "m.py", deep=True)] == ["C:", "f:", "h:"]
