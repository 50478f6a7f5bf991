"""What a station may accept of the safety findings, and what never.

Nothing else decides it. A finding that can be granted is one that a person who knows
their shop may judge better than a table; one that never can leaves the station
without any right answer to give.
"""

GRANTABLE = {
    "no_loss_of_air_rule": "an oximeter may be tried alone by one who knows that the air "
    "is NOT watched; such a station is never armed",
    "no_blind_rule": "somebody may stand by and watch the watcher",
    "blind_too_late": "a sensor far away may drop out for longer than that",
    "killer_too_late": "a trial may need more patience, for an afternoon",
    "alarm_past_budget": "the hood may be open enough that its air never gets that bad",
    "exit_time_over_budget": "it stops nothing: LEAVE then says to open the hood while going",
    "loss_of_air_by_forward": "a second box may be wired and powered as well as this one",
    "spo2_limit_chatters": "a person may have been told by their doctor to stay over a limit",
    "no_sounder": "the siren may hang on the second box, where the pre-use check proves it",
    "no_answer_button": "the second box may carry the button",
}
"""Findings that an `[[exceptions]]` table can accept with a reason, and why they can be."""

ADVICE = frozenset({"exit_time_over_budget", "unused_exception"})
"""Findings that do not keep a station from running."""

NEVER = {
    "air_loss_untold": "a sensor that is fitted makes people believe that its loss is told",
    "no_normal": "without a normal nothing can be judged",
    "no_element_pressure": "an element that nothing reads watches nothing",
    "no_exit_time": "it costs one walk with a stopwatch, and decides what LEAVE says",
    "killer_weakened": "what can kill is told to everybody until it is over",
    "two_sources": "nobody could say which of the two is right",
    "role_twice": "nobody could say which of the two is meant",
    "line_twice": "two devices cannot hang on one line",
    "unused_exception": "an exception that grants nothing is one line to remove",
    "circular_suppression": "rules that silence each other may both stay silent",
}
"""Findings that nothing can make acceptable, and why."""
