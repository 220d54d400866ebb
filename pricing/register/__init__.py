"""Register: what is true of every tube of a type. Ratings, bases, spellings, substitutions, sources."""

from .pins import PinComparison
from .rectifier import rectifier_drop_v
from .register import Register, load_register
from .substitution import RatingDifference, Substitution
from .tube_type import Match, RatedValue, TubeType

__all__ = [
    "Match", "PinComparison", "RatedValue", "RatingDifference", "Register", "Substitution", "TubeType",
    "load_register", "rectifier_drop_v",
]
