"""What is done when in a trial, and what is seen to before, during and after it?"""

from collections.abc import Sequence
from dataclasses import dataclass

CHECKLIST = (
    "This is a host and a desktop for trials, not in production: nobody works on it but us.",
    "Agreed by (name, date), who also answers for the host:",
    "How offload is switched off and on again has been tried once, and is written here:",
    "How everything is put back as it was, and who does it if the trial is broken off:",
    "The log records the encoder's CPU and frames delivered every {interval} s, with the clock "
    "time and, if possible, the state of offload.",
    "The clock of whoever switches and that of the log agree to the second.",
    "The activity is played by a script or from one recording, the same in every block.",
    "Display size, number of displays, frame rate and quality limits are fixed and noted:",
    "Nothing else runs on the host: no backups, no scans, no updates, no second desktop.",
)
CAUTIONS = (
    "Switching offload on and off on purpose belongs in a trial, never in production.",
    "Note the actual time of every switch. A late one does no harm once the log knows it.",
    "Keep to the order. Do not leave out, repeat or swap blocks because of what the log shows.",
    "Afterwards switch back to the state from before, and check that a desktop shows it.",
)


@dataclass(frozen=True)
class RunRow:
    """One line of the run sheet: what is done when.

    Parameters
    ----------
    block : int
        Number of the block, counted from 1 through the whole trial. [-]
    activity : str
        What the desktop does.
    on : bool
        Whether offload is on.
    switched : bool
        Whether offload has to be switched for it; False where it stays as in the block before.
    start_s, count_from_s, end_s : float
        Begin of the block, of the readings that count, and its end, from the trial's begin. [s]
    """

    block: int
    activity: str
    on: bool
    switched: bool
    start_s: float
    count_from_s: float
    end_s: float

    @property
    def state(self) -> str:
        """The state in words."""
        return "with card" if self.on else "without card"

    @property
    def clock(self) -> str:
        """Begin of the block as hours, minutes and seconds from the trial's begin."""
        seconds = round(self.start_s)
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def run_sheet(
    activities: Sequence[str],
    states: Sequence[tuple[bool, ...]],
    block_s: float,
    drop_s: float,
    settle_s: float,
) -> tuple[RunRow, ...]:
    """Return every block of a trial in its turn.

    Parameters
    ----------
    activities : sequence of str
        In the order in which they are done.
    states : sequence of tuple of bool
        For each activity, whether offload is on, block by block.
    block_s : float
        Length of a block. [s]
    drop_s : float
        Seconds at the begin of each block that do not count. [s]
    settle_s : float
        Time before each activity's first block. [s]
    """
    rows: list[RunRow] = []
    start_s = 0.0
    for name, in_turn in zip(activities, states, strict=True):
        start_s += settle_s
        for place, on in enumerate(in_turn):
            switched = place == 0 or on != in_turn[place - 1]
            rows.append(
                RunRow(
                    block=len(rows) + 1,
                    activity=name,
                    on=on,
                    switched=switched,
                    start_s=start_s,
                    count_from_s=start_s + drop_s,
                    end_s=start_s + block_s,
                )
            )
            start_s += block_s
    return tuple(rows)
