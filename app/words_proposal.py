"""In which words does the Proposal page gather what was decided, and say what cannot go in?"""

from app.words import METHOD
from app.words_limits import EITHER, LIMITS_OF_VALIDITY, TOO_FEW, TOO_MANY

TITLE = "Proposal"
ABOUT = (
    "What was decided, on one sheet: tick what goes in, then print it, save it as PDF, or save "
    "every chart as a picture. All numbers are those of the other pages."
)
PARTS = {  # of the sheet: title, what it holds
    "host": ("This host", "The answer, four charts, the values and what if; always there."),
    "pin": ("Against the pin", "What differs from the pinned result, and what that does."),
    "event": ("On a bad day", "The host before and after the event that is chosen."),
    "sure": ("How sure is this?", "Ranges over all draws, and what to measure next."),
    "fleet": ("The whole fleet", "Hosts, cards, power and cost of all sites."),
    "shelf": ("Saved scenarios", "Up to four, side by side and each with its own link."),
    "evidence": ("Trial evidence", "Effects, peaks and cautions of the trial you have read."),
    "inputs": ("All inputs", ""),
    "close": ("What this rests on", ""),
}
CHOICES = ("host", "pin", "event", "sure", "fleet", "shelf", "evidence")  # those with a box to tick
NOT_THERE = {  # why a box cannot be ticked
    "pin": "Nothing is pinned: Pin on the Host page keeps a result to compare with.",
    "event": "No event is chosen: On a bad day, on the Host page, has them.",
    "sure": "Not worked out for these inputs: Work out under How sure is this?, on the Host page.",
    "shelf": "Nothing is on the shelf yet: Save on the shelf, on the Host page, puts it there.",
    "evidence": "No effect is worked out in this visit: read a trial's logs on the Evidence page "
    "and confirm when offload was on.",
}
FIELDS = {  # texts of the visitor's own: label, placeholder, longest
    "title": ("Title", "Proposal", 160),
    "for": ("Prepared for", "", 160),
    "by": ("Prepared by", "", 160),
    "notes": ("Notes", "", 4000),
}
OWN_TEXTS = (
    "These texts stay in this browser and go on the sheet; nothing of them is sent anywhere."
)
ACTIONS = {  # of the buttons above the sheet: label, what it does
    "proposal-print": ("Print", "Print the sheet, or save it as PDF"),
    "proposal-pictures": ("All pictures", "Save every chart of the sheet as PNG, in one zip file"),
    "proposal-again": ("Try again", "Work out once more what could not be worked out"),
}
TEXTS = {  # {} is filled in by the browser
    "sheet": "The sheet as it prints",
    "paper": "Sheet of the proposal",
    "working": "Being worked out: {}.",
    "ready": "The sheet is complete.",
    "waiting": "Prints as soon as all is there.",
    "failed_parts": "Could not be worked out: {}.",
    "failed": "This part could not be worked out. {}",
    "unanswered": "The server does not answer; try again.",
    "unfinished": "Not complete: {} were still being worked out when this was printed.",
    "earlier": "Showing the last valid result.",
    "short": "In short",
    "links": "Links",
    "link": "Open it live",
    "trial_link": "Open the scenario live (the logs are behind no link)",
    "no_link": "Its scenario is too long for a link.",
    "example_fleet": "The link holds no fleet of its own: the example fleet is taken.",
    "own_fleet": "The fleet of the link is taken.",
    "event_chosen": "The event chosen on the Host page is taken.",
    "search": "Search the shelf",
    "full": "Four are picked; take one out to pick another.",
    "more": "Show more",
    "unsaved": "This browser does not keep these texts beyond this visit.",
    "clear": "Clear these texts",
    "making": "Making picture {} of {} ...",
    "saved": "Saved {}.",
    "pictures_failed": "The pictures could not be made: {}",
    "for": "Prepared for",
    "by": "Prepared by",
}
AGAINST = "Against the pin: "  # which the heading says already
PINNED = "What was pinned"
THIS_HOST = "This host"
EXAMPLE_FLEET = "Sites, sessions and prices are those of the example, which is invented."
LINK_ONE = "Open scenario {letter}, {name}, by dropping the picture on a Crestline page, or here:"
LINK_PINNED = (
    "To open scenario A with B pinned, drop the picture on a Crestline page or follow this link:"
)
TRIAL_LINK = (
    "The trial's logs stay with who brought them, and no link holds them. This one opens the "
    "scenario of the proposal:"
)
METHOD_TITLE = "How it was worked out"
LIMITS_TITLE = "What the model leaves out"
CAUTION_TITLE = "Before you buy"
WHOLE_LINK = "Open the whole of it live"
_TOLD = {
    TOO_MANY: "With these a real host may carry fewer sessions than stated",
    TOO_FEW: "With these it may carry more",
    EITHER: "These may go either way",
}


def method_lines() -> list[str]:
    """Return the method in five lines."""
    return [f"{line.rstrip('.')}." for line in METHOD.split(". ")]


def limit_lines() -> list[str]:
    """Return what the model leaves out, a line for each way in which the answer then errs."""
    lines = []
    for errs, told in _TOLD.items():
        named = [_small(each.what) for each in LIMITS_OF_VALIDITY if each.errs == errs]
        lines.append(f"{told}: {'; '.join(named)}.")
    return lines


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
