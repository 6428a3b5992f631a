"""One file per chart; each takes a result of the model and returns a plain Plotly figure."""
