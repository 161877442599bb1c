"""What an old car will really cost: hidden repairs, before and after buying.

    import estimator
    catalogue = estimator.load_catalogue()
    case = estimator.load_case("saloon.toml", catalogue)
    print(estimator.assess(case, catalogue).total.plan_year.p80)

Each function is imported when it is first asked for, so that `import estimator` costs nothing.
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import Any

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

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return getattr(self, self.__name__.rpartition(".")[2])(*args, **kwargs)


class _Package(ModuleType):
    """Importing the module estimator.assess puts it where the public function should be: it may be both."""

    def __setattr__(self, name: str, value: object) -> None:
        if name in PUBLIC and isinstance(value, ModuleType):
            value.__class__ = _CallableModule
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
