"""What does the model leave out, which way does that err, and how is an answer validated?"""

from dataclasses import dataclass
from typing import Literal

Errs = Literal["too many", "too few", "either way"]
TOO_MANY: Errs = "too many"
TOO_FEW: Errs = "too few"
EITHER: Errs = "either way"


@dataclass(frozen=True)
class Limit:
    """Something that the model leaves out.

    Parameters
    ----------
    what : str
        What is left out.
    why : str
        What a real host does instead.
    errs : str
        Which way the answer errs: it carries too many sessions, too few, or either.
    tells : str
        Who, or what, can tell.
    """

    what: str
    why: str
    errs: Errs
    tells: str


LIMITS_OF_VALIDITY: tuple[Limit, ...] = (
    Limit(
        "Sockets and distant memory (NUMA)",
        "A core that reads memory of the other socket waits for it, so all work takes longer.",
        TOO_MANY, "A trial on the host itself, loaded on all sockets.",
    ),
    Limit(
        "Memory bandwidth and shared caches",
        "Moving pictures are large: many encoders at once slow each other before cores run out.",
        TOO_MANY, "Cost of a frame, measured on an empty host and on a full one.",
    ),
    Limit(
        "Clock under heat and power limits",
        "The base clock is held to be kept with every core busy; a hot room may lower it.",
        TOO_MANY, "Read the clock while every core is busy, and enter it.",
    ),
    Limit(
        "One yield of second threads for all work",
        "Encoding may gain more or less from a second thread than applications do.",
        EITHER, "The same load with SMT on and off.",
    ),
    Limit(
        "The hypervisor's own scheduling",
        "All work shares equally and at once. Queues for single cores, fixed places, time slices, "
        "and desktops whose vCPUs must run together make some wait longer.",
        TOO_MANY, "The hypervisor's own reading of how long vCPUs wait, beside ours.",
    ),
    Limit(
        "Priorities, reservations and caps",
        "Some sources get more than an equal part, others less: their responses differ by tens "
        "of per cent from those shown.",
        EITHER, "A trial with the rules that will be in force.",
    ),
    Limit(
        "Applications that use several cores at once",
        "A session's applications run on one core at a time, so a heavy parallel one asks for "
        "more than is shown.",
        TOO_MANY, "The host's total against the prediction, on the Evidence page.",
    ),
    Limit(
        "Several encoding threads for one desktop",
        "All displays in motion of a desktop are encoded one after the other; a protocol that "
        "encodes side by side delivers more frames.",
        TOO_FEW, "Frames delivered by a desktop with all its displays in motion.",
    ),
    Limit(
        "A protocol that adapts to load",
        "Many protocols lower frame rate or quality under load. Then pictures get poorer and the "
        "host carries more sessions than shown.",
        TOO_FEW, "Frames and picture quality in a trial with the host full.",
    ),
    Limit(
        "The picture itself",
        "The cost of a frame is one number for an activity; rich pictures cost more than plain "
        "ones, and cost grows evenly with the pixels.",
        EITHER, "A trial with your own documents, videos and display sizes.",
    ),
    Limit(
        "What happens on the card",
        "Up to its display slots and its pixel rate a card is never late; its own queue, its "
        "clock and other work on it are left out.",
        TOO_MANY, "Frames delivered, and the card's own counters, with all slots in use.",
    ),
    Limit(
        "Which display the driver serves",
        "The most active displays are taken to get the card. A driver that serves first come, "
        "first served saves less CPU once the slots are full.",
        TOO_MANY, "The vendor's documentation, and a trial with more displays than slots.",
    ),
    Limit(
        "Storage",
        "Disks never make anyone wait. Logons and starting applications often do wait for them.",
        TOO_MANY, "A logon storm in a trial.",
    ),
    Limit(
        "The network beyond its rate",
        "Only the host's mean rate counts; delay, loss and short bursts are left out.",
        TOO_MANY, "The network's own readings, over the distance that people have.",
    ),
    Limit(
        "The client's side",
        "A weak client drops frames, whatever the host delivers.",
        EITHER, "A look at the oldest client in use. The host's load stays as shown.",
    ),
    Limit(
        "Memory that is shared or lent",
        "Memory is added up desktop by desktop; hypervisors can share pages or lend memory.",
        TOO_FEW, "The hypervisor's own reading of memory in use.",
    ),
    Limit(
        "People who act together",
        "Sessions act independently. A lesson that starts one video for all, or an alarm, makes "
        "higher peaks. 'Everyone on a video call' shows one such event.",
        TOO_MANY, "A log of an ordinary week: is its crest above the simulated one?",
    ),
    Limit(
        "Sources that move in step",
        "Frames of all desktops that start at the same tick meet in the same queue for ever; real "
        "ones drift apart.",
        TOO_MANY, "Frames delivered in the trial.",
    ),
    Limit(
        "Work of nobody in particular",
        "Updates, scans, backups and forgotten sessions ask for CPU too, unless an activity of "
        "the scenario stands for them.",
        TOO_MANY, "A log of the host over a night and a morning.",
    ),
    Limit(
        "A broker that moves sessions to calm hosts",
        "Each host keeps the sessions it has, drawn at random; one that evens hosts out has "
        "lower peaks.",
        TOO_FEW, "Host totals of several hosts at the same time.",
    ),
)  # fmt: skip

KNOWN_LIMITS: tuple[str, ...] = (
    "Where the card's pixel rate binds, the p99 of demand is known to several per cent only, and "
    "a larger accelerator share can lower the rated load a little.",
    "Close to full load, on hosts of few threads, response times come out up to 7 % too long.",
    "Pooling all sources into one law moves response and frames by at most 1.5 % on nearly all "
    "hosts, by up to 6 % where a handful of unlike sources share few cores.",
    "Uncertain inputs do not cover anything in the table above: bands say how sure the answer is "
    "if the model is right.",
    "Without the card the example lies close to an edge: one frame of scrolling takes 93 % of a "
    "core's time, and with about 14 % more not even one session gets its frames.",
)

VALIDATION: tuple[tuple[str, str], ...] = (
    ("Choose what matters", "Open the uncertainty of your scenario: 'Measure next' names the "
     "inputs that move the answer most. Two or three activities usually carry it."),
    ("Plan a trial", "On the Evidence page, 'Plan a trial' gives order and length of the blocks, "
     "what the trial will be able to tell, a check list and a run sheet. Use a host and a desktop "
     "for trials, with the consent of whoever answers for them."),
    ("Measure", "Play one activity the same way in every block, switch offload by the run sheet, "
     "and log every second: CPU of the encoder, frames delivered, clock time, state of offload."),
    ("Read the effect", "Drop the log on the Evidence page, confirm when offload was on, and look "
     "at the interval, not only at the value. The other roads beside it should tell the same."),
    ("Take the costs over", "Accept measured costs one by one. The Host page marks them as "
     "measured and shows the range that their intervals leave."),
    ("Compare with real work", "Let real people work on one host, the card as it will be in "
     "production, and log the host's total. 'Predicted against measured' holds that log against "
     "the model."),
    ("Decide", "If they agree, plan with the rated load and your own reserve. If not, the table "
     "of limits says where to look; do not buy on the prediction before the cause is found."),
    ("Put everything back", "Return offload and the host to their state from before, and check "
     "one desktop."),
)  # fmt: skip

PAGES_TOLD: dict[str, tuple[str, str]] = {
    "host": ("Host", "How many sessions one host carries, with the card and without: the sentence "
             "on top, four charts, what if something fails."),
    "evidence": ("Evidence", "Trial logs: the effect of offload with its interval, costs back into "
                 "the scenario, prediction against measurement."),
    "fleet": ("Fleet", "Hosts, racks, power and cost for all sites, with cards and without."),
    "shelf": ("Shelf", "Saved scenarios, found again and compared side by side."),
    "proposal": ("Proposal", "One sheet, and one set of pictures, of all that was decided."),
    "method": ("Method", "This page: equations, limits, defaults, checks, words."),
}  # fmt: skip
