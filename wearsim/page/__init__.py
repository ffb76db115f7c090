"""The page beside the barrel: in a browser, on one's own machine, what the commands do; nothing is computed here."""
