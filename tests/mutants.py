"""Whether the core tests notice small mistakes: a fixed sample of mutants of the cores, each run against its tests.

A mutant is one change of one place: an operator, a comparison, a number, a condition. Killed means that a test fails
(or no answer comes in time). Usage: mutants.py [--count 300] [--only PATH]. Exits 1 below the share demanded.
Mutants that no test can notice stand in `EQUIVALENT`, each with the reason, by its place as printed.
"""

import argparse
import ast
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import signal
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import hypothesis  # noqa: F401 - loaded once, before the processes part
import numpy as np  # noqa: F401
import pytest

ROOT = Path(__file__).parents[1]
SEED, COUNT, DEMANDED = 20261130, 300, 0.88
LONGEST_S = 60
# What is mutated, and the tests that are to notice.
TARGETS = {
    "sites/core/hydraulics.py": ["tests/sites/core/test_hydraulics.py", "tests/sites/core/test_zone_water.py"],
    "sites/core/electrical.py": ["tests/sites/core/test_electrical.py", "tests/sites/core/test_checks.py"],
    "sites/core/metering.py": ["tests/sites/core/test_metering.py"],
    "sites/core/checks.py": ["tests/sites/core/test_checks.py"],
    "jobs/core/diagnosis.py": ["tests/jobs/core/test_diagnosis.py"],
    "scheduling/core/water/soil.py": ["tests/scheduling/core/water/test_soil.py"],
    "scheduling/core/station_files.py": ["tests/scheduling/core/test_station_files.py"],
}
EQUIVALENT = {
    "sites/core/metering.py:use_m3: after >= before -> after > before": "equal readings differ by 0 either way",
}

SWAPS: dict[type, type] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult, ast.Mod: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    path: str
    place: str
    tree: ast.Module


def places_of(path: str) -> Iterator[tuple[str, int, int]]:
    """Every place of one file where something can be changed: path, number of the node, number of the change."""
    tree = ast.parse((ROOT / path).read_text())
    skipped = {id(node) for top in ast.walk(tree) for part in wordings(top) for node in ast.walk(part)}
    for number, node in enumerate(ast.walk(tree)):
        if id(node) not in skipped:
            yield from ((path, number, which) for which in range(len(changes(node))))


def mutant_at(path: str, number: int, which: int) -> Mutant:
    """The file with that one change."""
    tree = ast.parse((ROOT / path).read_text())
    node = next(node for at, node in enumerate(ast.walk(tree)) if at == number)
    place, before, change = f"{path}:{scope_of(tree, node)}", words_of(node), changes(node)[which]
    setattr(node, *change)
    return Mutant(path, f"{place}: {before} -> {words_of(node)}", ast.fix_missing_locations(tree))


def wordings(node: ast.AST) -> list[ast.AST]:
    """What of this node holds words or types instead of computing."""
    parts: list[ast.AST | None] = [getattr(node, "annotation", None), getattr(node, "returns", None)]
    if isinstance(node, ast.JoinedStr):
        parts.append(node)
    if isinstance(node, ast.Raise):
        parts.append(node)
    return [part for part in parts if part is not None]


def changes(node: ast.AST) -> list[tuple[str, object]]:
    """What can be changed in this node: the attribute and its new value."""
    found: list[tuple[str, object]] = []
    if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPS:
        found.append(("op", SWAPS[type(node.op)]()))
    if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
        found.append(("ops", [SWAPS[type(node.ops[0])](), *node.ops[1:]]))
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        found.append(("value", node.value + 1 if isinstance(node.value, int) else node.value * 1.1 + 0.01))
    if isinstance(node, ast.If | ast.IfExp):
        found += [("test", ast.UnaryOp(ast.Not(), node.test))]
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("min", "max"):
        found.append(("func", ast.Name({"min": "max", "max": "min"}[node.func.id], ast.Load())))
    return found


def words_of(node: ast.AST) -> str:
    return " ".join(ast.unparse(node).split())[:90]


def scope_of(tree: ast.Module, node: ast.AST) -> str:
    """The function or class that holds the node, so that a place keeps its name when lines move."""
    line = getattr(node, "lineno", 0)
    holders = [
        top for top in tree.body
        if isinstance(top, ast.FunctionDef | ast.ClassDef) and top.lineno <= line <= (top.end_lineno or 0)
    ]  # fmt: skip
    return holders[0].name if holders else "module"


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives the mutant where its module is imported."""

    def __init__(self, mutant: Mutant) -> None:
        self.name = mutant.path.removesuffix(".py").replace("/", ".")
        self.mutant = mutant

    def find_spec(self, fullname, path, target=None):
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, ROOT / self.mutant.path, loader=self)

    def exec_module(self, module) -> None:
        exec(compile(self.mutant.tree, self.mutant.path, "exec"), module.__dict__)


def survives(mutant: Mutant) -> bool:
    """Whether every test still passes, tried in a process of its own."""
    child = os.fork()
    if child:
        return os.waitpid(child, 0)[1] == 0
    signal.alarm(LONGEST_S)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1), os.dup2(quiet, 2)
    sys.meta_path.insert(0, Changed(mutant))
    sys.dont_write_bytecode = True
    options = ["-p", "no:django", "-p", "no:xdist", "-x", "-c", "tests/core.ini", "--rootdir", ".", "-m"]
    os._exit(pytest.main([*options, "not slow", *TARGETS[mutant.path]]))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--only", choices=TARGETS)
    given = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    os.environ.setdefault("HYPOTHESIS_PROFILE", "core")
    everything = [place for path in TARGETS for place in places_of(path)]
    chosen = random.Random(SEED).sample(everything, min(given.count, len(everything)))
    tried = [mutant_at(*place) for place in chosen if given.only in (None, place[0])]
    tried = [mutant for mutant in tried if mutant.place not in EQUIVALENT]
    for path in sorted({mutant.path for mutant in tried}):
        if not survives(Mutant(path, path, ast.parse((ROOT / path).read_text()))):
            sys.exit(f"The tests of {path} fail without any change.")
    alive = []
    for mutant in tried:
        if survives(mutant):
            alive.append(mutant)
            print(mutant.place, flush=True)
    share = 1 - len(alive) / len(tried)
    for path in TARGETS:
        of_file = [mutant for mutant in tried if mutant.path == path]
        left = sum(mutant.path == path for mutant in alive)
        print(f"{path}: {len(of_file) - left} of {len(of_file)} killed")
    print(f"{len(tried) - len(alive)} of {len(tried)} mutants killed ({share:.0%}); {len(everything)} there are.")
    return int(share < DEMANDED)


if __name__ == "__main__":
    sys.exit(main())
