"""The little language in which the catalogue says which cars have a part.

    two-piece-prop-shaft,!front-drive          and, not
    live-axle/independent-rear                 or
    all                                        every car

A comma is "and", a slash is "or" (binding tighter than the comma), an exclamation mark is "not".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Expression:
    """A conjunction of clauses; a clause is a tuple of (trait, wanted) alternatives."""

    clauses: tuple[tuple[tuple[str, bool], ...], ...]

    @property
    def traits(self) -> frozenset[str]:
        return frozenset(trait for clause in self.clauses for trait, _ in clause)

    def holds(self, traits: frozenset[str] | set[str]) -> bool:
        """Whether a car with exactly these traits satisfies the expression."""
        return all(any((t in traits) == wanted for t, wanted in clause) for clause in self.clauses)


@lru_cache(maxsize=4096)
def parse_expression(text: str) -> Expression:
    """Read an expression; ValueError names the piece that cannot be read."""
    if text.strip() == "all":
        return Expression(())
    clauses = []
    for clause in text.split(","):
        alternatives = []
        for piece in clause.split("/"):
            name = piece.strip()
            wanted = not name.startswith("!")
            name = name.removeprefix("!").strip()
            if not name or not all(c.isalnum() or c == "-" for c in name):
                raise ValueError(
                    f"cannot read {piece.strip()!r} in {text!r}: write trait names joined by , / !"
                )
            alternatives.append((name, wanted))
        clauses.append(tuple(alternatives))
    return Expression(tuple(clauses))


def both(expressions: Iterable[Expression]) -> Expression:
    """The expression that holds where all of these hold."""
    clauses = (clause for one in expressions for clause in one.clauses)
    return Expression(tuple(dict.fromkeys(clauses)))
