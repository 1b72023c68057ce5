"""What can happen in a session: one frozen value for each kind of event.

Events say what somebody did or saw, never what follows from it; what follows is the work of
`state`. They hold no clock and no file: time and person stand in the envelope, which the caller
fills. `KINDS` gives every event its word in the log; the file itself is the work of `journal`.
Ids (tests, causes, trees, specs, cautions, instruments) are those of the knowledge whose digest
the session was opened with.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from faulttree.tree.model import Value

Showing = Literal["yes", "no", "unknown"]
"""Whether the complaint showed itself at that moment."""

TakenAs = Literal["route", "advice", "free"]
"""Why this test was taken: the authored route, the advice, or the technician's own choice."""

Outcome = Literal["cured", "not cured", "not found", "handed on"]
Carrier = Literal["test", "cause", "tree"]
"""What a caution belongs to: a test, the repair of a cause, or a whole complaint."""

CautionAnswer = Literal["understood", "does not apply", "trained"]
"""How a caution was answered; one that stops the work needs one of the last two.

`does not apply`: this car has nothing of the kind. `trained`: someone trained and equipped for it,
and licensed where the law asks for it, does this part of the work.
"""

Taken = Mapping[str, tuple[float, ...]]
"""Numbers by the part of the reading; one, or one for each cylinder in cylinder order."""


@dataclass(frozen=True, slots=True)
class SpecUsed:
    """A spec value on which a reading's limits stood, and where it came from.

    `origin` is `typed`, `vehicle` or `generic`, as in `tree.car`; `source` says it in words.
    """

    spec: str
    value: Value
    unit: str
    origin: Literal["typed", "vehicle", "generic"]
    source: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """What the advice put first when a step was taken, and what another was reckoned to cost.

    `id` is the test or cause it named, `minutes` what doing that takes. `extra` is how much more
    money until the complaint is gone it reckoned with for the step that was taken: 0 when it was
    followed, None when it did not weigh that step.
    """

    id: str
    minutes: float
    extra: float | None = None


@dataclass(frozen=True, slots=True)
class Opened:
    """A session begins: for which complaints' trees, by which program, on what knowledge."""

    program: str
    trees: tuple[str, ...]
    digest: str
    title: str


@dataclass(frozen=True, slots=True)
class ComplaintTaken:
    """What the driver says of one complaint; taken again, it replaces what was taken before.

    `answers` holds the tree's questions with what was answered. `showing` says whether the
    technician saw it before work began, `how_often` in the driver's words (`always`, `when hot`).
    """

    tree: str
    said: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    showing: Showing = "unknown"
    how_often: str = ""


@dataclass(frozen=True, slots=True)
class VehicleDescribed:
    """Which car it is: one of the shop's own by id, or a description with typed specs, or both.

    `name` is what to call it on screen and in the handover (registration, description); specs are
    in the spec's own unit. Described again, it replaces the description before, not specs given
    one by one.
    """

    vehicle: str | None = None
    name: str = ""
    specs: Mapping[str, Value] = field(default_factory=dict)
    source: str = ""


@dataclass(frozen=True, slots=True)
class SpecGiven:
    """One spec value was looked up and typed: as typed, and as a value in the spec's unit.

    `outside` marks a value beyond the usual range of the spec, which was asked about and taken all
    the same; as a command it says that it was asked about, and a value within the range loses it.
    """

    spec: str
    value: Value
    typed: str = ""
    source: str = ""
    outside: bool = False


@dataclass(frozen=True, slots=True)
class CautionAcknowledged:
    """A caution was read and answered, for one test, one cause's repair, or one tree."""

    caution: str
    carrier: Carrier
    id: str
    answer: CautionAnswer = "understood"


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """A test was done: what was typed, what that says, and what it came to at the time.

    `values` are as shown by the instrument and `true_values` after its correction, both in the
    part's unit. `advice` is what was advised at that moment; None when none had been worked out,
    and in logs from before it was kept. `instruments` names, by part, an instrument used in place
    of the one asked for.
    `figure` (in `unit`, with standard uncertainty `u`), `limits`, `specs_used`, `bands` and `near`
    are the result as weighed then, together with the earlier readings `repeat_of` (their sequence
    numbers) of the same test in the same stage; a replay shows these. `outside` marks a figure
    beyond what the test can read, which was asked about and taken all the same.
    """

    test: str
    typed: str = ""
    values: Taken = field(default_factory=dict)
    choice: str | None = None
    instruments: Mapping[str, str] = field(default_factory=dict)
    showing: Showing = "unknown"
    taken_as: TakenAs = "free"
    bands: Mapping[str, float] = field(default_factory=dict)
    figure: float | None = None
    u: float | None = None
    unit: str = ""
    limits: tuple[float, ...] = ()
    specs_used: tuple[SpecUsed, ...] = ()
    true_values: Taken = field(default_factory=dict)
    near: bool = False
    repeat_of: tuple[int, ...] = ()
    advice: Advice | None = None
    outside: bool = False

    @property
    def band(self) -> str:
        """The likeliest band; "" when nothing was weighed."""
        return max(self.bands, key=lambda name: self.bands[name], default="")

    @property
    def sure(self) -> float:
        """The chance of the likeliest band."""
        return max(self.bands.values(), default=0.0)


@dataclass(frozen=True, slots=True)
class CannotDo:
    """A test cannot be done on this car or in this shop, and why."""

    test: str
    reason: str


@dataclass(frozen=True, slots=True)
class Noted:
    """A remark in the technician's own words."""

    text: str


@dataclass(frozen=True, slots=True)
class RouteLeft:
    """The technician left a tree's authored route: the step it asked for, the one done instead.

    `to` is the id of a test or cause, or "" when nothing was chosen yet.
    """

    tree: str
    at_step: str
    to: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Repaired:
    """A cause was put right: what was done, in how many minutes. A new stage begins.

    `advice` is what was advised at that moment, as at a reading.
    """

    cause: str
    done: str = ""
    minutes: float | None = None
    advice: Advice | None = None


@dataclass(frozen=True, slots=True)
class ComplaintChecked:
    """The complaint was looked for again: present or gone. After a repair this is the proof."""

    tree: str
    found: Literal["present", "gone"]
    how: str = ""


@dataclass(frozen=True, slots=True)
class InstrumentChecked:
    """An instrument was held against a better one: what it showed, and what was true.

    Both in the instrument's unit. Corrects the readings that follow, not those before.
    """

    instrument: str
    shown: float
    true: float
    against: str = ""


@dataclass(frozen=True, slots=True)
class Closed:
    """The session ends: what was confirmed, how it came out, and what remains to be done."""

    outcome: Outcome
    causes: tuple[str, ...] = ()
    remaining: str = ""


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """The event with that sequence number is taken back; the log keeps it, the state forgets it."""

    sequence: int
    reason: str = ""


Event = (
    Opened
    | ComplaintTaken
    | VehicleDescribed
    | SpecGiven
    | CautionAcknowledged
    | ReadingTaken
    | CannotDo
    | Noted
    | RouteLeft
    | Repaired
    | ComplaintChecked
    | InstrumentChecked
    | Closed
    | Withdrawn
)

KINDS: Mapping[str, type[Event]] = {
    "opened": Opened,
    "complaint": ComplaintTaken,
    "vehicle": VehicleDescribed,
    "spec given": SpecGiven,
    "caution acknowledged": CautionAcknowledged,
    "reading": ReadingTaken,
    "cannot do": CannotDo,
    "note": Noted,
    "route left": RouteLeft,
    "repaired": Repaired,
    "complaint checked": ComplaintChecked,
    "instrument checked": InstrumentChecked,
    "closed": Closed,
    "withdrawn": Withdrawn,
}
"""Every kind of event by its word in the log."""

KIND_OF: Mapping[type[Event], str] = {event: kind for kind, event in KINDS.items()}


@dataclass(frozen=True, slots=True)
class Envelope:
    """One line of the log: an event, its number from 1, when (UTC) and by whom.

    `chain` is the SHA-256 of the line itself; the next line repeats it. It is "" for an event that
    has not been written to a file.
    """

    sequence: int
    at: datetime
    who: str
    event: Event
    chain: str = ""
