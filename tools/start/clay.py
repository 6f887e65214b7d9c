"""Clay as people call it, and the texture that is taken for it.

Common practice, no source but where one is named: one name means other soils elsewhere, so what was
taken is always said.
"""

from evenclay.sim.ground.textures import TEXTURES

UNKNOWN = ("unknown", "don't know", "do not know", "no idea", "?")
# Name -> texture. Those that are known to swell much are "clay", which cracks as it dries.
CALLED = {
    "black clay": "clay",
    "blackland": "clay",
    "black cotton soil": "clay",
    "gumbo": "clay",
    "black gumbo": "clay",
    "heavy clay": "clay",
    "fat clay": "clay",
    "stiff clay": "clay",
    "expansive clay": "clay",
    "reactive clay": "clay",
    "swelling clay": "clay",
    "cracking clay": "clay",
    "vertisol": "clay",
    "adobe": "clay",
    "blue clay": "clay",
    "grey clay": "clay",
    "gray clay": "clay",
    "brown clay": "clay",
    "yellow clay": "clay",
    "red clay": "clay",
    "bay of biscay": "clay",
    # Source: Taylor 2005, thesis, Mississippi State University: on average 60 % clay minerals, 28 %
    # smectite among them. Pitalo et al. 2004, GSA Abstracts 155-9: nearly all of it swells by more
    # than 130 %.
    "yazoo clay": "clay",
    "silty clay": "silty clay",
    "lean clay": "silty clay loam",
    "marl": "silty clay loam",
    "loess": "silt loam",
    "sandy clay": "sandy clay",
    "clay loam": "clay loam",
}
SWELLS_LITTLE = ("red clay", "yellow clay", "lean clay", "sandy clay", "loess")


def texture_of(text: str) -> str:
    """The texture that a name means. Raises: ValueError with what is allowed."""
    name = " ".join(text.lower().replace("-", " ").split())
    if name in UNKNOWN:
        return "clay"
    found = CALLED.get(name) or CALLED.get(name.removesuffix(" soil").removesuffix(" soils"))
    if found is None and name in TEXTURES:
        found = name
    if found is None:
        known = ", ".join(dict.fromkeys((*CALLED, *TEXTURES)))
        raise ValueError(
            f"allowed is unknown, or one of {known}; of another clay a laboratory's saturation, "
            "field_capacity and wilting_point, percent of water by volume, are written into [soil]"
        )
    return found


def said(text: str) -> str:
    """What was taken for a name, in a sentence."""
    name = " ".join(text.lower().split())
    texture = texture_of(text)
    if name in UNKNOWN:
        return (
            'the clay: nobody said which, so it is taken for a "clay" that swells and cracks; '
            "a soil report says more"
        )
    line = f'the clay: "{name}" is taken for the texture "{texture}"'
    if name in SWELLS_LITTLE:
        line += "; such soils often swell little, so look whether it cracks in a dry summer"
    return line
