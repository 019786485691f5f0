"""The package's own source, read and parsed once, when the tests are collected."""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent / "covercrop"

#: The tree of every module.  Made here and not in the tests: while they run, a request that was left in a thread may
#: fail and have its traceback written, which parses too, and Python 3.11 counts the depth of both as one.
TREES: dict[Path, ast.Module] = {
    path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(PACKAGE.rglob("*.py"))
}
