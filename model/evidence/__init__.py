"""What do measurements say, and how far can they be believed?

A log is read by `readings`; `toggles` finds where offload was switched if the log does not say;
`on_off` gives the effect of offload and `peaks` the peaks, both with the help of
`autocorrelation`; `trial` plans the next measurement; `demands` takes a host's total apart;
`calibration`, with `calibration_desktop` and `calibration_host`, carries measured costs into a
scenario; `comparison` holds the prediction against what was measured.
"""
