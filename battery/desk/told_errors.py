"""Forms of what a screen of the desk answers when something was not done.

Each is worded where it is found, in English; here stand the forms by which it is told in the
desk's language (see `battery.desk.retelling`).
"""

from battery.desk.words import _

FORMS = (
    _("{own} is not the full path of a folder"),
    _("{own} is not a folder on this machine"),
    _("{own} is not a percentage"),
    _("{own} is not a number up to {n}"),
    _("{own} is not a day"),
    _("write it as {day}"),
    _("{day} is still to come"),
    _("there are names on this machine already ({own})"),
    _("a pass phrase must have {n} characters, not {m}"),
    _("a name must have at most {n} printable characters"),
    _("initials {own} must be 1 to 8 letters"),
    _("a code of {n} characters"),
    _("try again in {n} s"),
    _("{n} of {m} questions about reasons not to start have no answer"),
    _("a visit of {own} is open on this screen"),
    _("no plan {own}"),
    _("type the code {own} to erase it for good"),
    _("nothing of the name {own} can be said here"),
    _("cannot make {own}: {note}"),
    _("no person {own} in this store"),
)
WHOLE = (
    _("nothing was stored"), _("nothing was changed"), _("nothing was written"),
    _("nothing was amended"), _("nothing was begun"), _("nothing was erased"),
    _("nobody was enrolled"), _("say it on that day"), _("the two pass phrases differ"),
    _("this is not the pass phrase, or the file of names is damaged"),
    _("the names are closed"), _("open them on the screen Clinic"),
    _("it must be 4 to 8 digits"), _("too many wrong codes"),
    _("these initials and this code do not match"), _("you are not signed in"),
    _("answer each"), _("choose what was wrong and say why"), _("choose whose visit it is"),
    _("end it first"),
    _("the two codes differ"), _("no alarm was ticked"), _("choose which goal"),
    _("say to what, what was decided, and the version of the form"),
    _("choose what is to go out"),
)  # fmt: skip
