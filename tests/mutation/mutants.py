"""Every small change of one module's source, made one at a time.

A comparison turned or loosened, an operator exchanged, a condition dropped or
negated, a number or a flag moved, a statement left out. Sentences for people and
docstrings are left alone; annotations and decorators (a frozen dataclass that is no
longer frozen does the same) too. The order is that of the source.
"""

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.Gt),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.Lt),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
REACHED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.Mod: ast.Mult,
    ast.FloorDiv: ast.Mult,
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change.

    Attributes:
        line: where, from 1.
        change: what, in a few words.
        source: the whole module with it.
    """

    line: int
    change: str
    source: str


def mutants_of(source: str) -> Iterator[Mutant]:
    """Every mutant of a module."""
    tree = ast.parse(source)
    count = sum(1 for _ in ast.walk(tree))
    for place in range(count):
        node = _nth(tree, place)
        for number in range(len(_changes(node))):
            changed = copy.deepcopy(tree)
            twin = _nth(changed, place)
            if _is_aside(changed, twin) or _is_prose(changed, twin):
                continue
            change = _changes(twin)[number]
            words = change.apply()
            ast.fix_missing_locations(changed)
            line = getattr(node, "lineno", 0)
            yield Mutant(line, words, ast.unparse(changed))


def _nth(tree: ast.AST, place: int) -> ast.AST:
    return next(node for at, node in enumerate(ast.walk(tree)) if at == place)


@dataclass(frozen=True, slots=True)
class _Set:
    """Set one field of a node to something else."""

    node: ast.AST
    field: str
    value: object
    words: str

    def apply(self) -> str:
        setattr(self.node, self.field, self.value)
        return self.words


def _changes(node: ast.AST) -> list[_Set]:
    match node:
        case ast.Compare():
            return _compared(node)
        case ast.BinOp() | ast.AugAssign() if type(node.op) in REACHED:
            other = REACHED[type(node.op)]
            words = f"{type(node.op).__name__} to {other.__name__}"
            return [_Set(node, "op", other(), words)]
        case ast.BoolOp():
            return _joined(node)
        case ast.UnaryOp(op=ast.Not()):
            twice = ast.UnaryOp(ast.Not(), node.operand)
            return [_Set(node, "operand", twice, "drop not")]
        case ast.IfExp() | ast.If() | ast.While():
            negated = ast.UnaryOp(ast.Not(), node.test)
            return [_Set(node, "test", negated, "negate the condition")]
        case ast.Constant():
            return _moved(node)
        case ast.FunctionDef():
            return _without_statements(node)
        case ast.Tuple(ctx=ast.Load()):
            return _exchanged(node)
        case _:
            return []


def _compared(node: ast.Compare) -> list[_Set]:
    found = []
    for at, op in enumerate(node.ops):
        for other in COMPARED.get(type(op), ()):
            ops = [*node.ops[:at], other(), *node.ops[at + 1 :]]
            words = f"{type(op).__name__} to {other.__name__}"
            found.append(_Set(node, "ops", ops, words))
    return found


def _joined(node: ast.BoolOp) -> list[_Set]:
    other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    found = [_Set(node, "op", other, "and for or")]
    for at in range(len(node.values)):
        rest = [value for place, value in enumerate(node.values) if place != at]
        kept = rest if len(rest) > 1 else rest * 2
        found.append(_Set(node, "values", kept, f"drop condition {at + 1}"))
    return found


def _moved(node: ast.Constant) -> list[_Set]:
    value = node.value
    if isinstance(value, bool):
        return [_Set(node, "value", not value, f"{value} to {not value}")]
    if isinstance(value, int):
        return [_Set(node, "value", value + 1, f"{value} to {value + 1}")]
    if isinstance(value, float):
        larger = value * 1.5 if value else 1.0
        return [_Set(node, "value", larger, f"{value} to {larger:g}")]
    return []


def _exchanged(node: ast.Tuple) -> list[_Set]:
    """A row of a table: each name in it replaced by the next one along."""
    names = [item.id for item in node.elts if isinstance(item, ast.Name)]
    if len(names) < len(node.elts) or len(set(names)) < 1 or len(names) < 3:
        return []
    known = sorted({*names, "_T", "_L"} if names[0].startswith("_") else set(names))
    found = []
    for at, name in enumerate(names):
        other = known[(known.index(name) + 1) % len(known)]
        if other != name:
            row = [*node.elts]
            row[at] = ast.Name(other, ast.Load())
            found.append(_Set(node, "elts", row, f"{name} to {other} in a row"))
    return found


def _without_statements(node: ast.FunctionDef) -> list[_Set]:
    """Each simple statement left out; what is returned or raised stays."""
    found = []
    for at, statement in enumerate(node.body):
        plain = isinstance(statement, ast.Expr | ast.Assign | ast.AugAssign)
        doc = isinstance(statement, ast.Expr) and isinstance(
            statement.value, ast.Constant
        )
        if plain and not doc:
            body = [*node.body[:at], ast.Pass(), *node.body[at + 1 :]]
            words = f"leave out line {statement.lineno}"
            found.append(_Set(node, "body", body, words))
    return found


def _is_aside(tree: ast.AST, node: ast.AST) -> bool:
    """Part of an annotation or of a decorator."""
    for other in ast.walk(tree):
        held = [getattr(other, name, None) for name in ("annotation", "returns")]
        held += getattr(other, "decorator_list", [])
        trees = [part for part in held if isinstance(part, ast.AST)]
        if any(n is node for part in trees for n in ast.walk(part)):
            return True
    return False


def _is_prose(tree: ast.AST, node: ast.AST) -> bool:
    """Figures inside an f-string are words for people."""
    if not isinstance(node, ast.Constant):
        return False
    return any(
        isinstance(other, ast.FormattedValue | ast.JoinedStr)
        and any(n is node for n in ast.walk(other))
        for other in ast.walk(tree)
    )
