"""Practice: simulated mirrors to rehearse the whole loop on."""
