"""What each stage that a note tells of looks like, and how it is counted and typed."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A stage to be told in the field.

    Attributes
    ----------
    title : str
    told : dict of str to str
        How it is told, for each of :data:`covercrop.parameters.traits.INFLORESCENCES`.
    typed : str
        The option of ``covercrop scout`` that writes it.
    plants : str
        Four plants, or more: ``o`` closed, ``*`` in flower, ``v`` with pods.
    """

    title: str
    told: dict[str, str]
    typed: str
    plants: str


STAGES = {
    "bud": Stage(
        title="Buds",
        told={
            "head": "Small, tight, green heads between the upper leaves; no colour yet.",
            "raceme": "Closed green buds on a short stalk between leaf and stem; no colour yet.",
        },
        typed="--bbch 51",
        plants="o o o o",
    ),
    "first": Stage(
        title="First flowers",
        told={
            "head": "The lowest florets of the first heads have opened and show colour.",
            "raceme": "The lowest flower of the first stalks has opened and shows colour.",
        },
        typed="--bbch 60",
        plants="* o o o o o o o",
    ),
    "quarter": Stage(
        title="25% in flower",
        told=dict.fromkeys(("head", "raceme"), "Of four plants one has an open flower: count twenty along a walk."),
        typed="--bloom 25",
        plants="* o o o",
    ),
    "half": Stage(
        title="50% in flower",
        told=dict.fromkeys(("head", "raceme"), "Every other plant has an open flower: count twenty along a walk."),
        typed="--bloom 50",
        plants="* o * o",
    ),
    "pods": Stage(
        title="Pods swell",
        told={
            "head": "Florets hang brown; pulled out and rolled between fingers, the cup below is thick and firm.",
            "raceme": "Pods at their full length, flat; the seeds begin to show as bumps.",
        },
        typed="--bbch 75",
        plants="v v v *",
    ),
}
