"""What an old car will really cost: hidden repairs, before and after buying.

    import estimator
    catalogue = estimator.load_catalogue()
    case = estimator.load_case("saloon.toml", catalogue)
    found = estimator.assess(case, catalogue)
    found.total.plan_year.p80                       # one car like this in five costs more in its first year
    estimator.tables(found)["parts"]                # a pandas frame, a row a part

load_catalogue(folder of your own)      what the program knows about parts, checks and prices
load_case(file, mapping or frame row)   one car; entries also as frames: load_case(row, work=frame, finding=frame)
assess(case)                            chance and cost of every part, the sums, and why
next_checks(case)                       what to look at next, and when to stop
offer(case)                             fair price, opening, target, where to walk away
plan_year(case)                         the first year: jobs by month, money, orders
keep(case)                              what keeping it costs over the years
compare([case, case])                   cars side by side
screen(CSV file or frame)               many cars at once, a frame with a row a car
fit_life(CSV file or frame)             life of a part from units that failed or still run
tables(result)                          any of these results as pandas frames; result.as_dict() is its JSON
InputError                              raised for what was written wrong: every fault, with place, found and allowed

`help(estimator.load_case)` and so on say more. Money is in the case's currency with tax, chances are 0 to 1. Without
a catalogue each function takes the one that ships. Each is imported when it is first asked for, so that
`import estimator` costs nothing.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import inspect

__version__ = "0.1.0"

PUBLIC = {
    "load_case": "estimator.case",
    "load_catalogue": "estimator.catalogue.load",
    "assess": "estimator.assess",
    "next_checks": "estimator.decide.next_checks",
    "offer": "estimator.decide.offer",
    "compare": "estimator.decide.compare",
    "screen": "estimator.decide.screening",
    "plan_year": "estimator.decide.plan",
    "keep": "estimator.decide.keep",
    "fit_life": "estimator.lives",
    "tables": "estimator.result_tables",
    "InputError": "estimator.problems",
}
__all__ = ["__version__", *sorted(PUBLIC)]


def __getattr__(name: str) -> Any:
    if name not in PUBLIC:
        raise AttributeError(f"module 'estimator' has no attribute {name!r}")
    return getattr(importlib.import_module(PUBLIC[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *PUBLIC})


class _CallableModule(ModuleType):
    """A module that is also the public function named like it."""

    @property
    def __signature__(self) -> inspect.Signature:
        import inspect

        return inspect.signature(self.__dict__[self.__name__.rpartition(".")[2]])

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return getattr(self, self.__name__.rpartition(".")[2])(*args, **kwargs)


class _Package(ModuleType):
    """Importing the module estimator.assess puts it where the public function should be: it may be both."""

    def __setattr__(self, name: str, value: object) -> None:
        if name in PUBLIC and isinstance(value, ModuleType):
            value.__class__ = _CallableModule
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
