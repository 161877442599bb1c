"""Properties of the forward pass. What it computes is held against an event-by-event simulator in
test_forward_pass_against_events.py and against published values in tests/outside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimator.wear.life import Lives
from estimator.wear.records import Observation, PassInput, Renewal
from estimator.wear.renewal import forward_pass
from tests.wear.cars import Car, Part, pass_input

FACTORS = np.exp(0.39 * np.linspace(-3, 3, 9))
WEIGHTS = np.exp(-0.5 * np.linspace(-3, 3, 9) ** 2)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
SOON_BY_KM = Part(b10_km=60e3, b50_km=110e3)


def spent(inp: PassInput) -> np.ndarray:
    """P(spent) at each life point."""
    return forward_pass(inp).condition[0, 0, 0, 0, :, 0]


def averaged(inp: PassInput) -> float:
    """P(spent) over the life points, by weight and likelihood."""
    result = forward_pass(inp)
    told = result.log_likelihood[0, 0, 0, 0]
    weight = inp.weight[0, 0, 0] * np.exp(told - told.max())
    return float(weight @ result.condition[0, 0, 0, 0, :, 0] / weight.sum())


parts = st.builds(
    lambda b50, ratio, deferral, km: Part(
        b10_years=b50 * ratio,
        b50_years=b50,
        deferral_years=deferral,
        b10_km=6000 * b50 * ratio if km else np.nan,
        b50_km=6000 * b50 if km else np.nan,
    ),
    st.floats(1.0, 40.0),
    st.floats(0.3, 0.75),
    st.sampled_from([0.0, 0.02, 0.1, 0.5, 2.0, 8.0]),
    st.booleans(),
)


@settings(max_examples=40, deadline=None)
@given(part=parts, cover=st.sampled_from([0.0, 0.3, 0.9, 0.97]), seen=st.booleans(), seed=st.integers(0, 99))
def test_everything_is_a_probability(part, cover, seen, seed):
    rng = np.random.default_rng(seed)
    dates = np.sort(rng.uniform(1, 37.9, 4))

    def entries(node):
        told = [Renewal(node(dates[0]), 0.85), Renewal(node(dates[2]), rng.random(), 0.5, 3.0)]
        if seen:
            told += [Observation(node(d), tuple(rng.uniform(0.01, 1, 3))) for d in dates[1::2]]
        return told

    result = forward_pass(
        pass_input(
            part,
            Car(events=tuple(dates), laid_up=((20.0, 28.0),)),
            entries=entries,
            recording=lambda t: cover if t > 15 else 0.1,
            life_factors=FACTORS,
            weights=WEIGHTS,
            future=True,
        )
    )
    assert (result.condition >= 0).all()
    assert result.condition.sum(axis=-1) == pytest.approx(1.0, abs=1e-9)
    assert ((result.due >= 0) & (result.due <= 1)).all()
    assert (np.diff(result.due, axis=-1) >= 0).all()
    assert result.fitted_age.sum() == pytest.approx(1.0, abs=1e-6)
    assert ((result.mean_age_years >= 0) & (result.mean_age_years <= 38)).all()
    assert np.isfinite(result.log_likelihood).all()
    assert (result.future_renewals >= 0).all()


@pytest.mark.parametrize("deferral", [0.02, 0.1, 0.5, 2.0])
@pytest.mark.parametrize("b50", [1.5, 3.0, 7.0, 15.0, 35.0])
@pytest.mark.parametrize(
    "history", ["nothing", "covered", "entry", "entry-covered", "serviced-entry-covered"]
)
def test_halving_the_step_changes_nothing_that_matters(b50, deferral, history):
    """At most 0.5 % of P(spent) or 0.0005, whichever is larger, averaged over life and at each point
    within two standard deviations that the history leaves a weight."""
    often = 0.6 if "serviced" in history else 0.02
    part = Part(b10_years=0.5 * b50, b50_years=b50, deferral_years=deferral, precaution_rate=often)

    def case(fine: int) -> PassInput:
        return pass_input(
            part,
            Car(today_years=34.0, readings=((34.0, 2e5),), events=(14.0, 27.3), fine=fine),
            entries=(lambda node: [Renewal(node(27.3), 0.85)]) if "entry" in history else None,
            recording=lambda t: 0.9 if "covered" in history and t > 14 else 0.1,
            life_factors=FACTORS,
            weights=WEIGHTS,
        )

    results = [forward_pass(case(fine)) for fine in (1, 2)]
    coarse, halved = (r.condition[0, 0, 0, 0, :, 0] for r in results)
    told = results[1].log_likelihood[0, 0, 0, 0]
    weight = WEIGHTS * np.exp(told - told.max())
    allowed = np.maximum(0.005 * halved, 0.0005)
    alive = weight / weight.sum() > 1e-3
    assert (np.abs(coarse - halved)[alive] <= allowed[alive]).all()
    assert weight @ coarse / weight.sum() == pytest.approx(
        weight @ halved / weight.sum(), rel=0.005, abs=5e-4
    )
    assert averaged(case(1)) == pytest.approx(averaged(case(2)), rel=0.005, abs=0.0005)
    shift = results[0].log_likelihood[0, 0, 0, 0] - told
    assert np.ptp(shift[alive]) < 0.02  # a common shift is no information


@settings(max_examples=60, deadline=None)
@given(
    part=parts, back=st.floats(0.01, 0.1), credibility=st.floats(0.05, 1.0), cover=st.sampled_from([0.0, 0.9])
)
def test_a_recent_invoice_never_raises_spent(part, back, credibility, cover):
    """Renewed within a tenth of its B50 of today: never more likely spent, at any pass point."""
    date = 38.0 - back * part.b50_years
    car = Car(events=(date, 20.0))
    part = replace(part, replacement_life=1.0)
    plain, told = (
        spent(
            pass_input(
                part,
                car,
                entries=entries,
                recording=lambda t: cover if t > 20 else 0.1,
                life_factors=(0.7, 1.0, 1.5),
            )
        )
        for entries in (None, lambda node: [Renewal(max(node(date), 1), credibility)])
    )
    assert (told <= plain + 1e-9).all()


def test_an_invoice_about_one_life_old_may_raise_spent():
    """Renewed 17 years ago, B50 17 years: the part on the car is now old for certain."""
    part, car = Part(b10_years=12.0, b50_years=17.0, deferral_years=0.5), Car(events=(21.0,))
    told = spent(pass_input(part, car, entries=lambda node: [Renewal(node(21.0), 0.97)]))
    assert told > 1.3 * spent(pass_input(part, car))


@settings(max_examples=60, deadline=None)
@given(part=parts, lives=st.floats(1.0, 2.0), completeness=st.floats(0.3, 0.97))
def test_a_complete_file_that_never_mentions_the_part_is_bad_news(part, lives, completeness):
    """Papers over the last B50 or more up to today: P(spent) rises, at every pass point."""
    since = max(38.0 - lives * part.b50_years, 0.0)
    car = Car(events=(since,))
    plain, silent = (
        spent(
            pass_input(
                part,
                car,
                recording=lambda t, k=k: k if t > since else 0.1,
                life_factors=(0.7, 1.0, 1.5),
            )
        )
        for k in (0.1, completeness)
    )
    assert (silent >= plain - 1e-9).all()


def test_credibility_zero_changes_nothing_and_one_makes_it_certain():
    car = Car(events=(30.0,))
    plain = forward_pass(pass_input(SOON_BY_KM, car))
    doubted = forward_pass(pass_input(SOON_BY_KM, car, entries=lambda node: [Renewal(node(30.0), 0.0)]))
    assert doubted.condition == pytest.approx(plain.condition, abs=1e-12)
    believed = forward_pass(pass_input(SOON_BY_KM, car, entries=lambda node: [Renewal(node(30.0), 1.0)]))
    assert believed.original_share == pytest.approx(0.0, abs=1e-12)
    assert believed.fitted_age[0][believed.age_edges[:-1] > 8.5].sum() == pytest.approx(0.0, abs=1e-12)


def test_a_paper_speaks_for_complete_files():
    """A certain entry in a step recorded with chance .2 or .8: the likelihoods are as 1 to 4 (by hand)."""
    car = Car(events=(30.0,))
    inp = pass_input(SOON_BY_KM, car, entries=lambda node: [Renewal(node(30.0), 1.0)])
    step = inp.entries[0][0].node - 1
    recording = np.zeros((2, 1, inp.nodes_years.size - 1))
    recording[:, 0, step] = 0.2, 0.8
    told = forward_pass(replace(inp, recording=recording, weight=np.full((1, 2, 1, 1), 0.5))).log_likelihood
    assert np.exp(np.diff(told.ravel())) == pytest.approx(4.0, rel=0.03)


def test_two_papers_of_one_job_count_as_one():
    """Invoice .7 and stamp .6 of the same day: 1 - .3 x .4 = .88 (by hand)."""
    car = Car(events=(30.0,))

    def told(*credibilities):
        return forward_pass(
            pass_input(SOON_BY_KM, car, entries=lambda node: [Renewal(node(30.0), c) for c in credibilities])
        )

    assert told(0.7, 0.6).condition == pytest.approx(told(0.88).condition, abs=1e-12)


def test_what_was_seen_before_a_renewal_says_nothing_about_the_new_part():
    """Seen spent, then renewed for certain on the same day: as if only renewed."""
    car = Car(events=(30.0,))
    both = forward_pass(
        pass_input(
            SOON_BY_KM,
            car,
            entries=lambda node: [Observation(node(30.0), (0.9, 0.3, 0.05)), Renewal(node(30.0), 1.0)],
        )
    )
    only = forward_pass(pass_input(SOON_BY_KM, car, entries=lambda node: [Renewal(node(30.0), 1.0)]))
    assert both.condition == pytest.approx(only.condition, abs=1e-12)
    assert both.due == pytest.approx(only.due, abs=1e-9)


def test_an_observation_today_is_bayes_rule():
    """Closed form: posterior = prior x likelihood, normalised, and the evidence its sum."""
    likelihood = np.array([0.05, 0.4, 0.9])
    plain = forward_pass(pass_input(SOON_BY_KM, Car()))
    seen = forward_pass(
        pass_input(SOON_BY_KM, Car(), entries=lambda node: [Observation(node(38.0), tuple(likelihood))])
    )
    joint = plain.condition[0, 0, 0, 0, 0] * likelihood
    assert seen.condition[0, 0, 0, 0, 0] == pytest.approx(joint / joint.sum(), rel=1e-9)
    assert seen.log_likelihood.item() == pytest.approx(np.log(joint.sum()), rel=1e-9)
    assert seen.due == pytest.approx(plain.due, abs=1e-9)


def test_an_uninformative_observation_changes_nothing():
    car = Car(events=(25.0, 33.0))
    plain = forward_pass(pass_input(SOON_BY_KM, car))
    seen = forward_pass(
        pass_input(
            SOON_BY_KM,
            car,
            entries=lambda node: [
                Observation(node(25.0), (0.3, 0.3, 0.3)),
                Observation(node(33.0), (0.5, 0.5, 0.5 + 1e-13)),  # by the long way, with terms
            ],
        )
    )
    assert seen.condition == pytest.approx(plain.condition, abs=1e-9)
    assert seen.log_likelihood.item() == pytest.approx(np.log(0.15), abs=1e-9)


def test_several_components_and_points_at_once_equal_one_at_a_time():
    """Grouping, chunks and the shared odometer hypothesis are bookkeeping only."""
    rng = np.random.default_rng(4)
    c, h, w, q, z = 7, 2, 2, 3, 2
    nodes = Car().nodes()
    n, today = nodes.size - 1, int(np.searchsorted(nodes, 38.0))
    years = rng.uniform(2, 30, c)
    km = np.where(rng.random(c) < 0.5, np.nan, years * 6000)
    entries = [
        (),
        (Renewal(60, 0.8),),
        (Renewal(60, 0.8), Observation(80, (0.2, 1.0, 1.0))),
        (Observation(70, (0.1, 0.5, 1.0)),),
        (),
        (Renewal(41, 0.6, 0.7), Renewal(90, 0.9)),
        (Observation(90, (0.2, 0.9, 0.9)),),
    ]
    whole = PassInput(
        nodes_years=nodes,
        today=today,
        lives=Lives.from_quantiles(
            b10_km=km * 0.5, b50_km=km, b10_years=years * 0.4, b50_years=years, warning_share=0.2
        ),
        years_clock=np.tile(nodes, (c, 1)),
        km_clock=np.stack([np.tile(nodes * r, (c, 1)) for r in (4000.0, 9000.0)]),
        life_factor=rng.uniform(0.7, 1.4, (c, q, z)),
        deferral_years=rng.uniform(0.05, 3, (c, q)),
        precaution_rate=rng.uniform(0, 0.1, (c, q)),
        replacement_life=rng.uniform(0.6, 1, (c, q)),
        recording=rng.uniform(0, 0.9, (w, q, n)),
        weight=rng.uniform(0.1, 1, (h, w, q, z)),
        entries=entries,
        future=True,
    )
    together = forward_pass(whole)
    for i in range(c):
        alone = forward_pass(
            replace(
                whole,
                lives=whole.lives.take(np.array([i])),
                years_clock=whole.years_clock[[i]],
                km_clock=whole.km_clock[:, [i]],
                life_factor=whole.life_factor[[i]],
                deferral_years=whole.deferral_years[[i]],
                precaution_rate=whole.precaution_rate[[i]],
                replacement_life=whole.replacement_life[[i]],
                recording=np.broadcast_to(whole.recording, (1, w, q, n)),
                weight=np.broadcast_to(whole.weight, (1, h, w, q, z)),
                entries=[entries[i]],
            )
        )
        for field in ("condition", "due", "log_likelihood", "future_renewals"):
            found, expected = getattr(together, field)[i], getattr(alone, field)[0]
            assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)
        # the ages of spent parts are read off at a few nodes, which depend on the others' entries
        for field in ("mean_age_years", "fitted_age", "original_share"):
            assert getattr(together, field)[i] == pytest.approx(getattr(alone, field)[0], rel=1e-3, abs=1e-4)


def test_a_part_that_lasts_weeks_and_a_history_of_decades_stay_finite():
    """Fully documented for 38 years and never mentioned: likelihood far below the smallest double."""
    part = Part(b10_years=0.1, b50_years=0.3, deferral_years=0.01, precaution_rate=3.0)
    result = forward_pass(pass_input(part, Car(), recording=lambda _: 0.97))
    assert np.isfinite(result.log_likelihood).all()
    assert result.log_likelihood.item() < -100
    assert result.condition.sum() == pytest.approx(1.0)


def test_an_impossible_history_is_minus_infinity_not_a_crash():
    result = forward_pass(
        pass_input(
            SOON_BY_KM,
            Car(events=(30.0,)),
            entries=lambda node: [
                Observation(node(30.0), (1.0, 0.0, 0.0)),
                Observation(node(30.0), (0.0, 1.0, 1.0)),
            ],
        )
    )
    assert result.log_likelihood.item() == -np.inf
    assert result.condition[0, 0, 0, 0, 0] == pytest.approx([1 / 3] * 3)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"today": 0}, "today must be a node index"),
        ({"today": 130}, "a year past today|today must be"),
        ({"deferral_years": np.array([[-1.0]])}, "deferral_years is out of range: -1"),
        ({"recording": np.full((1, 1, 3), 0.1)}, "recording must have shape"),
        ({"life_factor": np.zeros((1, 1, 1))}, "life_factor is out of range"),
        ({"replacement_life": np.array([[np.nan]])}, "replacement_life"),
        ({"weight": np.zeros((1, 1, 1, 1))}, "weight must have a positive sum"),
        ({"entries": ((Renewal(0, 0.5),),)}, "node 0; allowed are 1"),
        ({"entries": ((Observation(500, (1, 1, 1)),),)}, "node 500"),
        ({"entries": ((), ())}, "one sequence per component"),
    ],
)
def test_bad_input_is_refused_by_name(change, message):
    with pytest.raises(ValueError, match=message):
        replace(pass_input(SOON_BY_KM, Car()), **change)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Renewal(3, 1.5),
        lambda: Renewal(3, 0.5, life_share=0.0),
        lambda: Renewal(3, 0.5, extra_age_years=-1.0),
        lambda: Observation(3, (0.0, 0.0, 0.0)),
        lambda: Observation(3, (1.0, -0.1, 0.0)),
    ],
)
def test_bad_entries_are_refused(make):
    with pytest.raises(ValueError, match=r"must be|needs"):
        make()
