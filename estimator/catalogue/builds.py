"""How cars of the catalogue can be built: answers to its questions that go together, and their shares.

A build is a set of traits. Groups of traits are questions; some must have one answer, some take any
number, some have an answer that holds when none is given (`otherwise`), and some are asked only of
certain cars (`when`). Traits exclude each other in both directions whichever of the two says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, pairwise, product

from estimator.catalogue.expressions import Expression, both, parse_expression
from estimator.catalogue.records import Group, Trait

Traits = frozenset[str]
NO_PROP_SHAFT = "no-prop-shaft"
WITHOUT_PROP_SHAFT = frozenset({"front-drive", "rear-engine", "mid-engine"})


@dataclass(frozen=True)
class Questions:
    """Groups and traits, asked about together. Both mappings are id -> record, in file order."""

    groups: Mapping[str, Group]
    traits: Mapping[str, Trait]
    _spreads: dict[tuple[Traits, float, Traits], tuple[tuple[Traits, float], ...]] = field(
        default_factory=dict, compare=False, repr=False
    )
    _possible: dict[Expression, bool] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def members(self) -> Mapping[str, tuple[str, ...]]:
        """Traits of each group."""
        found: dict[str, list[str]] = {group: [] for group in self.groups}
        for trait in self.traits.values():
            found.setdefault(trait.group, []).append(trait.id)
        return {group: tuple(ids) for group, ids in found.items()}

    @cached_property
    def excluded(self) -> Mapping[str, Traits]:
        """Traits that cannot be on the same car as this one, by either's word."""
        found: dict[str, set[str]] = {trait: set() for trait in self.traits}
        for trait in self.traits.values():
            for other in trait.excludes:
                found[trait.id].add(other)
                found.setdefault(other, set()).add(trait.id)
        return {trait: frozenset(others) for trait, others in found.items()}

    def clash(self, traits: Iterable[str]) -> bool:
        """Whether two of these traits exclude each other."""
        named = frozenset(traits)
        return any(self.excluded.get(trait, frozenset()) & named for trait in named)

    def asked(self, group: Group, named: Traits | set[str]) -> bool:
        """Whether the question is asked of a car with these traits."""
        return parse_expression(group.when).holds(named)

    def complete(self, traits: Traits, *, groups: Traits | None = None) -> Traits:
        """The traits and the `otherwise` of every group (of `groups`, if given) with no member among them."""
        named = set(traits)
        for group in self.groups.values():
            wanted = group.otherwise and (groups is None or group.id in groups)
            if wanted and not named & set(self.members[group.id]) and self.asked(group, named):
                named.add(group.otherwise)
        if NO_PROP_SHAFT in self.traits and named & WITHOUT_PROP_SHAFT:
            named.add(NO_PROP_SHAFT)
        return frozenset(named)

    def open_groups(self, traits: Traits) -> tuple[str, ...]:
        """One-of groups that apply to the car and were left unanswered."""
        named = self.complete(traits)
        return tuple(
            g.id for g in self.groups.values() if self._unanswered(g, named) and self.asked(g, named)
        )

    def _unanswered(self, group: Group, named: Traits) -> bool:
        return group.choose == "one" and not group.otherwise and not named & set(self.members[group.id])

    def shares(self, group: str, *, year: float, named: Traits) -> dict[Traits, float]:
        """Possible answers to an open group for cars of that year, impossible ones left out; sums to 1."""
        weights: dict[Traits, float] = {}
        for trait in self.members[group]:
            share = share_in(self.traits[trait], year)
            if share > 0 and not self.excluded[trait] & named:
                weights[frozenset({trait})] = share
        total = sum(weights.values())
        return {k: v / total for k, v in weights.items()} if total else {frozenset(): 1.0}

    def chance(self, expression: Expression, traits: Traits, *, year: float) -> float:
        """Chance that a car with these traits satisfies an expression, open groups mixed by their shares."""
        groups = self._touching(expression, self.complete(traits))
        shares = [(share, expression.holds(build)) for build, share in self._spread(traits, year, groups)]
        if all(holds for _, holds in shares):
            return 1.0  # certain, not 0.9999999
        return sum(share for share, holds in shares if holds)

    def _spread(self, traits: Traits, year: float, groups: Traits) -> tuple[tuple[Traits, float], ...]:
        """Builds that answer the open ones of `groups`, with their shares (sum 1)."""
        key = (traits, year, groups)
        if key not in self._spreads:
            partial: list[tuple[Traits, float]] = [(traits, 1.0)]
            for group in self.groups.values():
                if group.id in groups:
                    partial = [
                        grown for build, share in partial for grown in self._answer(group, build, share, year)
                    ]
            self._spreads[key] = tuple((self.complete(build), share) for build, share in partial)
        return self._spreads[key]

    def _answer(self, group: Group, build: Traits, share: float, year: float) -> list[tuple[Traits, float]]:
        named = self.complete(build)
        if not (self._unanswered(group, named) and self.asked(group, named)):
            return [(build, share)]
        answers = self.shares(group.id, year=year, named=named)
        return [(build | answer, share * part) for answer, part in answers.items()]

    @cached_property
    def _neighbours(self) -> Mapping[str, Traits]:
        """Groups that bear on a group: its `when` asks about them, or their members exclude each other."""
        found: dict[str, set[str]] = {}
        for group in self.groups.values():
            near = set(parse_expression(group.when).traits)
            near |= {other for trait in self.members[group.id] for other in self.excluded[trait]}
            found[group.id] = {self.traits[t].group for t in near if t in self.traits} - {group.id}
        return {group: frozenset(near) for group, near in found.items()}

    def _touching(self, expression: Expression, named: Traits) -> Traits:
        """Unanswered one-of groups whose answer can decide the expression, directly or through others."""
        start = {self.traits[t].group for t in expression.traits if t in self.traits}
        start |= {near for group in start for near in self._when_groups(group)}
        found: set[str] = set()
        waiting = [g for g in start if self._unanswered(self.groups[g], named)]
        while waiting:
            group = waiting.pop()
            found.add(group)
            near = self._neighbours[group] - found
            waiting += [g for g in near if g not in waiting and self._unanswered(self.groups[g], named)]
        return frozenset(found)

    def _when_groups(self, group: str) -> set[str]:
        """Groups asked about in the group's `when`, and in theirs."""
        found: set[str] = set()
        waiting = [group]
        while waiting:
            record = self.groups.get(waiting.pop())
            mentioned = parse_expression(record.when).traits if record else ()
            near = {self.traits[t].group for t in mentioned if t in self.traits} - found
            found |= near
            waiting += near
        return found

    def can_hold(self, expression: Expression) -> bool:
        """Whether any car can satisfy an expression: every possible answer to the questions it touches."""
        if expression not in self._possible:
            self._possible[expression] = any(expression.holds(b) for b in self._around(expression))
        return self._possible[expression]

    def implies(self, one: Expression, other: Expression) -> bool:
        """Whether every car that satisfies the first satisfies the second too."""
        around = self._around(both((one, other)))
        return all(other.holds(build) for build in around if one.holds(build))

    def _around(self, expression: Expression) -> Iterator[Traits]:
        """Every build that answers the groups an expression mentions (and those their `when` mentions)."""
        start = {self.traits[t].group for t in expression.traits if t in self.traits}
        groups = frozenset(start | {near for group in start for near in self._when_groups(group)})
        mentioned = expression.traits | {
            t for g in groups if g in self.groups for t in parse_expression(self.groups[g].when).traits
        }
        options: list[list[Traits]] = []
        for group in (g for g in self.groups.values() if g.id in groups):
            if group.choose == "one":
                options.append([frozenset(), *(frozenset({t}) for t in self.members[group.id])])
            else:
                some = [t for t in self.members[group.id] if t in mentioned]
                options.append(
                    [frozenset(c) for size in range(len(some) + 1) for c in combinations(some, size)]
                )
        for combination in product(*options):
            build = self.complete(frozenset().union(*combination), groups=groups)
            if not self.clash(build) and self._answered(build, groups):
                yield build

    def _answered(self, build: Traits, groups: Traits) -> bool:
        """Whether each of these groups is answered where it is asked, and only there."""
        for group in (self.groups[g] for g in groups if g in self.groups):
            given = build & set(self.members[group.id]) - {NO_PROP_SHAFT}
            if self.asked(group, build):
                if group.choose == "one" and len(build & set(self.members[group.id])) != 1:
                    return False
            elif given:
                return False
        return True


def share_in(trait: Trait, year: float) -> float:
    """Share of that year's cars with this trait: straight lines between the points given, level outside."""
    points = trait.share
    if not points:
        return 0.0
    if year <= points[0][0]:
        return points[0][1]
    for (before, low), (after, high) in pairwise(points):
        if year <= after:
            return low + (high - low) * (year - before) / (after - before)
    return points[-1][1]
