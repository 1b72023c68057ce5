"""Advice: what is open, what counts, what comes first, and what is said about it."""

import itertools
import math
import random
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.scorer.advice import (
    AGAIN,
    EASY_FIRST,
    NEARLY,
    PAYS_BACK,
    Suggestion,
    advise,
)
from faulttree.scorer.evidence import GONE, PRESENT, Evidence, Finding
from faulttree.scorer.inference import Impossible, solve
from faulttree.scorer.network import Network, Node, Source, make_network

from .reference import random_evidence, random_network

TINY = 1e-6
COMPLAINT = Finding("complaint", {PRESENT: 1.0})


def one_of(
    chances: Mapping[str, float],
    costs: Mapping[str, float],
    *tests: Source,
    apart: Mapping[str, float] | None = None,
) -> Network:
    """Causes that exclude one another given the complaint, each with the chance it then has.

    Priors are so small that two causes at once do not count. `apart` are causes, with their
    priors, that do not bring the complaint on. Costs are parts, so they hold at any hourly rate.
    """
    apart = apart or {}
    nodes = [Node(c, f"the {c}", TINY * p, parts=costs[c]) for c, p in chances.items()]
    nodes += [Node(c, f"the {c}", p, parts=50.0) for c, p in apart.items()]
    brings_on = dict.fromkeys(range(len(chances)), (1.0,))
    complaint = Source(
        "complaint", "It stalls", (PRESENT,), GONE, "complaint", brings_on, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    return make_network(nodes, (complaint, *tests), ["complaint"])


def telling(
    id: str,
    causes: Mapping[int, float],
    *,
    minutes: float = 10.0,
    reach: int = 0,
    after: Mapping[str, tuple[str, ...]] | None = None,
    shows_only: float | None = None,
) -> Source:
    """A test that reads `bad` with the given chance for each of the causes, and never by chance."""
    links = {cause: (chance,) for cause, chance in causes.items()}
    return Source(
        id, f"Test {id}", ("bad",), "good", id, links, (0.0,), minutes, reach, shows_only,
        after=after or {},
    )  # fmt: skip


def ids(suggestions: list[Suggestion], kind: str = "test") -> list[str]:
    return [s.id for s in suggestions if s.kind == kind]


TWO = {"pump": 0.5, "coil": 0.5}
COST = {"pump": 100.0, "coil": 100.0}


def test_a_telling_test_comes_before_guessing() -> None:
    """Two equal rivals, 100 each: a sure test for 10 costs 110 in all, a repair first 150."""
    network = one_of(TWO, COST, telling("a", {0: 1.0}))
    test, *repairs = advise(network, Evidence((COMPLAINT,)))
    assert (test.kind, test.id) == ("test", "a")
    assert test.expected_cost == pytest.approx(110.0, abs=1e-3)
    assert [r.expected_cost for r in repairs] == pytest.approx([150.0, 150.0], abs=1e-3)
    assert test.gain_bits == pytest.approx(1.0, abs=1e-4)


def test_a_dear_test_comes_after_repairing() -> None:
    """The same test for 60 is not worth it: the repair in turn, at 150, comes first."""
    network = one_of(TWO, COST, telling("a", {0: 1.0}, minutes=60.0))
    assert advise(network, Evidence((COMPLAINT,)))[0].kind == "repair"
    # And whether it is worth it follows the shop's rate.
    assert advise(network, Evidence((COMPLAINT,)), rate_per_hour=10.0)[0].kind == "test"


def test_when_the_cause_is_known_it_is_repaired() -> None:
    """Once a sure test has pointed to one cause, that repair leads and no test is left."""
    network = one_of(TWO, COST, telling("a", {0: 1.0}), telling("b", {1: 1.0}))
    suggestions = advise(network, Evidence((COMPLAINT, Finding("a", {"bad": 1.0}))))
    assert (suggestions[0].kind, suggestions[0].id) == ("repair", "pump")
    assert suggestions[0].bands["cured"] == pytest.approx(1.0, abs=1e-5)
    assert all(s.gain_bits < 1e-4 for s in suggestions)


def test_repairs_follow_chance_over_cost() -> None:
    """The p/c rule of Heckerman, Breese and Rommelse 1995 (from memory): the order is 2-1-3.

    Instance ours: chances .5 .3 .2, costs 100 30 50; expected cost 110, the worst order 139.
    """
    chances = {"1": 0.5, "2": 0.3, "3": 0.2}
    costs = {"1": 100.0, "2": 30.0, "3": 50.0}
    by_order = {
        order: sum(
            costs[c] * (1.0 - sum(chances[done] for done in order[:k])) for k, c in enumerate(order)
        )
        for order in itertools.permutations(chances)
    }
    assert min(by_order, key=lambda o: by_order[o]) == ("2", "1", "3")
    assert max(by_order.values()) == pytest.approx(139.0)
    network = one_of(chances, costs)
    evidence = Evidence((COMPLAINT,))
    followed = []
    for stage in range(1, 4):
        best = advise(network, evidence)[0]
        if stage == 1:
            assert best.expected_cost == pytest.approx(110.0, abs=1e-3)
        followed.append(best.id)
        if stage < 3:
            again = Finding("complaint", {PRESENT: 1.0}, stage)
            evidence = Evidence((*evidence.findings, again), {**evidence.repaired, best.id: stage})
    assert followed == ["2", "1", "3"]


def test_after_is_respected() -> None:
    """A test that makes sense only after another fell in a band waits for that band."""
    wet = telling("wet", {1: 0.9}, after={"dry": ("bad",)})
    chances = {"rings": 0.4, "valve": 0.4, "plug": 0.2}
    network = one_of(chances, dict.fromkeys(chances, 90.0), telling("dry", {0: 0.8, 1: 0.8}), wet)
    assert ids(advise(network, Evidence((COMPLAINT,)))) == ["dry"]
    good = Evidence((COMPLAINT, Finding("dry", {"good": 0.9, "bad": 0.1})))
    assert ids(advise(network, good)) == []
    bad = Evidence((COMPLAINT, Finding("dry", {"good": 0.1, "bad": 0.9})))
    assert ids(advise(network, bad)) == ["wet"]


def test_done_and_barred_tests_are_left_out() -> None:
    """What was read since the last repair, or cannot be done, is not suggested."""
    chances = {"pump": 0.4, "coil": 0.3, "plug": 0.3}
    tests = [telling(name, {i: 0.9}) for i, name in enumerate("abc")]
    network = one_of(chances, dict.fromkeys(chances, 100.0), *tests)
    evidence = Evidence((COMPLAINT,))
    assert set(ids(advise(network, evidence))) == {"a", "b", "c"}
    assert set(ids(advise(network, evidence, done=["a"], barred=["b"]))) == {"c"}
    read = Evidence((COMPLAINT, Finding("a", {"good": 1.0})))
    assert set(ids(advise(network, read))) == {"b", "c"}


def test_a_repair_opens_the_tests_again() -> None:
    """After a repair that did not cure, an earlier test may be read again, the repair not."""
    chances = {"pump": 0.4, "coil": 0.3, "plug": 0.3}
    network = one_of(chances, dict.fromkeys(chances, 100.0), telling("a", {0: 0.9, 1: 0.5}))
    evidence = Evidence(
        (COMPLAINT, Finding("a", {"bad": 1.0}), Finding("complaint", {PRESENT: 1.0}, 1)),
        {"pump": 1},
    )
    suggestions = advise(network, evidence)
    assert "pump" not in ids(suggestions, "repair")
    # The coil showed in the earlier reading, or nothing would have: it is settled, so no gain.
    assert suggestions[0].id == "coil"
    clean = Evidence(
        (COMPLAINT, Finding("a", {"good": 1.0}), Finding("complaint", {PRESENT: 1.0}, 1)),
        {"pump": 1},
    )
    assert set(ids(advise(network, clean), "repair")) == {"coil", "plug"}


@pytest.mark.parametrize("doubt", ["near a limit", "not showing"])
def test_a_doubtful_reading_may_be_taken_again(doubt: str) -> None:
    """A figure near a limit, or one taken while nothing showed, is worth the same test again."""
    chances = {"pump": 0.5, "coil": 0.5}
    network = one_of(chances, COST, telling("a", {0: 0.95}, shows_only=0.1))
    if doubt == "near a limit":
        finding = Finding("a", {"bad": 0.5, "good": 0.5})
    else:
        finding = Finding("a", {"good": 1.0}, showing=False)
    evidence = Evidence((COMPLAINT, finding))
    assert ids(advise(network, evidence)) == []
    again = advise(network, evidence, repeatable=["a"])
    assert (again[0].kind, again[0].id) == ("test", "a")
    assert ids(advise(network, evidence, repeatable=["a"], barred=["a"])) == []


def test_a_sure_reading_is_not_worth_taking_again() -> None:
    """A firm reading of a test that always shows its cause brings nothing when repeated."""
    network = one_of(TWO, COST, telling("a", {0: 1.0}))
    firm = Evidence((COMPLAINT, Finding("a", {"good": 1.0})))
    assert ids(advise(network, firm, repeatable=["a"])) == []


def test_only_causes_of_the_complaint_count() -> None:
    """A test that tells about a cause without a part in the complaint gains nothing."""
    network = one_of(
        TWO, COST, telling("a", {0: 1.0}), telling("radio", {2: 1.0}), apart={"aerial": 0.4}
    )
    suggestions = advise(network, Evidence((COMPLAINT,)))
    assert ids(suggestions) == ["a"]
    assert set(ids(suggestions, "repair")) == {"pump", "coil"}


def test_a_cause_that_is_there_but_idle_is_not_paid_for() -> None:
    """When another cause explains the complaint, one that is present but idle costs nothing."""
    nodes = [Node("pump", "pump", TINY, parts=100.0), Node("worn", "worn", 0.5, parts=500.0)]
    brings_on = {0: (1.0,), 1: (1e-9,)}
    complaint = Source(
        "complaint", "It stalls", (PRESENT,), GONE, "complaint", brings_on, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    network = make_network(nodes, [complaint, telling("look", {1: 1.0})], ["complaint"])
    evidence = Evidence((COMPLAINT,))
    assert solve(network, evidence).chances["worn"] == pytest.approx(0.5, abs=1e-3)
    best = advise(network, evidence)[0]
    assert (best.kind, best.id) == ("repair", "pump")
    assert best.expected_cost == pytest.approx(100.0, rel=0.01)


def reaching(gain: float, minutes: float = 10.0) -> list[str]:
    """The order of an easy test of the given strength and a sure one that reaches far."""
    network = one_of(
        TWO,
        {"pump": 1000.0, "coil": 1000.0},
        telling("far", {0: 1.0}, reach=3),
        telling("easy", {0: gain}, minutes=minutes, reach=1),
    )
    return ids(advise(network, Evidence((COMPLAINT,))))


def test_low_reach_comes_first_when_nearly_as_good() -> None:
    """An easy test that tells a little less comes before one that reaches far."""
    assert reaching(0.99) == ["easy", "far"]
    # Even a somewhat slower one.
    assert reaching(1.0, minutes=15.0) == ["easy", "far"]


def test_high_reach_comes_first_when_much_better() -> None:
    """A test that reaches far leads when the easy one gains less than a third a minute."""
    assert reaching(0.3) == ["far", "easy"]
    assert reaching(1.0, minutes=31.0) == ["far", "easy"]


def test_an_easy_look_that_tells_next_to_nothing_does_not_come_first() -> None:
    """Half the bits a minute are not enough: a look must pay most of its own cost back."""
    assert reaching(0.1, minutes=1.0) == ["far", "easy"]
    # One that does, because the far test is dear, comes first.
    network = one_of(
        TWO,
        {"pump": 1000.0, "coil": 1000.0},
        telling("far", {0: 1.0}, minutes=120.0, reach=3),
        telling("easy", {0: 0.5}, minutes=30.0, reach=1),
    )
    assert ids(advise(network, Evidence((COMPLAINT,)))) == ["easy", "far"]


def test_a_suggestion_says_why_it_stands_where_it_does() -> None:
    """A test put before one that reaches further says so, and so does one to be taken again."""
    network = one_of(
        TWO,
        {"pump": 1000.0, "coil": 1000.0},
        telling("far", {0: 1.0}, reach=3),
        telling("easy", {0: 0.99}, reach=1),
    )
    easy, far, *_ = advise(network, Evidence((COMPLAINT,)))
    assert easy.expected_cost > far.expected_cost
    assert (easy.note, far.note) == (EASY_FIRST, "")
    doubtful = Evidence((COMPLAINT, Finding("easy", {"bad": 0.5, "good": 0.5})))
    again = {s.id: s.note for s in advise(network, doubtful, repeatable=["easy"])}
    assert again["easy"] == AGAIN


def test_all_that_a_band_rules_out_is_named() -> None:
    """A band that rules causes out names them, the likeliest first, and no more than fit."""
    chances = {"pump": 0.3, "coil": 0.25, "plug": 0.25, "lead": 0.2}
    costs = dict.fromkeys(chances, 100.0)
    two = one_of(chances, costs, telling("a", {0: 1.0, 1: 1.0}))
    test = next(s for s in advise(two, Evidence((COMPLAINT,))) if s.kind == "test")
    assert test.settles[0] == "bad (55 %): rules out the plug and the lead"
    eight = {"a": 0.14, "b": 0.13, "c": 0.13, "d": 0.12, "e": 0.12, "f": 0.12, "g": 0.12, "h": 0.12}
    many = one_of(eight, dict.fromkeys(eight, 100.0), telling("t", dict.fromkeys(range(4, 8), 1.0)))
    test = next(s for s in advise(many, Evidence((COMPLAINT,))) if s.kind == "test")
    assert test.settles[0] == "bad (48 %): rules out the a, the b and 2 more"


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 5))
def test_every_suggestion_is_lawful(seed: int, findings: int) -> None:
    """Chances sum to 1, costs are finite, nothing is cheaper than its own cost, and the order is
    that of expected cost but for tests of lower reach that are nearly as good."""
    rng = random.Random(seed)
    network = random_network(rng)
    evidence = random_evidence(rng, network, findings)
    try:
        suggestions = advise(network, evidence)
    except Impossible:
        return
    for s in suggestions:
        assert sum(s.bands.values()) == pytest.approx(1.0, abs=1e-9)
        assert math.isfinite(s.expected_cost)
        assert s.expected_cost >= s.cost - 1e-9
        if s.kind == "repair":
            assert network.index[s.id] in network.relevant
            assert s.id not in evidence.repaired
    for first, second in itertools.pairwise(suggestions):
        if first.expected_cost > second.expected_cost + 1e-9:
            assert first.kind == "test"
            assert first.reach < second.reach or second.kind == "repair"
            extra = first.expected_cost - second.expected_cost
            owed = (1.0 - PAYS_BACK) * first.cost
            assert extra <= max(owed, NEARLY * second.expected_cost) + 1e-9


def test_what_a_test_settles_is_said_in_plain_words() -> None:
    """Each band that may come names its chance and the cause that it moves most."""
    chances = {"pump": 0.6, "coil": 0.2, "plug": 0.2}
    network = one_of(chances, dict.fromkeys(chances, 100.0), telling("a", {0: 1.0}))
    best = advise(network, Evidence((COMPLAINT,)))[0]
    assert best.settles == (
        "bad (60 %): the pump 60 % -> 100 %",
        "good (40 %): rules out the pump",
    )
    repair = next(s for s in advise(network, Evidence((COMPLAINT,))) if s.id == "pump")
    assert repair.settles == ("cures the complaint with a chance of 60 %",)


def test_a_band_that_hardly_ever_comes_is_not_spoken_of() -> None:
    """Bands with a chance under 2 % get no line."""
    chances = {"pump": 0.01, "coil": 0.99}
    network = one_of(chances, dict.fromkeys(chances, 100.0), telling("a", {0: 1.0}, minutes=0.01))
    test = next(s for s in advise(network, Evidence((COMPLAINT,))) if s.kind == "test")
    assert all(line.startswith("good") for line in test.settles)


def test_no_repair_is_advised_before_the_last_one_is_proved() -> None:
    """After a repair the complaint is looked for first; only if it is there is a next one due."""
    nodes = [Node("a", "a", 0.1, 10, 10), Node("b", "b", 0.1, 10, 10)]
    complaint = Source(
        "c", "c", ("present",), "gone", "complaint:c", {0: (0.8,), 1: (0.8,)}, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    network = make_network(nodes, [complaint], ["c"])
    found = (Finding("c", {PRESENT: 1.0}),)
    unproved = Evidence(found, {"a": 1})
    assert [s for s in advise(network, unproved) if s.kind == "repair"] == []
    again = Evidence((*found, Finding("c", {PRESENT: 1.0}, 1)), {"a": 1})
    assert [s.id for s in advise(network, again) if s.kind == "repair"] == ["b"]


def test_when_every_cause_was_repaired_nothing_is_left_to_suggest() -> None:
    """With all causes of the complaint repaired there is nothing to gain, and no error."""
    network = one_of(
        {"pump": 1.0}, {"pump": 100.0}, telling("radio", {1: 1.0}), apart={"aerial": 0.4}
    )
    seen = Finding("complaint", {GONE: 1.0}, 1)
    assert advise(network, Evidence((COMPLAINT, seen), {"pump": 1})) == []


def test_once_the_complaint_is_gone_nothing_is_advised() -> None:
    """A fault that is there but idle is no reason for a repair after the one that cured."""
    nodes = [Node("a", "a", 0.3, 10, 10), Node("b", "b", 0.3, 10, 10)]
    complaint = Source(
        "c", "c", ("present",), "gone", "complaint:c", {0: (0.8,), 1: (0.8,)}, (0.0,),
        is_complaint=True,
    )  # fmt: skip
    network = make_network(nodes, [complaint, telling("t", {1: 0.9})], ["c"])
    seen = Finding("c", {PRESENT: 1.0})
    gone = Evidence((seen, Finding("c", {GONE: 1.0}, 1)), {"a": 1})
    assert solve(network, gone).chances["b"] > 0.05
    assert advise(network, gone) == []
    doubtful = Evidence((seen, Finding("c", {GONE: 0.8, PRESENT: 0.2}, 1)), {"a": 1})
    assert [s.id for s in advise(network, doubtful) if s.kind == "repair"] == ["b"]
