"""The study that decides: verdicts, fault sets, harm, reaction time, choice of engine."""
