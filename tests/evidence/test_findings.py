"""What was found at the car, as beliefs, sensitivities and factors."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy import stats

from estimator.assess import assess_fully
from estimator.car import resolve
from estimator.case import Finding
from estimator.catalogue.load import load_catalogue
from estimator.evidence.findings import (
    attention,
    belief_in,
    care_figures,
    leak_by_presentation,
    read_findings,
)
from tests.cars import saloon

USED = date(1979, 5, 1)


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


def test_a_reading_is_believed_by_its_error(catalogue):
    """Closed form: the chance that the true value lies beyond the limit, the error being normal."""
    check = catalogue.checks["tyre-tread-three-points-each-wheel"]
    limit, error = check.reading.limit_for(USED), check.reading.error_sd
    for value in (limit - 2 * error, limit, limit + error):
        belief = belief_in(Finding(check=check.id, value=value), check, first_used=USED)
        assert belief == pytest.approx(stats.norm.cdf((limit - value) / error), abs=1e-12)


def test_certainty_and_doubt(catalogue):
    check = catalogue.checks["take-up"]
    said = {
        ("present", 1.0): 1.0, ("absent", 1.0): 0.0, ("present", 0.7): 0.7, ("absent", 0.7): 0.3,
    }  # fmt: skip
    for (result, sure), belief in said.items():
        finding = Finding(check="take-up", result=result, sure=sure)
        assert belief_in(finding, check, first_used=USED) == pytest.approx(belief)
    assert belief_in(Finding(check="take-up", result="could-not-try"), check, first_used=USED) is None


def test_how_far_past_its_limit_a_reading_lies_counts(catalogue):
    """Common practice: a tyre a few months past ten years may be good enough, one of seventeen is due; by hand: at the
    limit the catalogue's own figures, far past it their shares of evidence.toml's [far].
    """
    check = catalogue.checks["tyre-date-codes-all-five"]
    part = {link.component: link for link in check.links}["tyres-set"]
    far, seen = catalogue.settings.evidence.far, check.who.handy
    figures = {}
    for years in (7, 40):
        case = saloon(f'[[finding]]\ncheck = "{check.id}"\nvalue = {years}\n')
        car = resolve(case, catalogue)
        evidence = read_findings(car)
        figures[years] = (*evidence.sensitivity[0, 0, car.index["tyres-set"]], evidence.leak[0, 0])
        assert evidence.harmless == pytest.approx([1.0])
    assert figures[7] == pytest.approx((part.spent * seen, part.worn * seen, 0, check.leak))
    assert figures[40] == pytest.approx(
        (part.spent * seen * far.spent, part.worn * seen * far.worn, 0, check.leak * far.leak)
    )


def test_the_older_the_tyre_the_likelier_it_is_due(catalogue):
    due = []
    for years in (4, 10, 11, 17):
        case = saloon(f'[[finding]]\ncheck = "tyre-date-codes-all-five"\nvalue = {years}\n')
        parts = assess_fully(case, catalogue, draws=100).assessment.components
        due.append(next(part.p_spent for part in parts if part.id == "tyres-set"))
    assert due == sorted(due)
    assert due[-1] > 0.8, "common practice: a tyre of seventeen years is renewed"


def test_who_looked_and_how(catalogue):
    car = resolve(saloon(), catalogue)
    check = catalogue.checks["tap-press-sill-bottoms-arch-lips"]
    viewer = catalogue.settings.evidence.viewer
    seen = attention(Finding(check=check.id, result="absent", by="mechanic"), check, car)
    assert seen == check.who.mechanic
    badly = attention(Finding(check=check.id, result="absent", by="newcomer", badly=True), check, car)
    assert badly == pytest.approx(check.who.newcomer * viewer.badly)
    told = attention(Finding(check=check.id, result="absent", how="reported"), check, car)
    assert told == pytest.approx(check.who.handy * viewer.reported)


def test_refusals_speak_about_the_seller_only(catalogue):
    more = '[[finding]]\ncheck = "take-up"\nresult = "refused"\n'
    evidence = read_findings(resolve(saloon(more), catalogue))
    assert evidence.checks == ()
    assert evidence.presentation[1] > evidence.presentation[0]
    assert evidence.care[2] > evidence.care[0]


def test_a_part_renewed_after_it_was_looked_at_is_no_longer_what_was_seen(catalogue):
    look = '[[finding]]\ncheck = "flexible-coupling-front"\nresult = "present"\ndate = 2026-01-01\n'
    work = '[[work]]\ncomponent = "flexible-coupling-front"\ndate = 2026-03-01\nevidence = "invoice"\n'
    before = read_findings(resolve(saloon(look), catalogue))
    after = read_findings(resolve(saloon(look + work), catalogue))
    c = resolve(saloon(), catalogue).index["flexible-coupling-front"]
    assert before.sensitivity[0, 0, c, 0] > 0
    assert after.sensitivity.size == 0 or after.sensitivity[0, 0, c, 0] == 0


def test_the_later_look_counts_and_either_side_can_be_bad(catalogue):
    first = '[[finding]]\ncheck = "take-up"\nresult = "present"\ndate = 2026-01-01\n'
    then = '[[finding]]\ncheck = "take-up"\nresult = "absent"\ndate = 2026-02-01\n'
    np.testing.assert_allclose(read_findings(resolve(saloon(first + then), catalogue)).belief, [0.0])
    left = '[[finding]]\ncheck = "flexible-coupling-front"\nresult = "absent"\nside = "left"\n'
    right = '[[finding]]\ncheck = "flexible-coupling-front"\nresult = "present"\nside = "right"\n'
    np.testing.assert_allclose(read_findings(resolve(saloon(left + right), catalogue)).belief, [1.0])


def test_a_failed_stop_is_said(catalogue):
    stop = next(c for c in catalogue.checks.values() if c.stop and c.when == "all" and c.reading is None)
    evidence = read_findings(
        resolve(saloon(f'[[finding]]\ncheck = "{stop.id}"\nresult = "present"\n'), catalogue)
    )
    assert (stop.id, stop.stop) in evidence.stops
    cleared = read_findings(
        resolve(saloon(f'[[finding]]\ncheck = "{stop.id}"\nresult = "absent"\n'), catalogue)
    )
    assert stop.id not in cleared.open_stops
    assert not cleared.stops


def test_a_sign_of_parts_tells_of_care_through_them_alone(catalogue):
    """By hand: furred brake pipes are the pipes' own sign, so care is moved by their chances only; the owner's log is
    nobody's part, so its figures count; a question with parts behind it counts as well, it asks the owner."""
    car = resolve(saloon(), catalogue)
    pipes = catalogue.checks["brake-pipes-all-lengths-over-axle-tank"]
    assert pipes.care is not None
    assert care_figures(pipes, car) is None
    for asked in ("owners-own-log", "what-would-you-do-next-if-you-kept-it"):
        assert care_figures(catalogue.checks[asked], car) == catalogue.checks[asked].care is not None
    seen = "".join(f'[[finding]]\ncheck = "{c}"\nresult = "present"\n' for c in ("owners-own-log", pipes.id))
    log = catalogue.checks["owners-own-log"]
    assert read_findings(resolve(saloon(seen), catalogue)).care == pytest.approx(
        np.log(log.who.handy * np.array(log.care))
    )


def test_what_a_stranger_reports_says_less_of_care_than_what_was_looked_at(catalogue):
    """By hand: 1 - share of it that whoever looked reached x P(bad result | care), for a result that was good."""
    log = catalogue.checks["owners-own-log"]
    text = f'[[finding]]\ncheck = "{log.id}"\nresult = "absent"\n'
    for more, reached in (("", 1.0), ('how = "reported"\n', catalogue.settings.evidence.viewer.reported)):
        found = read_findings(resolve(saloon(text + more), catalogue)).care
        assert found == pytest.approx(np.log(1 - reached * log.who.handy * np.array(log.care)))


def test_dressing_up_is_one_more_way_to_a_sign_and_takes_the_blame_off_the_parts(catalogue):
    """By hand: P(sign | parts, level) = 1 - (1 - leak of the level) x the parts' silences, the dressed-up leak such
    that its parts being as they are its stated frequency comes out. Nothing is said twice: no factor besides."""
    fresh = catalogue.checks["fresh-paint-underseal-smaller-than-panel"]
    as_it_is, dressed = leak_by_presentation(fresh, 1.0)
    assert as_it_is == fresh.leak
    silent = (1 - fresh.presentation[0]) / (1 - fresh.leak)  # the parts' part in the stated frequency
    assert 1 - (1 - dressed) * silent == pytest.approx(fresh.presentation[1])
    text = f'[[finding]]\ncheck = "{fresh.id}"\nresult = "present"\n'
    found = read_findings(resolve(saloon(text), catalogue))
    assert found.presentation == pytest.approx([0.0, 0.0])
    assert found.leak[1, 0] == pytest.approx(leak_by_presentation(fresh, fresh.who.handy)[1])
    assert found.leak[0, 0] == pytest.approx(fresh.leak)
