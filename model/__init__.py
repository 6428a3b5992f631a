"""The science of Crestline: how many virtual desktops one host carries, and how well.

A scenario (`model.scenario`) says what the host is, who works on it and what they do. From it
`model.assess` answers for both arms, "software" (display encoding on the host's CPU) and
"offloaded" (on an accelerator card): rated load, headroom, scheduler wait, delivered frames and
the peaks of a working day. Nothing here knows of web pages; `python -m model --help` answers
the same questions on the command line.
"""
