"""What import-linter cannot say about the layers: outside modules, clocks, files, chance, writes and routes.

Usage: contracts.py [FOLDER]. Prints one line a violation and exits 1 where there is one. `make contracts` runs both.
"""

import ast
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parents[1]
CONTRACTS = tomllib.loads((HERE / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
APPS, OF_AN_APP = (contract["layers"][::-1] for contract in CONTRACTS[:2])  # both from below
# A layer may use its own rank and those below, of its own app and of apps below.
RANK = {layer: rank for rank, group in enumerate(OF_AN_APP) for layer in re.findall(r"\w+", group)}
EDGE = {"access", "answers", "views", "api", "admin", "management", "urls", "apps"}
PURE = {"core", "documents"}
TALKS_TO_MACHINES = {"outside", "tasks", *EDGE}
UNPLACED = {"migrations", "templates", "static", "__init__"}


@dataclass(frozen=True)
class Ban:
    """Modules that these layers may not import, by dotted prefix; `but` are prefixes that they may."""

    layers: frozenset[str]
    modules: tuple[str, ...]
    why: str
    but: tuple[str, ...] = ()


NETWORK = (
    "socket", "ssl", "http", "urllib", "ftplib", "smtplib", "imaplib", "poplib", "telnetlib", "xmlrpc", "asyncio",
    "requests", "httpx", "aiohttp", "urllib3", "websockets", "redis", "subprocess", "multiprocessing",
)  # fmt: skip
ALL = frozenset(RANK)
BANS = (
    Ban(frozenset(PURE), ("django", "rest_framework", "celery", "structlog", "logging"), "a core knows no framework"),
    Ban(frozenset(PURE), ("time", "sched", "threading"), "a core knows no clock"),
    Ban(frozenset(PURE), ("secrets", "numpy.random"), "a core knows no randomness"),
    Ban(
        frozenset(PURE),
        ("os", "pathlib", "shutil", "tempfile", "glob", "sqlite3", "fileinput"),
        "a core knows no files",
    ),
    Ban(frozenset(PURE), ("importlib", "builtins", "ctypes"), "a core loads nothing", but=("importlib.resources",)),
    Ban(ALL - TALKS_TO_MACHINES, NETWORK, "only the layer `outside` talks to another machine", but=("urllib.parse",)),
    Ban(
        ALL - EDGE - {"forms"},
        ("django.http", "django.shortcuts", "django.contrib.messages", "rest_framework"),
        "requests and answers stay at the edge",
    ),
    Ban(frozenset({"forms"}), ("django.shortcuts", "rest_framework"), "requests and answers stay at the edge"),
    Ban(ALL - {"documents"}, ("reportlab",), "only documents draw PDFs"),
    Ban(frozenset({"queries"}), ("django.db.transaction",), "a query writes nothing"),
)
# Calls by the name after the last dot.
CLOCKS = {"now", "today", "utcnow", "monotonic", "perf_counter", "localdate", "localtime"}
FILES = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "unlink", "mkdir"}
CHANCE = {"uuid1", "uuid4", "urandom", "token_hex", "token_urlsafe", "default_rng", "SystemRandom"}
WRITES = {
    "save", "asave", "create", "acreate", "bulk_create", "bulk_update", "get_or_create", "update_or_create", "delete",
    "adelete", "_raw_delete", "select_for_update", "atomic", "execute", "executemany", "full_clean",
}  # fmt: skip
ROUTE = re.compile(r"""["']({}):[a-z_]+["']""".format("|".join(APPS)))
LINK = re.compile(r"""link_to[ (]["']([^"']+)["']""")
OFFERED = re.compile(r"""^\s+"([^"]+)": "(?:{}):[a-z_]+",?$|offer\(\{{"([^"]+)":""".format("|".join(APPS)), re.M)


@dataclass(frozen=True)
class Source:
    """One Python file: its app, its layer (`` `` for the app's own `__init__`) and what it holds."""

    path: Path
    app: str
    layer: str
    tree: ast.Module
    text: str


def sources(root: Path) -> Iterator[Source]:
    for app in APPS:
        for path in sorted((root / app).rglob("*.py")):
            parts = path.relative_to(root).with_suffix("").parts
            if "migrations" not in parts:
                text = path.read_text()
                yield Source(path.relative_to(root), app, parts[1], ast.parse(text), text)


def imported(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Every module or name that the file imports, with its line; also what stands inside a function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.lineno, f"{node.module or ''}.{alias.name}") for alias in node.names)


def under(module: str, prefixes: tuple[str, ...]) -> bool:
    return any(module == prefix or module.startswith(f"{prefix}.") for prefix in prefixes)


def placed(source: Source) -> Iterator[tuple[int, str]]:
    """Every file stands in a layer."""
    if source.app != "config" and source.layer not in RANK and source.layer not in UNPLACED:
        yield 1, f"no layer is called {source.layer}: place it in pyproject.toml"


def banned_imports(source: Source) -> Iterator[tuple[int, str]]:
    layer = source.layer if source.app != "config" else "views"
    for line, module in imported(source.tree):
        for ban in BANS:
            if layer in ban.layers and under(module, ban.modules) and not under(module, ban.but):
                yield line, f"{module}: {ban.why}"


def across_apps(source: Source) -> Iterator[tuple[int, str]]:
    """What an app may use of one below: layers as low as the own one, never its views."""
    if source.app == "config":
        return
    for line, module in imported(source.tree):
        app, _, rest = module.partition(".")
        layer = rest.partition(".")[0]
        if app not in APPS or app == source.app or layer not in RANK:
            continue
        if layer in ("views", "urls", "apps"):
            yield line, f"{module}: another app's {layer}"
        elif source.layer in RANK and RANK[layer] > RANK[source.layer]:
            yield line, f"{module}: {source.layer} may not use {layer}, of no app"


def impure_calls(source: Source) -> Iterator[tuple[int, str]]:
    """In a core: a clock that is read, a file that is opened, a number drawn without a seed."""
    if source.layer not in PURE or source.app == "config":
        return
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.Call):
            continue
        name, owner = called(node)
        if name in CLOCKS and owner:
            yield node.lineno, f"{owner}.{name}(): a core knows no clock"
        elif name in FILES and not inside_package(node):
            yield node.lineno, f"{name}(): a core knows no files"
        elif name in CHANCE or (owner == "random" and not (name == "Random" and node.args)):
            yield node.lineno, f"{name}(): a core draws nothing without a seed"
        elif name in ("__import__", "import_module", "eval", "exec"):
            yield node.lineno, f"{name}(): a core loads nothing"
    for line, module in imported(source.tree):
        if under(module, ("random",)) and module not in ("random", "random.Random"):
            yield line, f"{module}: a core draws nothing without a seed"


def inside_package(node: ast.Call) -> bool:
    """`resources.files(...)…`: a file that comes with the code."""
    return "resources.files(" in ast.unparse(node)


def called(node: ast.Call) -> tuple[str, str]:
    """The called name and what stands before its last dot."""
    if isinstance(node.func, ast.Attribute):
        return node.func.attr, ast.unparse(node.func.value)
    return (node.func.id, "") if isinstance(node.func, ast.Name) else ("", "")


def written(source: Source) -> Iterator[tuple[int, str]]:
    """A query reads. `rows.update(field=…)` is a write, `a_dict.update(other)` is not."""
    if source.layer != "queries":
        return
    for node in ast.walk(source.tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        name = node.func.attr
        if name in WRITES or (name in ("update", "aupdate") and node.keywords and not node.args):
            yield node.lineno, f".{name}(): a query writes nothing"


def routes_above(app: str, text: str) -> Iterator[tuple[int, str]]:
    """Routes of an app above: an app asks for a page above by what `sites.links` was offered."""
    above = APPS[APPS.index(app) + 1 :]
    for match in ROUTE.finditer(text):
        if match.group(1) in above:
            yield text.count("\n", 0, match.start()) + 1, f"{match.group()}: a route of an app above"


def unoffered(text: str, offered: set[str]) -> Iterator[tuple[int, str]]:
    for match in LINK.finditer(text):
        if match.group(1) not in offered:
            yield text.count("\n", 0, match.start()) + 1, f'link_to "{match.group(1)}": nobody offers it'


def violations(root: Path) -> list[str]:
    files = list(sources(root))
    offered = {a or b for file in files if file.layer == "apps" for a, b in OFFERED.findall(file.text)}
    found = []
    for file in files:
        checks = [placed, banned_imports, across_apps, impure_calls, written]
        lines = [line for check in checks for line in check(file)]
        if file.app != "config":
            lines += [*routes_above(file.app, file.text), *unoffered(file.text, offered)]
        found += [f"{file.path}:{line}: {words}" for line, words in lines]
    for app in APPS[:-1]:
        for page in sorted((root / app).rglob("templates/**/*.html")):
            text = page.read_text()
            lines = [*routes_above(app, text), *unoffered(text, offered)]
            found += [f"{page.relative_to(root)}:{line}: {words}" for line, words in lines]
    homes = {path.parent.name for name in ("__init__.py", "apps.py") for path in root.glob(f"*/{name}")}
    strangers = sorted(homes - {*APPS, "tests"})
    found += [f"{home}/: no app is called so: place it in pyproject.toml" for home in strangers]
    return found


if __name__ == "__main__":
    broken = violations(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
    print("\n".join(broken) or "Layers hold: outside modules, clocks, files, randomness, writes, routes.")  # noqa: T201
    sys.exit(bool(broken))
