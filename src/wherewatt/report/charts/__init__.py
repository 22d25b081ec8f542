"""Charts of the page as data for plotly; lengths in metres, whatever unit they are read in."""
