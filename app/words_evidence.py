"""In which words does the Evidence page speak of logs, columns and switches?"""

TITLE = "Evidence from measurements"
ABOUT = (
    "What do measurements on your own hosts say? Plan a trial, read its logs, see what offload "
    "changed and how sure that is, and let the measured costs take the place of the defaults. Your "
    "logs stay with this visit: nobody else sees them, no link holds them, and they are removed a "
    "day after their last use, or at once when you ask."
)
PARTS = {  # name of the section: its title and what it is for
    "plan": (
        "Plan a trial",
        "How long, and in which order, must offload be switched on and off for an effect to show?",
    ),
    "read": (
        "Read the logs",
        "Delimited text, plain or gzip. Crestline proposes what each column is; you say what it "
        "cannot know.",
    ),
    "toggles": (
        "When was offload on?",
        "Check each log against what you know, correct it, and confirm it. No effect is shown "
        "before.",
    ),
    "effect": (
        "Effect and peaks",
        "What offload changed, with 95 % intervals that respect how readings hang together.",
    ),
    "model": (
        "Back to the model",
        "Carry the measured costs into the scenario, and hold the model's prediction against what "
        "was measured.",
    ),
}

COLUMN_WORDS = {  # by meaning: what the chart calls it, and the unit
    "encode_cores": ("CPU of the display encoder", "cores"),
    "cpu_cores": ("CPU of the whole desktop", "cores"),
    "frames_hz": ("frames delivered", "1/s"),
    "host_cores": ("CPU of the host", "cores"),
    "sessions": ("sessions present", "sessions"),
}
MEANINGS = {  # what a column may be taken for
    "time": "time",
    "date": "date, where it stands apart from the time",
    "encode_cores": "CPU of the display encoder",
    "cpu_cores": "CPU of the whole desktop",
    "frames_hz": "frames delivered in a second",
    "host_cores": "CPU of the whole host",
    "sessions": "sessions present",
    "offload": "offload on or off",
    "activity": "activity",
}
NO_LINK = "Measurements stay with the visitor who brought them: this picture holds no link to them."
SAID_BY_LOG = "The log has a column that says when offload was on."
NO_COLUMN = (
    "This log does not say when offload was on, and has no CPU column in which to look for it. "
    "Mark it by hand, or leave it if offload was not switched."
)
GAPS_TOO_LONG = (
    "The gaps in this log are too long to look for switches. Mark them by hand, or cut the log up."
)
