"""Speed, current and voltage of the fan."""
