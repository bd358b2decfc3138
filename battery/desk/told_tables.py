"""Forms of what an export lists: its tables by their titles, files of a dataset."""

from battery.desk.words import _

FORMS = ("{what} ({own}): {n}", "{what}: {n}")
WHOLE = (
    _("People"), _("Devices"), _("Plans"), _("Settings"), _("Visits"), _("Blocks"), _("Trials"),
    _("Samples"), _("Events"), _("Frames"), _("Measures"), _("Scores"), _("Markers"),
    _("Home exercise"), _("Amendments"), _("Answers"), _("Screen checks"), _("Timing checks"),
    _("Loop checks"), _("Consents"), _("Re-baselines"), _("Outside errors"),
    _("Planned home exercise"), _("Goals"), _("Goal levels"), _("Bands and verdicts"),
    _("Alarms"), _("States of people"), _("Contraindications"), _("Taken back"),
    _("Plans of people"), _("Home plans"),
    _("participants"), _("sessions"), _("motion files"),
    _("blocks that cannot be read, left out"),
)  # fmt: skip
