"""Small invented networks for the tests of the studies."""

from faulttree.scorer.evidence import GONE, PRESENT
from faulttree.scorer.network import NOT_LISTED, Network, Node, Source, make_network
from faulttree.tree.model import Cause, Knowledge, Repair, Test, Tree


def complaint(id: str, links: dict[int, float], rival: int) -> Source:
    """A complaint with what brings it on, and its own unlisted rival."""
    chances = {cause: (p,) for cause, p in links.items()}
    return Source(
        id,
        f"Complaint {id}",
        (PRESENT,),
        GONE,
        f"complaint:{id}",
        {**chances, rival: (1.0,)},
        (0.0,),
        is_complaint=True,
    )


def small_network() -> Network:
    """Three causes, four tests (two of one family) and one complaint."""
    nodes = [
        Node("pump", "Weak pump", 0.15, 60, 100),
        Node("leak", "Air leak", 0.2, 20, 5),
        Node("rings", "Worn rings", 0.1, 300, 200),
        Node(NOT_LISTED, "Something not listed here", 0.05, repairable=False),
    ]
    sources = [
        Source(
            "prime",
            "Pressure at prime",
            ("low", "high"),
            "fine",
            "pressure",
            {0: (0.6, 0.1)},
            (0.03, 0.02),
            15,
            1,
        ),
        Source(
            "load",
            "Pressure under load",
            ("low",),
            "fine",
            "pressure",
            {0: (0.8,), 2: (0.1,)},
            (0.04,),
            20,
            1,
        ),
        Source("smoke", "Smoke", ("seen",), "none", "smoke", {1: (0.9,)}, (0.02,), 10, 0),
        Source("squeeze", "Compression", ("low",), "fine", "squeeze", {2: (0.9,)}, (0.01,), 40, 2),
        complaint("rough", {0: 0.5, 1: 0.7, 2: 0.4}, 3),
    ]
    return make_network(nodes, sources, ["rough"])


def small_knowledge() -> Knowledge:
    """Three causes, three tests and two complaints; invented."""
    causes = [
        Cause("pump", "Weak pump", "It is weak.", 0.15, Repair("Replace it", 60, 100)),
        Cause("leak", "Air leak", "Air gets in.", 0.2, Repair("Renew a gasket", 150, 60)),
        Cause("rings", "Worn rings", "They leak.", 0.1, Repair("Rebuild", 300, 200)),
    ]
    tests = [
        Test(
            "prime",
            "Pressure at prime",
            "number",
            "Read it.",
            ("low", "fine", "high"),
            "fine",
            {"low": 0.03, "high": 0.02},
            {"pump": {"low": 0.6, "high": 0.1}},
            15,
            1,
        ),
        Test(
            "smoke",
            "Smoke",
            "choice",
            "Look.",
            ("none", "seen"),
            "none",
            {"seen": 0.04},
            {"leak": {"seen": 0.85}, "rings": {"seen": 0.1}},
            10,
            0,
            sure=0.95,
        ),
        Test(
            "squeeze",
            "Compression",
            "number",
            "Crank it.",
            ("low", "fine"),
            "fine",
            {"low": 0.02},
            {"rings": {"low": 0.9}},
            40,
            2,
        ),
    ]
    route = {
        "smoke": {"seen": "leak", "none": "prime"},
        "prime": {"low": "pump", "otherwise": "squeeze"},
        "squeeze": {"low": "rings"},
    }
    trees = [
        Tree("rough", "Rough", {"pump": 0.5, "leak": 0.7, "rings": 0.4}, 0.02, "smoke", route, ()),
        Tree("weak", "Pulls badly", {"pump": 0.6, "rings": 0.5}, 0.02, "prime", route, ()),
    ]
    return Knowledge(
        trees={tree.id: tree for tree in trees},
        causes={cause.id: cause for cause in causes},
        tests={test.id: test for test in tests},
        specs={},
        instruments={},
        cautions={},
        vehicles={},
        digest="0" * 64,
    )
