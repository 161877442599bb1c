"""What somebody can look at with what he has: who has no lift, jack or tools finds these checks in a block of its own.

Nobody brings a lift, a workshop or a laboratory to a viewing, and a newcomer lifts no car and takes nothing apart;
those checks are made by whoever has the place for it, who then does it all (common practice).
"""

from __future__ import annotations

from collections.abc import Collection

from estimator import viewing
from estimator.case import Case
from estimator.catalogue.records import Check
from estimator.decide.sales import at_auction, is_owned
from estimator.decide.scene import AUCTION_LACKS, BEYOND_NEWCOMER, BEYOND_OWNER
from estimator.views import words

TOOLS = "tools"
HAVING = ("jack", "lift", "workshop", TOOLS)  # what can be said to be there
PLACES = ("laboratory", "workshop", "lift", "jack")  # the rarest first
BROUGHT = {"newcomer": (), "handy": ("jack",), "mechanic": ("jack", TOOLS)}
IN_THE_POCKET = ("tread depth gauge",)


def not_here(check: Check, case: Case) -> str:
    """Why a check cannot be made on this car as it stands and is sold, whoever looks; "" where it can."""
    reason = viewing.out_of_reach(check, case)
    if reason is None and at_auction(case) and AUCTION_LACKS & set(check.needs):
        reason = "not at an auction"
    if reason is None and is_owned(case) and "seller" in check.needs:
        reason = "there is no seller to ask"
    return reason or ""


def lacking(check: Check, viewer: str, having: Collection[str] = ()) -> str:
    """What a check needs that is not there, in words; "" where it can be made.

    Parameters
    ----------
    viewer : newcomer, handy or mechanic.
    having : what else is there, of HAVING. A workshop has a lift, a jack and every tool.
    """
    there = {*BROUGHT[viewer], *having}
    if "workshop" in there:
        there |= {"lift", "jack", TOOLS}
    for place in PLACES:
        if place in check.needs and place not in there:
            return words.CHECK_NEEDS[place]
    missing = () if TOOLS in there else [tool for tool in check.tools if not _has(viewer, tool)]
    return missing[0] if missing else ""


def _has(viewer: str, tool: str) -> bool:
    """Whether such a person has one of the tools that will do: "magnet in a cloth or paint gauge"."""
    return any(_usual(viewer, one) for one in tool.split(" or "))


def _usual(viewer: str, tool: str) -> bool:
    if viewer == "mechanic" or tool in IN_THE_POCKET:
        return True
    if any(word in tool for word in BEYOND_OWNER):
        return False
    return viewer == "handy" or not any(word in tool for word in BEYOND_NEWCOMER)
