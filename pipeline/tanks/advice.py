"""What to do first, and when to call a veterinarian: the same words on every page. No diagnosis is made."""

from __future__ import annotations

from pipeline.settings.limits import judgement
from pipeline.tanks.verdict import COLD, INSIDE, UNKNOWN, WARM
from pipeline.writing.words import number

VET = (
    "Swelling, a red belly or red legs, sores, black spots, skin that comes off in shreds.",
    "It cannot turn over, hangs limp, shakes, gapes, or a larva hangs at the surface.",
    "Two meals refused and it has lost more than a tenth of its mass.",
    "Bubbles in the skin. Any death: cool the body, do not freeze it, and ask what to send.",
)
VET_SOURCE = (
    "Judgement and common practice, after the signs that handbooks list. This page makes no diagnosis; a licensed veterinarian does."
)
CANNOT_SAY = (
    "A sensor reads one point. Put another thermometer where the animal is, and compare.",
    "Inside the lines is what was found in the wild, and no proof that an animal is well: look at it.",
    "What happened in a gap is not known, and nothing here fills it in.",
)
LAND_READY = (
    "An animal that loses its gills can drown where it cannot leave the water. Give it now: shallow water, a wet slope or stones from the"
    " water to wet cover on land, still water at the edge, a tight lid (common practice, no source)."
)


def what_to_do(state: str, ceiling_reached: bool) -> list[str]:
    """Steps in order.

    Parameters
    ----------
    state : str
        Of the verdict.
    ceiling_reached : bool
        The last reading is at the ceiling or above it.

    Returns
    -------
    list of str
    """
    rate = f"{number(judgement('cooling_rate'))} °C an hour at most"
    if state == WARM:
        first = "Now: this is at the limit that must never be reached. Begin at once." if ceiling_reached else "Begin today."
        return [
            first,
            f"Cool slowly, {rate}: shade, lights off, a fan over the water, then bottles of cool water or ice outside the tank or floating;"
            " no ice on the animal.",
            "Put air into the water: warm water holds less oxygen.",
            "Do not feed until it is back in the band.",
            "Look at the animal every quarter of an hour. If it shows a sign below, call a veterinarian.",
            "Then find the cause: chiller, fan, pump, sun, room.",
        ]
    if state == COLD:
        return [
            f"Warm slowly, {rate}. Do not add warm water at once.",
            "Look whether the chiller's probe has come out of the water, or its set point is wrong.",
            "Look at the animal. If it shows a sign below, call a veterinarian.",
        ]
    if state == UNKNOWN:
        return [
            "Go and read a thermometer where the animal is, now, and write it down.",
            "Look at the sensor: battery, cable, memory, whether it hangs where it should, whether its clock is right. Hold it beside the"
            " thermometer.",
            "Until it is known again, read by hand morning, afternoon and night.",
        ]
    assert state == INSIDE
    return ["Nothing now. Look at the animal as every day."]
