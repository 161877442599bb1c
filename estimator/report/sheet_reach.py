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
from estimator.decide.scene import AUCTION_LACKS, has_tool
from estimator.views import words

TOOLS = "tools"
HAVING = ("jack", "lift", "workshop", TOOLS)  # what can be said to be there
PLACES = ("laboratory", "workshop", "lift", "jack")  # the rarest first
BROUGHT = {"newcomer": (), "handy": ("jack",), "mechanic": ("jack", TOOLS)}


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
    missing = () if TOOLS in there else [tool for tool in check.tools if not has_tool(viewer, tool)]
    return missing[0] if missing else ""
