"""Hardware in, hardware out. Nothing here knows the watcher (`linetender`)."""
