"""How to do what the season advises, in plain words, with the caution where the work can hurt."""

from benchlog.plan.batteries import CHEMISTRY, REST_WORDS

_ACID = "it gives off gas and holds acid: eye protection, fresh air, no flames or sparks"
_LITHIUM = "never below 0 °C, and never with a charger's desulphating or repair programme"
_NEGATIVE_FIRST = "negative lead off first and on last, and no tool across the posts: a short melts it"

#: In a terminal; where a reader has another way, it is put in place of this.
NOTE_IT, KEEP_IT = "note it with --changed", "keep its check with --save"


def how_to(words: str, chemistry: str) -> str:
    """One plain sentence or two; empty where there is nothing to do.

    Args:
        words: the advice's few words.
        chemistry: of the battery, as in a plan.
    """
    kind = CHEMISTRY[chemistry]
    care = _ACID if kind.lead_acid else _LITHIUM
    charge = f"charge it full with a charger made for {kind.name} batteries ({care})"
    again = f"then let it rest {REST_WORDS} and check again"
    return {
        "replace soon": f"tighten and clean the posts and check once more; if it stays, fit a new battery "
        f"({_NEGATIVE_FIRST}) and {NOTE_IT}",
        "test under load": f"{charge}, let it rest {REST_WORDS}, tighten and clean the posts "
        f"({_NEGATIVE_FIRST}), then record a start, or let a workshop's load tester judge it: that sparks and gets "
        "hot, so keep it off a battery that is swollen, leaks or still gives off gas",
        "charge now": f"{charge}, {again}; a battery that does not come back is worn",
        "charge soon": f"{charge}, {again}; if it still falls from month to month, test it under load",
        "charge before storage": f"{charge} before it stands; for longer, take its negative lead off or leave it on a "
        "charger made for that",
        "find the drain": "with the key off, pull one fuse after another and watch the current: the one that brings it "
        "down feeds the drain; a meter in line must not carry the ignition or the starter: key off, starter untouched",
        "look at the drain": "measure it again after the electronics fell asleep, half an hour with the key off; if it "
        "stays, pull one fuse after another and see which brings it down",
        "look at the charging now": "ride no further than needed; check the plugs of regulator and alternator for "
        "heat and play with the engine off, then measure at the battery's posts at a raised idle; never take a "
        "battery lead off with the engine running",
        "look at the charging": "measure at the battery's posts at a raised idle, warm and cold, and look at the "
        "regulator's plug with the engine off; never take a battery lead off with the engine running",
        "measure again": "record a check after the change, and the season continues from there",
        "nothing measured yet": f"record a log of the bike and {KEEP_IT}",
    }.get(words, "")
