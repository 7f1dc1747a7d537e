"""The words that the phone's own scripts say, in one place so that they can be translated with all the others.

In the scripts they stand in English inside `t("...")`; what is in braces is filled in there.
"""

from __future__ import annotations

from django.utils.translation import get_language, gettext, gettext_noop

from chirr.desk import spoken, terms

WORDS: tuple[str, ...] = (
    gettext_noop("bad smell"),
    gettext_noop("Bin"),
    gettext_noop("bin"),
    gettext_noop("broken"),
    gettext_noop("clock off"),
    gettext_noop("Clutch"),
    gettext_noop("Done"),
    gettext_noop("escaped"),
    gettext_noop("Fetching the pages in the other language."),
    gettext_noop("Fill in"),
    gettext_noop("Fill this in."),
    gettext_noop("From this phone’s memory, as of {day}."),
    gettext_noop("Go on"),
    gettext_noop("Hatch rack"),
    gettext_noop("High up: steps that stand firm, two people for a full bin."),
    gettext_noop("Kept on this phone: {what}"),
    gettext_noop("last contact {time}"),
    gettext_noop("Last entries"),
    gettext_noop("Lay a tray as {name}"),
    gettext_noop("Lay a tray of it"),
    gettext_noop("Leave empty for now. Farm time."),
    gettext_noop("Leave empty for when it was first written. Farm time."),
    gettext_noop("Leave it"),
    gettext_noop("level"),
    gettext_noop("Lot"),
    gettext_noop("many dead"),
    gettext_noop("mites"),
    gettext_noop("More"),
    gettext_noop("mould"),
    gettext_noop("Next"),
    gettext_noop("No answer"),
    gettext_noop("No answer from the farm’s computer"),
    gettext_noop("No answer from the farm's computer. Nothing was written; try again when the signal is back."),
    gettext_noop("No answer from the farm’s computer, so you are still signed in. Sign out where there is a signal."),
    gettext_noop("No answer from the farm’s computer, so nothing was changed. Try again where there is a signal."),
    gettext_noop("Nobody is signed in on this phone, so nothing was written. Sign in first, then do it again."),
    gettext_noop("None yet"),
    gettext_noop("Not in this phone’s memory"),
    gettext_noop("Not taken"),
    gettext_noop("Nothing else waits to go up."),
    gettext_noop("Nothing is due."),
    gettext_noop("Nothing waits: the book has everything."),
    gettext_noop("Number pad"),
    gettext_noop("On this phone"),
    gettext_noop("Pause"),
    gettext_noop("Pinheads"),
    gettext_noop("point"),
    gettext_noop("Racks"),
    gettext_noop("Round"),
    gettext_noop("Run sheet"),
    gettext_noop("Send now"),
    gettext_noop("Show the other {n} stops"),
    gettext_noop("Sign in again"),
    gettext_noop("Sign out all the same"),
    gettext_noop("Something else here"),
    gettext_noop("Something is wrong"),
    gettext_noop("something is wrong: {what}"),
    gettext_noop("stack"),
    gettext_noop("Start"),
    gettext_noop("Stay signed in"),
    gettext_noop("Stop"),
    gettext_noop("Substrate batch"),
    gettext_noop("Take the last digit away"),
    gettext_noop("That did not work, and nothing was written. Open the page afresh and try again."),
    gettext_noop("The book could not take these. They stay here until you decide."),
    gettext_noop(
        "The farm’s book was put back to an older copy. {n} entries that went up from this phone since go up again."
    ),
    gettext_noop(
        "The language is changed, but this phone could not fetch it all. Until it has a signal again, what it shows"
        " without one stays as it was."
    ),
    gettext_noop("The round took {n} minutes."),
    gettext_noop(
        "They are not in the book yet. They stay on this phone and go up when somebody who may write signs in."
    ),
    gettext_noop(
        "This page needs it. Without a signal the phone has the Round, the Racks, each bin, lot and clutch, and forms."
    ),
    gettext_noop("This phone could not write that down. Open the page afresh and do it again."),
    gettext_noop(
        "This phone has nothing in its memory yet. Sign in once where there is a signal; then it works without."
    ),
    gettext_noop("This phone is just sending, so you are still signed in. Sign out again in a moment."),
    gettext_noop("This phone knows no {kind} {name}. It may be new or gone; look again where there is a signal."),
    gettext_noop("This phone knows nothing with this code. It may be new or gone; look again where there is a signal."),
    gettext_noop(
        "This phone’s memory is full or fails, so nothing was written. Make room on the phone, then do it again."
    ),
    gettext_noop("Throw away"),
    gettext_noop("Throw it away for good"),
    gettext_noop("Today’s round"),
    gettext_noop("too cold"),
    gettext_noop("too hot"),
    gettext_noop("Trays of it now"),
    gettext_noop("Try again"),
    gettext_noop(
        "Two names of the farm differ only in capitals, and a code cannot tell them apart. Look at the large letters on"
        " the label."
    ),
    gettext_noop(
        "Typing it in needs the farm’s computer. Keep the paper and scan its code again where there is a signal; what"
        " you tap here meanwhile is kept too."
    ),
    gettext_noop("under a minute"),
    gettext_noop("Undo"),
    gettext_noop("Waiting"),
    gettext_noop("wet"),
    gettext_noop("What was done?"),
    gettext_noop("When"),
    gettext_noop("Which one?"),
    gettext_noop("Whole bin"),
    gettext_noop("Write about this"),
    gettext_noop("Write an entry"),
    gettext_noop("Write it"),
    gettext_noop("Write it anew"),
    gettext_noop("Written on this phone"),
    gettext_noop("Written: {what}"),
    gettext_noop("{bin}: {n} things done"),
    gettext_noop("{n} clutches on the hatch rack"),
    gettext_noop("{n} entries wait on this phone"),
    gettext_noop("{n} entries wait on this phone. They go up by themselves when the farm’s computer answers."),
    gettext_noop("{n} not taken"),
    gettext_noop("{n} stops left"),
    gettext_noop("{n} waiting"),
)


def translated() -> dict[str, str]:
    """English words to those of the language asked for; empty for English itself."""
    if (get_language() or "en").startswith("en"):
        return {}
    kinds = {"deed": terms.DEEDS, "state": terms.STATES, "urgency": terms.URGENCIES}
    said = {f"{kind}:{word}": spoken.term(kind, word) for kind, words in kinds.items() for word in words}
    return {word: gettext(word) for word in WORDS} | said
