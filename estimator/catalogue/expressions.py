"""The little language in which the catalogue says which cars have a part.

    two-piece-prop-shaft,!front-drive          and, not
    live-axle/independent-rear                 or
    all                                        every car

A comma is "and", a slash is "or" (binding tighter than the comma), an exclamation mark is "not".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import product


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


def probability(
    expression: Expression,
    *,
    named: frozenset[str],
    unknown: Iterable[Mapping[frozenset[str], float]],
) -> float:
    """Chance that the expression holds when some groups of traits were left open.

    Parameters
    ----------
    named : traits the car is known to have.
    unknown : for every open group, its possible members (as sets of traits) with their shares (sum 1).
    """
    touching = [g for g in unknown if any(m & expression.traits for m in g)]
    if not touching:
        return float(expression.holds(named))
    total = 0.0
    for combination in product(*(g.items() for g in touching)):
        share = 1.0
        traits = set(named)
        for members, weight in combination:
            traits |= members
            share *= weight
        if share > 0 and expression.holds(traits):
            total += share
    return total


Lookup = Callable[[str], Expression]
