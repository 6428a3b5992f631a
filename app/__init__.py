"""The dashboard of Crestline: one scenario, live charts, in the browser."""
