"""The car: start or open one, how it is built, how it was kept, money, saving."""

import re

import streamlit as st

from estimator.pages import build, menu, opening, session
from estimator.pages.fields import choice, day, number, select, text, triple, whole, yes_no
from estimator.views import words
from estimator.views.field_words import spoken

CHOICES = words.CHOICES

case = session.case()
if case is None:
    opening.show()
    st.stop()

car, money = case.car, case.money
st.title(words.plain(car.name) or "The car")
st.caption(
    f"Built {car.built.year} · {words.distance(car.odometer, car.unit)} · seen {words.day(car.viewed)}. "
    "Every change is kept at once."
)

with st.expander("What it is", expanded=True, key=f"part_what_{session.serial()}"):
    left, right = st.columns(2)
    with left:
        text(("car", "name"), "What you call it", car.name, placeholder="e.g. blue saloon, second viewing")
        day(("car", "built"), "First registered or built", car.built, built=True)
        day(("car", "viewed"), "Day you saw it", car.viewed, help="Everything is worked out as of this day.")
        choice(("car", "viewer"), "Looked at by", car.viewer, CHOICES["viewer"])
    with right:
        number(("car", "odometer"), f"Odometer shows ({car.unit})", car.odometer, step=100)
        choice(("car", "unit"), "Distances in", car.unit, CHOICES["unit"], default=car.unit)
        whole(
            ("car", "odometer_digits"),
            "Whole figures on the odometer, tenths not counted",
            car.odometer_digits,
            help="One with five figures turns over at 100,000.",
        )
        yes_no(("car", "runs"), "The engine runs", car.runs)
        yes_no(("car", "road_legal"), "It may be driven on the road today", car.road_legal)

build.show(case)

with st.expander("How it was kept, and who sells it", key=f"part_kept_{session.serial()}"):
    choice(("car", "storage"), "Where it has stood, most of its life", car.storage, CHOICES["storage"])
    choice(("car", "climate"), "Climate", car.climate, CHOICES["climate"])
    choice(("car", "use"), "Use", car.use, CHOICES["use"])
    st.caption("Where that changed over the years, enter the periods under Papers.")
    choice(("car", "care"), "Care it has had, as you judge it", car.care, CHOICES["care"])
    choice(("car", "parts"), "Parts for it are", car.parts, CHOICES["parts"])
    choice(("car", "sale"), "Sold by", car.sale, CHOICES["sale"])
    choice(("car", "reason"), "Why it is for sale, as far as known", car.reason, CHOICES["reason"])
    text(("car", "note"), "Note", car.note)

with st.expander("Money", key=f"part_money_{session.serial()}"):
    currencies = list(session.catalogue().settings.prices.currency)
    cur = money.currency
    left, right = st.columns(2)
    with left:
        select(("money", "currency"), "Currency", cur, currencies)
        number(("money", "asking"), f"Asking price ({cur})", money.asking, step=100)
        number(
            ("money", "budget"),
            f"Budget for purchase and first year together ({cur})",
            money.budget,
            step=100,
        )
        number(
            ("money", "confidence"),
            "How sure the budget is to hold, per cent",
            money.confidence,
            step=5,
            scale=100,
        )
    with right:
        triple(("money", "sound_example"), f"What a good example sells for ({cur})", money.sound_example)
        choice(("money", "value_means"), "Such a good one has", money.value_means, CHOICES["value_means"])
        triple(
            ("money", "labour_rate"), f"An hour in a workshop, before tax ({cur})", money.labour_rate, step=5
        )
        number(
            ("money", "tax"), "Tax on parts and labour, per cent", money.tax, step=1, digits=1, scale=100,
            placeholder="usual for the currency",
        )  # fmt: skip
    left, right = st.columns(2)
    with left:
        number(
            ("money", "annual_distance"),
            f"You plan to drive in a year ({car.unit})",
            money.annual_distance,
            step=500,
            placeholder="as cars of this age usually do",
        )
        number(("money", "own_hours_per_month"), "Hours a month you would work on it yourself",
               money.own_hours_per_month)  # fmt: skip
        whole(
            ("money", "own_skill"),
            "Your skill: 0 none, 1 handy, 2 experienced, 3 rebuilds gearboxes",
            money.own_skill,
        )
    with right:
        number(("money", "horizon"), "A repair must last at least, years", money.horizon, digits=1)
        number(("money", "max_wait"), "You would wait for a part at most, months", money.max_wait)
        number(("money", "monthly"), f"You can spend in a month ({cur})", money.monthly, step=50)
        number(
            ("money", "risk_tolerance"),
            f"Largest even bet you would take: win this sum or lose half of it ({cur})",
            money.risk_tolerance,
            step=500,
            help="Think of a coin tossed: heads you win the sum, tails you lose half of it. Enter the largest sum at "
            "which you would just still say yes. Small: a bad surprise would hurt, and the limit is lower. Empty: only "
            "the average counts.",
        )

doubts = [*case.warnings, *case.not_come_yet(session.today())]
if doubts:
    with st.expander(f"Worth a second look ({len(doubts)})", key=f"part_doubts_{session.serial()}"):
        for warning in doubts:
            st.markdown(f"- {words.plain(spoken(warning, case))}")

with st.container(key="saving", border=True):
    st.markdown("**Save, share, put away**")
    st.caption(
        "The file holds all you entered. It can be read, edited, sent on, and opened here or on the command line."
    )
    with st.container(horizontal=True):
        stem = re.sub(r"[^a-z0-9]+", "-", car.name.lower()).strip("-") or "car"
        st.download_button(
            "Save as a file",
            session.text(),
            file_name=f"{stem}.toml",
            mime="application/toml",
            icon=":material/download:",
            key="save_file",
            on_click="ignore",
        )
        st.button("Start or open another", key="put_away", on_click=session.close)
        if session.case_id() is not None:
            st.button("Delete this car", key="delete_car", icon=":material/delete:", on_click=session.delete,
                      help="It can be brought back from the first page.")  # fmt: skip
    if session.refusals():
        st.button("Give up what could not be used", key="give_up", on_click=session.drop_drafts)
    with st.expander("Open a saved file in place of this car", key=f"open_file_{session.serial()}"):
        st.caption("This car stays among those kept.")
        opening.show_upload()
    opening.show_versions()

menu.scroll_up()
menu.show_next("the_car.py")
