"""How this was worked out: the method in plain words, what it took for true, how exact it is, what it cannot know."""

import streamlit as st

from estimator.pages import common, estimate, menu, printed
from estimator.views import decision_charts, sentences, words, worked_out

case, catalogue = common.begin("How this was worked out")
with st.container(key="headline"):
    st.header(
        "Many possible cars that fit all you know, each priced; the ranges are their bills.", anchor=False
    )
for title, text in worked_out.METHOD:
    st.markdown(f"**{title}.** {text}")

result = common.worked("Working it out …", lambda: estimate.fully(case, catalogue))
a = result.assessment

st.header("What all parts of this car share", anchor=False)
st.caption(
    "Before: from age, papers and the kind of sale. Now: with all papers and findings weighed together."
)
shared = worked_out.shared_factors(result)
for factor, rows in shared.groupby("factor", sort=False):
    st.markdown(
        worked_out.table(
            rows,
            (str(factor), "before", "now"),
            (
                [r["level"], words.percent(r["before"]), words.percent(r["now"])]
                for r in rows.to_dict("records")
            ),
        )
    )
st.markdown(words.plain(sentences.rests_on(a, case)[-1]))

st.header("What the odometer may really have turned", anchor=False)
odometer = worked_out.odometer(result)
st.markdown(
    worked_out.table(
        odometer,
        ("", "true distance", "before", "now"),
        (
            [words.sentence(r["what"]), words.distance(r["distance"], r["unit"]),
             words.percent(r["before"]), words.percent(r["now"])]
            for r in odometer.to_dict("records")
        ),
    )
)  # fmt: skip

st.header("Where the figures come from", anchor=False)
rests = worked_out.rests_on(result)
kinds = worked_out.by_kind(rests)
st.markdown(
    "Shares of the expected cost, half laid to the figures that say when a part needs doing, half to those that say "
    "what it then costs. A convention, to show where to look first."
)
st.altair_chart(decision_charts.kinds(kinds), alt=worked_out.by_kind_alt(kinds))
with st.expander(
    f"The sources ({len(rests.cost_by_source)}), those most cost rests on first", key="how_sources"
):
    for row in worked_out.sources(rests, dict(catalogue.sources)).to_dict("records"):
        by = ", ".join(filter(None, (row["by"], row["year"])))
        st.markdown(f"- **{words.percent(row['cost'])}** {words.plain(row['title'])}"
                    + (f" ({words.plain(by)})" if by else "") + f". *{words.sentence(row['kind'])}.*")  # fmt: skip

st.header("How exact the arithmetic is", anchor=False)
st.markdown(
    f"{a.draws:,} cars were drawn, seed {a.seed}. Another seed would move each figure of the first year by about its "
    "error here. That is not how wrong the estimate can be: it is only what drawing more would still change."
)
errors = worked_out.errors(result)
st.markdown(
    worked_out.table(
        errors,
        ("first year", "sum", "error"),
        (
            [words.sentence(r["figure"]), words.plain(words.money(r["amount"], a.currency)),
             words.plain(words.money(r["error"], a.currency))]
            for r in errors.to_dict("records")
        ),
    )
)  # fmt: skip
st.markdown(words.plain(worked_out.solved(result)))
st.markdown(words.plain(a.policy))

st.header("What it cannot know", anchor=False)
st.markdown("\n".join(f"- {one}" for one in worked_out.CANNOT))
st.markdown(f"**{words.CAUTION}**")
printed.show(case, catalogue)
common.show_taken(a.warnings)
menu.show_next("worked_out.py")
