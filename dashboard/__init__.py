"""The app a technician opens at six in the morning: screens over the newest snapshot, read-only but for the logbook."""
