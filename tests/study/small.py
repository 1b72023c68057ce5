"""Small invented networks for the tests of the studies."""

from faulttree.scorer.evidence import GONE, PRESENT
from faulttree.scorer.network import NOT_LISTED, Network, Node, Source, make_network


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
