"""Random mutants: does a module's own test file notice when one small thing in the module is wrong?

A tool for developers that the suite does not run::

    python tests/mutants.py covercrop/ending.py covercrop/models --count 120 --seed 1

Each mutant is one change of one place: a comparison flipped or shifted to take in its edge, plus and minus, ``and`` and
``or``, a least and a greatest changed for each other, a number one or a tenth off, a dropped ``not`` or sign, True and
False, one branch taken always, a function that hands back its first argument.  It is written into a copy of the
repository under the temporary folder, and only the test files named after its module are run on it
(:func:`tests_of`), to the first failure.  A mutant on which they pass has survived: it is printed with its place and
what was changed.  In the end stands the score, and the exit status is 1 if it is below ``--least``.

Mutants that can change nothing are left out by rule (:func:`_passed_over`): texts and messages, type hints, decorators
(``maxsize``, ``frozen``), ``__slots__``, what is imported for types only, overloads, ``strict`` of a zip, guards
against the last digits of a sum (below :data:`TINY`, added or taken away), and what stands in for a
divisor where the condition around it says that the quotient is not used (:func:`_stand_ins`).  A line that ends in
:data:`SPEED` is passed over too: such a mark is set only where either way gives the same answer, one later than the
other, and says how that is.  Whatever survives else is either a hole or argued for where the numbers are told.  The
same seed draws the same mutants of the same code.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

REPOSITORY = Path(__file__).resolve().parent.parent
COPIED = ("covercrop", "tests", "data", "pyproject.toml", "README.md", "DEVELOPERS.md")

#: Modules whose tests stand in a file of another name: the parts of a module that was split.
ELSEWHERE = {
    "absences": "plan_parts",
    "adding": "add",
    "bbch": "phenology",
    "biomass": "growth",
    "cereal": "mixture_models",
    "comparison": "compare",
    "crown": "snow",
    "decay": "decomposition",
    "following": "chain",
    "frost": "hazards",
    "ground_part": "plan_parts",
    "maggot": "hazards",
    "many": "many_fields",
    "measurements": "measured",
    "members": "ensemble",
    "mixture": "mixture_models",
    "note_weights": "ensemble",
    "next_step": "plan_parts",
    "nitrogen_part": "plan_parts",
    "planting_part": "plan_parts",
    "provenance": "plan_parts",
    "ripeness": "ripening",
    "season_calendar": "hazards",
    "seedling_disease": "hazards",
    "stand_part": "plan_parts",
    "start": "chain",
    "window_part": "plan_parts",
    "winter": "growth",
}

#: Numbers nearer to nothing than this guard against the last digits of a sum.
TINY = 1e-5

#: What marks a line on which a change costs time and no answer.
SPEED = "# speed only: "

COMPARED = {
    ast.Lt: ("<=", ">="),
    ast.LtE: ("<", ">"),
    ast.Gt: (">=", "<="),
    ast.GtE: (">", "<"),
    ast.Eq: ("!=",),
    ast.NotEq: ("==",),
    ast.Is: ("is not",),
    ast.IsNot: ("is",),
    ast.In: ("not in",),
    ast.NotIn: ("in",),
}
RECKONED = {
    ast.Add: "-",
    ast.Sub: "+",
    ast.Mult: "/",
    ast.Div: "*",
    ast.FloorDiv: "*",
    ast.Mod: "*",
    ast.Pow: "*",
    ast.BitAnd: "|",
    ast.BitOr: "&",
}
OPPOSITE = {"minimum": "maximum", "fmin": "fmax", "min": "max", "any": "all", "floor": "ceil", "argmin": "argmax"}
OPPOSITE |= {other: name for name, other in OPPOSITE.items()}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: the module, where it stands in its bytes, and what is put there."""

    module: Path
    line: int
    start: int
    end: int
    text: str

    def applied(self, source: bytes) -> bytes:
        """The module with the change in it."""
        return source[: self.start] + self.text.encode() + source[self.end :]


def tests_of(module: Path, root: Path) -> list[Path]:
    """The test file of a module: ``test_<module>.py``, or else the one that :data:`ELSEWHERE` names."""
    names = (module.stem, ELSEWHERE.get(module.stem, module.stem))
    files = [root / "tests" / f"test_{name}.py" for name in names]
    return [path for path in files if path.is_file()][:1]


def mutants_of(module: Path) -> list[Mutant]:
    """Every mutant of a module, in the order of its text."""
    source = module.read_bytes()
    written, lines = source.decode().splitlines(), [0]
    for line in source.splitlines(keepends=True):
        lines.append(lines[-1] + len(line))

    def mutant(place: ast.expr | ast.stmt, text: str) -> Mutant:
        assert place.end_lineno is not None
        assert place.end_col_offset is not None
        start, end = lines[place.lineno - 1] + place.col_offset, lines[place.end_lineno - 1] + place.end_col_offset
        return Mutant(module=module, line=place.lineno, start=start, end=end, text=text)

    tree = ast.parse(source)
    passed = _stand_ins(tree)
    found = [mutant(*change) for node in _nodes(tree) if node not in passed for change in _changes(node)]
    return [each for each in found if SPEED not in written[each.line - 1]]


def _stand_ins(tree: ast.AST) -> set[ast.AST]:
    """The ``1.0`` of every ``where(c, a / where(c, b, 1.0), ...)``: without ``c`` its quotient is not read."""
    chosen = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and ast.unparse(node.func) == "np.where"]
    return {
        inner.args[2]
        for outer in chosen
        for inner in ast.walk(outer.args[1])
        if inner in chosen and ast.unparse(inner.args[0]) == ast.unparse(outer.args[0])  # type: ignore[attr-defined]
    }


def _nodes(node: ast.AST) -> Iterator[ast.AST]:
    """What may be changed in a tree, from the top down."""
    for name, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _passed_over(node, name, child):
                yield child
                yield from _nodes(child)


def _passed_over(parent: ast.AST, name: str, child: ast.AST) -> bool:
    """Whether a change there could change nothing that is tested: see the head of this file."""
    if name in ("annotation", "returns", "decorator_list") or isinstance(child, ast.JoinedStr | ast.Raise | ast.Assert):
        return True
    if isinstance(child, ast.FunctionDef) and any(ast.unparse(each) == "overload" for each in child.decorator_list):
        return True
    if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
        return True
    if isinstance(parent, ast.Assign) and name == "value":
        return any(ast.unparse(target) in ("__slots__", "__all__", "Array") for target in parent.targets)
    return isinstance(child, ast.keyword) and child.arg == "strict"


def _changes(node: ast.AST) -> Iterator[tuple[ast.expr | ast.stmt, str]]:
    """What may stand in the place of a node, or of what a function gives back."""
    if isinstance(node, ast.FunctionDef) and isinstance(node.body[-1], ast.Return) and node.args.args:
        given, value = [argument.arg for argument in node.args.args if argument.arg != "self"], node.body[-1].value
        if given and value is not None and ast.unparse(value) != given[0]:
            yield value, given[0]
    elif isinstance(node, ast.expr | ast.stmt):
        yield from ((node, text) for text in _texts(node))


def _texts(node: ast.expr | ast.stmt) -> Iterator[str]:
    match node:
        case ast.Compare(left=left, ops=[operator], comparators=[right]):
            yield from (f"{_inside(left)} {other} {_inside(right)}" for other in COMPARED[type(operator)])
        case ast.BinOp(left=left, op=operator, right=right) if type(operator) in RECKONED and not _text_or_tiny(
            left, right
        ):
            yield f"({_inside(left)} {RECKONED[type(operator)]} {_inside(right)})"
        case ast.AugAssign(target=target, op=operator, value=value) if type(operator) in RECKONED:
            yield f"{ast.unparse(target)} {RECKONED[type(operator)]}= {ast.unparse(value)}"
        case ast.BoolOp(op=operator, values=values):
            yield f"({(' or ' if isinstance(operator, ast.And) else ' and ').join(map(_inside, values))})"
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert(), operand=operand):
            yield _inside(operand)
        case ast.IfExp(body=body, orelse=orelse):
            yield from (_inside(body), _inside(orelse))
        case ast.Constant(value=bool(value)):
            yield str(not value)
        case ast.Constant(value=int(value)):
            yield from (str(value + 1), f"({value - 1})")
        case ast.Constant(value=float(value)) if value == 0 or abs(value) >= TINY:
            yield from (repr(value * 1.1), repr(value * 0.9)) if value else ("1.0",)
        case ast.Call(func=ast.Attribute(value=owner, attr=name)) if name in OPPOSITE:
            yield _called(node, f"{ast.unparse(owner)}.{OPPOSITE[name]}")
        case ast.Call(func=ast.Name(id=name)) if name in OPPOSITE:
            yield _called(node, OPPOSITE[name])


def _text_or_tiny(*nodes: ast.AST) -> bool:
    values = [getattr(node, "value", None) for node in nodes if isinstance(node, ast.Constant)]
    tiny = any(isinstance(value, float) and 0 < value < TINY for value in values)
    return (
        tiny
        or any(isinstance(value, str) for value in values)
        or any(isinstance(node, ast.JoinedStr) for node in nodes)
    )


def _inside(node: ast.AST) -> str:
    return f"({ast.unparse(node)})"


def _called(node: ast.Call, function: str) -> str:
    return f"{function}({', '.join(ast.unparse(given) for given in (*node.args, *node.keywords))})"


# --- trying them ----------------------------------------------------------------------------------


def copied(folder: Path) -> Path:
    """A copy of what the tests need; its compiled files go by what the sources hold, not by when they were written."""
    for name in COPIED:
        if (REPOSITORY / name).is_dir():
            shutil.copytree(REPOSITORY / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(REPOSITORY / name, folder)
    command = [
        sys.executable,
        "-m",
        "compileall",
        "-q",
        "--invalidation-mode",
        "checked-hash",
        str(folder / "covercrop"),
    ]
    subprocess.run(command, check=True)
    return folder


def passes(copy: Path, tests: list[Path], seconds: float) -> bool:
    """Whether test files pass on a copy within a time; without end is a failure."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *map(str, tests)]
    surroundings = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command,
            check=False,
            cwd=copy,
            env=surroundings,
            timeout=seconds,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def survives(mutant: Mutant, copies: Queue[Path], seconds: float) -> bool:
    """Whether the own tests of a module pass on a mutant of it; one without tests survives."""
    copy = copies.get()
    module, source = copy / mutant.module.relative_to(REPOSITORY), mutant.module.read_bytes()
    try:
        module.write_bytes(mutant.applied(source))
        tests = tests_of(module, copy)
        return not tests or passes(copy, tests, seconds)
    finally:
        module.write_bytes(source)
        copies.put(copy)


def shown(mutant: Mutant) -> str:
    """Where a mutant is, and its lines before and after."""
    source = mutant.module.read_bytes()
    old, new = (text.decode().splitlines() for text in (source, mutant.applied(source)))
    alike = next(place for place, pair in enumerate(zip(old, new)) if pair[0] != pair[1])  # noqa: B905
    after = len(new) - len(old) + source[: mutant.end].count(b"\n") + 1
    was, now = old[alike : source[: mutant.end].count(b"\n") + 1], new[alike:after]
    lines = [*(f"  - {line.strip()}" for line in was), *(f"  + {line.strip()}" for line in now)]
    return "\n".join([f"{mutant.module.relative_to(REPOSITORY)}:{mutant.line}", *lines])


def main() -> int:
    """Draw mutants, try them, print the survivors and the score."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("modules", nargs="+", type=Path, help="modules or folders")
    asked.add_argument("--count", type=int, default=120)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=120.0, help="after which tests count as failed")
    asked.add_argument("--jobs", type=int, default=2)
    asked.add_argument("--least", type=float, default=0.9, help="share that has to be found")
    given = asked.parse_args()
    paths = [path.resolve() for path in given.modules]
    modules = [each for path in paths for each in (sorted(path.rglob("*.py")) if path.is_dir() else [path])]
    mutants = [mutant for module in modules for mutant in mutants_of(module)]
    drawn = random.Random(given.seed).sample(mutants, min(given.count, len(mutants)))
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(given.jobs) as pool:
        copies: Queue[Path] = Queue()
        for job in range(given.jobs):
            (Path(folder) / str(job)).mkdir()
            copies.put(copied(Path(folder) / str(job)))
        tests = sorted({path for module in modules for path in tests_of(module, copies.queue[0])})
        if not passes(copies.queue[0], tests, given.seconds * len(tests)):
            sys.exit(f"these tests fail without any mutant: {' '.join(path.name for path in tests)}")
        survived = 0
        for mutant, alive in zip(
            drawn, pool.map(lambda each: survives(each, copies, given.seconds), drawn), strict=True
        ):
            survived += alive
            if alive:
                print(shown(mutant), flush=True)
    found = 1 - survived / len(drawn)
    print(f"{len(drawn) - survived} of {len(drawn)} found ({found:.0%}), of {len(mutants)} possible; seed {given.seed}")
    return int(found < given.least)


if __name__ == "__main__":
    sys.exit(main())
